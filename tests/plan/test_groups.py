"""Groups of alternates: what they claim is held against the line planned anew with the whole group pinned.

Nothing is taken from a group's own arithmetic: labels, travel, turns and valve changes are counted here from plans.
Print how many claims were held against a new plan, and what the reasons say::

    python -m tests.plan.test_groups
"""

import random
import re
from collections import Counter
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest

from analyzer.analysis import Request, analyse
from analyzer.horns.profiles import load_horn
from analyzer.pitch import pitch_of
from analyzer.plan.plan import AlternateGroup, Plan
from analyzer.plan.player import Player
from analyzer.plan.slurs import slurs_of
from analyzer.plan.solve import Planner
from analyzer.plan.weights import default_weights
from analyzer.score.document import open_document
from analyzer.selection import chosen_parts, part_lines
from analyzer.words import shown
from tests.brute.test_plan import random_planner
from tests.lines import line_of

SAMPLES = Path(__file__).parents[2] / "sample_scores"
SAVES = re.compile(r"aves (\d+) cm of slide travel")
TURNS = re.compile(r"(\d+) fewer changes? of slide direction")
CLOSER = re.compile(r"(\d+) cm closer in")
SPEEDS = re.compile(r"slower: (\d+\.\d) m/s instead of (\d+\.\d)")
VALVES = re.compile(r"(\d+) fewer valve changes?")


def corpus() -> Path:
    music21 = pytest.importorskip("music21", reason="the corpus comes with music21")
    return Path(music21.__file__).parent / "corpus"


def planners(seed: int = 1, lines: int = 16) -> Iterator[Planner]:
    """Every sample score as `map` plans it; then a seeded sample of corpus lines in bass clef on a horn at random."""
    for path in sorted(SAMPLES.iterdir()):
        if path.suffix in (".musicxml", ".mxl"):
            for one in analyse(open_document(path), Request()).lines:
                yield one.planner
    rng = random.Random(seed)
    files = sorted(path for path in corpus().rglob("*.mxl") if path.stat().st_size < 60_000)
    for path in rng.sample(files, lines):
        document = open_document(path)
        found = part_lines(document, chosen_parts(document, (document.part_ids[-1],))[0][0])[0]
        for line in found[:1]:
            horn = load_horn(rng.choice(["tenor", "tenor-f", "bass-independent", "euphonium-3"]))
            yield Planner(line, horn, tempo_bpm=rng.choice([None, 160, 240]))


def positions(plan: Plan) -> list[float | None]:
    return [note.choice.extension_mm if note.choice else None for note in plan.notes]


def turns(plan: Plan) -> int:
    """Changes of direction of the slide; a move within a hand's tremble (5 mm) has none."""
    count, last = 0, None
    for a, b in pairwise(positions(plan)):
        if a is None or b is None:
            last = None
        elif abs(b - a) > 5:
            count += last is not None and last != (b > a)
            last = b > a
    return count


def on_the_chart(planner: Planner, plan: Plan, group: AlternateGroup) -> Plan:
    """The line planned anew, all other pins kept, with the whole group pinned to its chart labels."""
    pins = {note.index: note.choice.label for note in plan.notes if note.pinned and note.choice}
    return planner.plan(pins | {group.first + k: label for k, label in enumerate(group.chart_labels)})


def untrue(planner: Planner, plan: Plan, group: AlternateGroup) -> list[str]:
    """What a group claims that the line planned anew does not bear out."""
    other = on_the_chart(planner, plan, group)
    wrong = []
    slide = plan.totals.travel_mm is not None
    saves = other.totals.travel_mm - plan.totals.travel_mm if slide else 0.0
    if abs(saves - group.saves_mm) > 0.05:
        wrong.append(f"saves {saves:.1f} mm, not {group.saves_mm:.1f}")
    wrong += [f"'{group.why}' but it saves {saves:.1f} mm" for said in SAVES.findall(group.why)
              if abs(10 * int(said) - saves) > 5.05]
    wrong += [f"'{group.why}' but {turns(other)} and {turns(plan)} turns" for said in TURNS.findall(group.why)
              if int(said) != turns(other) - turns(plan)]
    wrong += [f"'{group.why}' but {other.totals.valve_changes} and {plan.totals.valve_changes} valve changes"
              for said in VALVES.findall(group.why) if int(said) != other.totals.valve_changes
              - plan.totals.valve_changes]
    smears = [slurs_of(one).count("smear") for one in (other, plan)]
    if "smear" in group.why and smears[0] <= smears[1]:
        wrong.append(f"'{group.why}' but {smears[0]} and {smears[1]} smears")
    notes = plan.notes[group.first:group.last + 1]
    for said in CLOSER.findall(group.why):
        nearer = max(note.usual.extension_mm for note in notes) - max(note.choice.extension_mm for note in notes)
        if abs(10 * int(said) - nearer) > 5.05:
            wrong.append(f"'{group.why}' but it is {nearer:.0f} mm closer in")
    for ours, theirs in SPEEDS.findall(group.why):
        if not float(ours) < float(theirs) <= other.totals.peak_speed_mm_s / 1000 + 0.05:
            wrong.append(f"'{group.why}' but the fastest move is {other.totals.peak_speed_mm_s:.0f} mm/s")
    held = [sum(len(note.choice.valves) for note in one.notes if note.choice) for one in (other, plan)]
    if ("open horn" in group.why.lower() or "valves held" in group.why) and held[0] <= held[1]:
        wrong.append(f"'{group.why}' but {held[0]} and {held[1]} valves are held")
    for k, note in enumerate(notes, group.first):
        if "keeps the valve down" in group.why.lower() and not note.choice.valves:
            wrong.append(f"'{group.why}' but note {k} is open")
    if "in one direction" in group.why and turns(other) <= turns(plan):
        wrong.append(f"'{group.why}' but no turn is saved")
    return wrong


def off_chart_runs(plan: Plan) -> list[tuple[int, int]]:
    runs: list[tuple[int, int]] = []
    for note in plan.notes:
        if note.changed:
            if runs and runs[-1][1] == note.index - 1:
                runs[-1] = (runs[-1][0], note.index)
            else:
                runs.append((note.index, note.index))
    return runs


def sampled() -> list[tuple[Planner, Plan]]:
    return [(planner, planner.plan()) for planner in planners()]


@pytest.fixture(scope="module")
def plans() -> list[tuple[Planner, Plan]]:
    return sampled()


def test_every_claim_is_true_when_the_group_is_pinned_to_the_chart(plans, capsys: pytest.CaptureFixture[str]) -> None:
    groups = [(planner, plan, group) for planner, plan in plans for group in plan.groups]
    wrong = [f"{plan.line.part_name} notes {group.first}-{group.last}: {what}"
             for planner, plan, group in groups for what in untrue(planner, plan, group)]
    with capsys.disabled():
        print(f"\n{len(groups)} groups in {len(plans)} lines planned anew; untrue: {len(wrong)}")
    assert len(groups) >= 40
    assert not wrong


@pytest.mark.parametrize(("names", "horn", "seconds", "slur", "why"), [
    ("C4 D4 C4 D4 C4", "tenor", 0.15, False, "Saves"),
    ("G2 Gb2 C3", "bass-independent", 0.1, True, "Stays off the valve"),
    ("A3 A3 B3 D4 Db4", "tenor", 0.5, True, "Natural slur"),
    ("B2 D2 G2", "bass-independent", 0.25, False, "Stands ready for the next notes"),
    ("Bb2 Bb3 F2", "tenor", 0.1, False, "The fastest move is slower"),
    ("G2 D2 Db2", "bass-independent", 0.25, True, "lurs with the valve"),
])
def test_grounds_other_than_travel_are_named(names: str, horn: str, seconds: float, slur: bool, why: str) -> None:
    """Each is said where it is so; the passages were found by search, what they say is counted below."""
    planner = Planner(line_of(names, seconds, slur=slur), load_horn(horn))
    plan = planner.plan()
    assert any(why in group.why for group in plan.groups), [group.why for group in plan.groups]
    assert not [wrong for group in plan.groups for wrong in untrue(planner, plan, group)]


@pytest.mark.parametrize("horn", ["tenor", "tenor-f", "bass-independent", "euphonium-4-compensating"])
def test_claims_are_true_on_long_random_lines(horn: str) -> None:
    """Every kind of claim, many groups near each other."""
    rng = random.Random(horn)
    for seconds in (0.1, 0.25, 0.6):
        for slur in (False, True):
            names = " ".join(pitch_of(rng.randint(40, 62)).name for _ in range(80))
            planner = Planner(line_of(names, seconds, slur=slur), load_horn(horn))
            plan = planner.plan()
            assert not [wrong for group in plan.groups for wrong in untrue(planner, plan, group)]


@pytest.mark.parametrize("seed", range(120))
def test_claims_are_true_on_random_lines_with_repeats_and_pins(seed: int) -> None:
    """Other weights, repeats that tie notes, pins, glissandi: the window that is solved again is provably enough."""
    planner = random_planner(seed, jumps=seed % 3)
    rng = random.Random(seed)
    pins = {k: rng.choice(choices).label for k, choices in enumerate(planner.choices)
            if choices and rng.random() < 0.2}
    plan = planner.plan(pins)
    assert [(group.first, group.last) for group in plan.groups] == off_chart_runs(plan)
    for group in plan.groups:
        assert not untrue(planner, plan, group)


def test_groups_are_the_runs_of_notes_off_the_chart(plans) -> None:
    for _, plan in plans:
        assert [(group.first, group.last) for group in plan.groups] == off_chart_runs(plan)
        for group in plan.groups:
            notes = plan.notes[group.first:group.last + 1]
            assert group.labels == tuple(note.choice.label for note in notes)
            assert group.chart_labels == tuple(note.usual.label for note in notes)
            assert group.measures == (notes[0].note.measure, notes[-1].note.measure)
            assert all(group.why in note.why for note in notes)


@pytest.mark.parametrize("seed", range(40))
def test_groups_after_a_pin_are_those_of_a_new_planner(seed: int) -> None:
    """A pin keeps what is far from it; what it keeps is what a planner that knows no other plan would say."""
    rng = random.Random(seed)
    names = " ".join(rng.choice(["F3", "D4", "Bb3", "C4", "Eb4", "A3", "G3", "F4", "D3"]) for _ in range(60))
    line, horn = line_of(names, rng.choice([0.12, 0.2])), load_horn(rng.choice(["tenor", "tenor-f"]))
    first, second = Planner(line, horn), Planner(line, horn)
    first.plan()
    k = rng.randrange(60)
    pins = {k: rng.choice(first.choices[k]).label}
    kept, anew = first.plan(pins), second.plan(pins)
    assert [(g.first, g.labels, g.why) for g in kept.groups] == [(g.first, g.labels, g.why) for g in anew.groups]
    assert [g.saves_mm for g in kept.groups] == pytest.approx([g.saves_mm for g in anew.groups])
    assert [note.why for note in kept.notes] == [note.why for note in anew.notes]


def test_a_group_whose_chart_is_out_of_reach_says_so() -> None:
    plan = Planner(line_of("D3 C3 D3", 0.5), load_horn("tenor-f"), Player(outermost_position=5, ceiling_midi=40)).plan()
    (group,) = plan.groups
    assert group.why == "C3 in 6 is beyond this player's reach."


@pytest.mark.parametrize(("names", "player", "why"), [
    ("D3 C3 D3", Player(cannot=("T",)), None),
    ("E2 D2", Player(cannot=("T",)), "needs a valve that this player cannot press"),
    ("E2 Bb2", Player(learned=()), "has not learned T2 for E2 yet"),
])
def test_a_hand_that_cannot_press_a_valve_is_the_reason(names: str, player: Player, why: str | None) -> None:
    plan = Planner(line_of(names, 0.5), load_horn("tenor-f"), player).plan()
    said = [group.why for group in plan.groups]
    assert any(why in text for text in said) if why else said


def test_a_toss_up_names_the_other_choice() -> None:
    """The usual position is marked; what would do nearly as well is told, with hardly a price."""
    tossed = [note for seconds in (0.12, 0.15, 0.2, 0.25, 0.3)
              for names in ("D4 Eb4 D4", "D4 Eb4 G3", "Bb3 G3 Bb3", "Eb4 F4 G3")
              for note in Planner(line_of(names, seconds), load_horn("tenor")).plan().notes if note.toss_up]
    assert tossed
    for note in tossed:
        other = note.alternatives[0]
        assert note.choice is note.usual
        assert other.extra_cost <= default_weights().margin
        assert note.why == (f"Usual position; {shown(other.choice.label)} would do nearly as well.",)


@pytest.mark.whole
def test_every_claim_on_many_lines() -> None:
    for planner in planners(seed=2, lines=120):
        plan = planner.plan()
        for group in plan.groups:
            assert not untrue(planner, plan, group)


if __name__ == "__main__":
    found = sampled()
    said = Counter(re.sub(r"[\d.]+", "N", re.sub(r"the usual \S+?(?=[ .;]|$)", "the usual X", group.why))
                   for _, plan in found for group in plan.groups)
    for why, count in said.most_common():
        print(f"{count:5}  {why}")
    print(sum(said.values()), "groups,", sum(bool(untrue(*one, group)) for one in found for group in one[1].groups),
          "with a claim that is untrue")
