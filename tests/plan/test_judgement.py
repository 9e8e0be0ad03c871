"""Cases in which a teacher refused a plan, and what is played now; each row names who says so."""

from dataclasses import replace
from itertools import product

import pytest

from analyzer.horns.profiles import load_horn
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner
from tests.lines import line_of

TEACHER = "one teacher's judgement"


def labels(names: str, horn: str, seconds: float, player: Player | None = None, *, slur: bool = False) -> str:
    plan = Planner(line_of(names, seconds, slur=slur), load_horn(horn), player).plan()
    return " ".join(note.choice.label if note.choice else "x" for note in plan.notes)


@pytest.mark.parametrize(("names", "horn", "seconds", "refused", "expected", "source"), [
    ("C3 G2 C3", "bass-independent", (0.5, 0.25, 0.15, 0.12), "TS3 4 TS3", "T1 4 T1", TEACHER),
    ("Bb2 Ab2 Gb2", "bass-independent", (0.5, 0.25, 0.15, 0.12), "S4 T5 5", "1 3 5", TEACHER),
    ("Eb2 D2 Eb2", "bass-independent", (0.5, 0.25, 0.15, 0.12), "T3 T4 S4", "T3 T4 T3", TEACHER),
    ("F2 E2 F2 E2", "bass-independent", (0.25, 0.15, 0.12), "S2 T2 S2 T2", "T1 T2 T1 T2", TEACHER),
    ("F3 E3 F3", "tenor", (1.0, 0.6, 0.3, 0.15), "6 7 6", "1 2 1", TEACHER),
    ("C3 B2 C3", "tenor-f", (1.0, 0.5, 0.25, 0.15), "6 7 6", "T1 T2 T1", TEACHER),
    ("C3 Bb2 G2 E2", "tenor-f", (0.5, 0.25, 0.15), "6 T3 4 T2", "T1 1 4 T2", TEACHER),
    ("E3 C3 E3", "tenor-f", (1.0, 0.5, 0.25, 0.15), "7 6 7", "2 T1 2", TEACHER),
    ("F3 C3 F3", "tenor", (1.0, 0.9, 0.75), "6 6 6", "1 6 1", TEACHER),
    ("F2 E2 F2", "tenor-f", (2.0, 1.0, 0.5), "T1 7 6", "6 T2 6", TEACHER),
    ("F2 A2 C3 A2", "tenor-f", (2.0, 1.0, 0.5, 0.4), "T1 2 T1 2", "6 2 T1 2", TEACHER),
    ("G2 Bb2 D3 Bb2 G2", "tenor-f", (0.5, 0.3), "4 T3 4 1 4", "4 1 4 1 4", TEACHER),
    ("Bb2 F2 Bb2 F2", "tenor-f", (0.25, 0.15, 0.12), "T3 6 T3 6", "1 T1 1 T1",
     "Okazaki's class, note 45: F2 in first on the attachment"),
    ("F3 F#3 F3 E3", "euphonium-4-compensating", (0.5, 0.2, 0.12, 0.09), "0 1-2-4 0 2", "0 2-3 0 2", TEACHER),
])
def test_refused_plans(names: str, horn: str, seconds: tuple[float, ...], refused: str, expected: str,
                       source: str) -> None:
    assert source
    assert refused != expected
    assert {each: labels(names, horn, each) for each in seconds} == dict.fromkeys(seconds, expected)


@pytest.mark.parametrize("horn", ["tenor", "tenor-f", "bass-independent", "euphonium-4-compensating"])
@pytest.mark.parametrize("seconds", [0.08, 0.12, 0.2, 0.5])
def test_a_repeated_pitch_never_changes_place(horn: str, seconds: float) -> None:
    """One teacher's judgement: nobody moves for a note struck again, however far its neighbours lie."""
    for names in ("B2 F3 F3 C3 C3 E3 E3 B2 Bb3 Bb3 F#3 D4 D4 C4", "E2 F2 F2 Bb2 Bb2 C3 C3 F2 D4 D4 Bb3 Bb3 B3"):
        found = labels(names, horn, seconds).split()
        assert all(found[k] == found[k + 1]
                   for k, (a, b) in enumerate(zip(names.split(), names.split()[1:], strict=False)) if a == b)


@pytest.mark.parametrize("between", ["rest", "fermata", "breath"])
def test_a_repeated_pitch_is_free_after_a_rest(between: str) -> None:
    """One teacher's judgement: what is struck again at once stays; a rest, a fermata or a breath sets the hand free."""
    line = line_of("B2 F3 F3 C4 F3", 0.2)
    notes = list(line.notes)
    if between == "rest":
        notes[1] = replace(notes[1], duration=notes[1].duration / 2)
    else:
        notes[1] = replace(notes[1], **{"fermata": True} if between == "fermata" else {"breath_after": True})
    planner = Planner(replace(line, notes=tuple(notes)), load_horn("tenor"))
    assert not planner.moves[1].again
    assert Planner(line, load_horn("tenor")).moves[1].again
    a, b = (next(one for one in planner.choices[1] if one.label == label) for label in ("1", "6"))
    assert "restrike" not in planner.costs.move_items(a, b, planner.moves[1])


def test_a_slow_slur_takes_a_place_that_does_not_smear() -> None:
    """G. Soytutan after A. Bachmann, Mozart, Tuba mirum: B flat 3 in 5, to avoid a smear."""
    assert labels("G3 Bb3 Ab3", "tenor", 0.73, slur=True) == "4 5 3"
    assert labels("G3 Bb3 Ab3", "tenor", 0.73) == "4 1 3"


def test_prices_and_ceilings_have_one_limit_of_the_arm() -> None:
    """What the ceiling lets an arm do is never too fast in the price; in notes of over_from_s or more they agree."""
    for player in (Player(), Player(level="beginner"), Player(slide_acceleration_m_s2=15.0),
                   Player(max_speed_mm_s=1500.0)):
        for seconds in (0.1, 0.2, 0.3, 0.6):
            planner = Planner(line_of("F3 C3", seconds), load_horn("tenor"), player)
            for a, b in product(*planner.choices):
                if a.valves or b.valves:
                    continue
                over = "over_speed" in planner.costs.move_items(a, b, planner.moves[0])
                load = planner.loads.hand(0, a, b)[0]
                if seconds >= planner.weights.over_from_s and player.max_speed_mm_s is None:
                    assert over == (load > 1 + 1e-9)
                assert load > 1 - 1e-9 or not over


def test_the_same_turn_is_played_alike_where_it_returns() -> None:
    """One teacher's judgement: C3 B2 C3 as 6 7 6 here and T1 T2 T1 there confuses a student."""
    line = "F2 C3 B2 C3 F2 G2 A2 D3 C3 B2 C3 D3 E3 C3 B2 C3 F3"
    for seconds in (0.12, 0.15, 0.2, 0.3, 0.5):
        found = labels(line, "tenor-f", seconds).split()
        assert len({tuple(found[k:k + 3]) for k in (1, 8, 13)}) == 1


def test_a_level_decides_how_dear_an_alternate_is() -> None:
    """D4 in 4 is taught to intermediate players (familiarity.toml); a beginner keeps the usual place longer."""
    quick = {level: labels("C4 D4 C4 D4 C4", "tenor", 0.21, Player(level=level))
             for level in ("beginner", "intermediate", "advanced")}
    counts = [sum(label == "4" for label in found.split()) for found in quick.values()]
    assert counts == sorted(counts)
    assert counts[0] < counts[-1]


def test_what_hardly_gains_is_told_and_not_marked() -> None:
    """Below the margin the usual choice is marked, and the other stands first among the alternatives."""
    found = 0
    for tenth in range(100, 400):
        plan = Planner(line_of("C4 D4 C4 D4 C4", tenth / 1000), load_horn("tenor")).plan()
        for note in plan.notes:
            if note.toss_up:
                found += 1
                assert note.choice is note.usual
                assert note.alternatives[0].extra_cost <= 1.0
    assert found


def test_a_slow_arm_goes_over_to_alternates_sooner() -> None:
    """Where the acceleration is told, it says which moves are too fast (20 a student, 60 a virtuoso:
    judged, after peak acceleration 5.77 D / T^2 of the minimum-jerk move)."""
    ways = {a: labels("Bb2 F3 C3 F3 C3 F3", "tenor", 0.4, Player(slide_acceleration_m_s2=a)) for a in (8.0, 60.0)}
    assert sum(label == "6" for label in ways[8.0].split()) >= sum(label == "6" for label in ways[60.0].split())
    seconds = (0.15, 0.2, 0.25, 0.3, 0.4)
    assert any(labels("C4 D4 C4 Bb3 B3", "tenor", each, Player(slide_acceleration_m_s2=4.0))
               != labels("C4 D4 C4 Bb3 B3", "tenor", each, Player(slide_acceleration_m_s2=60.0)) for each in seconds)
