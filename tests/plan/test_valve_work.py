"""Valved horns: fingers, fourth valve, a pulled slide and the upper register; each costs by a term of its own."""

from dataclasses import replace

import pytest

from analyzer.horns.candidates import candidates
from analyzer.horns.profiles import load_horn
from analyzer.pitch import pitch_of
from analyzer.plan.costs import ValveCosts, move_of
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner, allowed_choices
from analyzer.plan.timing import NoteTime
from analyzer.plan.weights import default_weights
from tests.lines import line_of

W = default_weights()


def moved(horn: str, before: tuple[int, str], after: tuple[int, str], next_s: float = 0.5) -> float:
    model = load_horn(horn)
    a, b = (next(one for one in candidates(model, midi) if one.label == label) for midi, label in (before, after))
    time = NoteTime(0.0, next_s, next_s, next_s / 2, 60.0)
    return sum(ValveCosts(model, W).move_items(a, b, move_of(time, False, False, before[0], after[0])).values())


OPEN, FIRST, THIRD, FOURTH, TWO_THREE, ONE_TWO = (
    (46, "0"), (44, "1"), (43, "3"), (41, "4"), (42, "2-3"), (43, "1-2"))


def test_weak_fingers_cost_more_and_a_left_hand_fourth_valve_does_not() -> None:
    """The fourth finger is weaker (common practice, no source); the left hand's first finger is strong."""
    assert moved("euphonium-4", OPEN, THIRD) > moved("euphonium-4", OPEN, FIRST)
    assert moved("euphonium-4", OPEN, FOURTH) == pytest.approx(moved("euphonium-4", OPEN, THIRD))
    assert moved("euphonium-4-compensating", OPEN, FOURTH) == pytest.approx(
        moved("euphonium-4-compensating", OPEN, FIRST))


def test_fingers_that_cross_cost_more_than_fingers_that_go_together() -> None:
    """2-3 to 1 moves three fingers, two up and one down; open to 1-2-3 moves the same three together."""
    crossing, together = moved("euphonium-3", TWO_THREE, FIRST), moved("euphonium-3", OPEN, (40, "1-2-3"))
    assert crossing - together == pytest.approx(W.crossing * (1 + (W.finger_time_s / 0.5) ** 2))


def test_haste_makes_finger_work_dearer() -> None:
    assert moved("euphonium-3", TWO_THREE, FIRST, 0.1) > 2 * moved("euphonium-3", TWO_THREE, FIRST, 0.5)


@pytest.mark.parametrize(("seconds", "pulled"), [(2.0, True), (0.3, False)])
def test_a_pulled_main_slide_lowers_long_sharp_notes_only(seconds: float, pulled: bool) -> None:
    """Where the profile has a main-slide trigger; a quick note leaves no time to pull."""
    horn = load_horn("euphonium-3")
    trigger = replace(horn, handling=replace(horn.handling, main_slide_trigger=True))
    sharp = next(one for one in candidates(horn, 48) if one.label == "1-3")
    assert sharp.off_cents > W.pull_cents / 2
    plain, with_it = (ValveCosts(model, W).note_items(sharp, seconds, 3, True)["cents"] for model in (horn, trigger))
    assert (with_it < plain) is pulled


def test_four_for_one_three_until_it_is_learned() -> None:
    """Cal Poly Pomona MU 330: 4 for 1-3, 2-4 for 1-2-3. Who has not learned the fourth valve takes the old ones."""
    line, horn = line_of("C3 B2 F2 E2", 1), load_horn("euphonium-4")
    three = Player(learned=("1", "2", "3", "1-2", "1-3", "2-3", "1-2-3"))
    assert [note.choice.label for note in Planner(line, horn).plan().notes] == ["4", "2-4", "4", "2-4"]
    assert [note.choice.label for note in Planner(line, horn, three).plan().notes] == ["1-3", "1-2-3", "1-3", "1-2-3"]


def test_upper_alternates_with_the_fourth_valve_are_offered_with_their_price() -> None:
    """A trill of C3 and D3 stays on the third partial, 4 and 1-2, and does not cross to D3 on the fourth (3-4)."""
    horn = load_horn("euphonium-4-compensating")
    slow, trill = (Planner(line_of("C3 D3 C3 D3 C3 D3", seconds), horn).plan() for seconds in (0.5, 0.09))
    assert [note.choice.label for note in slow.notes] == ["4", "1-2"] * 3
    assert [note.choice.label for note in trill.notes] == ["4", "1-2"] * 3
    assert any("4" in other.choice.valves and other.extra_cost > 0 for other in slow.notes[1].alternatives)


VALVED = ("euphonium-3", "euphonium-4", "euphonium-3-compensating", "euphonium-4-compensating", "baritone-3")


@pytest.mark.parametrize("horn", VALVED)
@pytest.mark.parametrize("slurred", [True, False])
@pytest.mark.parametrize("step", [1, 2])
def test_every_trill_stays_on_one_partial_where_there_is_one(horn: str, step: int, slurred: bool) -> None:
    """Fingers make a trill, the lip stays (common practice, no source); never does it go against the pitch."""
    model = load_horn(horn)
    crossing = []
    for midi in range(40, 73):
        low, high = (allowed_choices(model, Player(), each) for each in (midi, midi + step))
        if not low or not high:
            continue
        names = f"{pitch_of(midi).name} {pitch_of(midi + step).name} " * 4
        for seconds in (0.09, 0.12):
            notes = Planner(line_of(names, seconds, slur=slurred), model).plan().notes
            a, b = (note.choice for note in notes[2:4])
            assert [note.choice for note in notes[2:]] == [a, b] * 3
            assert a.partial <= b.partial
            if {one.partial for one in low} & {one.partial for one in high} and a.partial != b.partial:
                crossing.append(f"{names[:8]} {seconds}: {a.label} {b.label}")
    assert crossing == []


@pytest.mark.parametrize(("horn", "notes", "fingers", "source"), [
    ("euphonium-4-compensating", "C3 D3", "4 1-2", "one teacher's judgement: never across partials"),
    ("euphonium-4-compensating", "F#3 G#3", "2-3 1", "one teacher's judgement: 2-3/2-3-4 is unplayable"),
    ("baritone-3", "C3 Db3", "1-3 2-3", "common practice, no source"),
    ("baritone-3", "D4 E4", "1-2 2", "common practice, no source: 1-2 and 2, from memory of trumpet trill charts"),
    ("euphonium-3", "Eb3 F3", "1 0", "common practice, no source"),
    ("euphonium-3", "C4 C#4", "1 2", "common practice, no source"),
    ("euphonium-4", "Ab3 Bb3", "1 0", "common practice, no source"),
])
def test_trill_fingerings(horn: str, notes: str, fingers: str, source: str) -> None:
    assert source
    trill = Planner(line_of(f"{notes} " * 4, 0.1, slur=True), load_horn(horn)).plan()
    assert " ".join(note.choice.label for note in trill.notes) == " ".join([fingers] * 4)
