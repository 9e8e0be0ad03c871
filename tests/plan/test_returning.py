"""Over whole lines: repeated notes keep their place, figures that return keep their fingering, odd choices say why."""

from collections import Counter, defaultdict
from pathlib import Path

import pytest

from analyzer.analysis import Request, analyse
from analyzer.horns.profiles import load_horn
from analyzer.plan.plan import Plan
from analyzer.plan.solve import Planner
from analyzer.score.document import open_document
from tests.plan.test_travel import lowest_lines

SAMPLES = Path(__file__).parents[2] / "sample_scores"


def sample_lines():
    for path in sorted([*SAMPLES.glob("*.musicxml"), *SAMPLES.glob("*.mxl")]):
        yield from (one.plan.line for one in analyse(open_document(path), Request()).lines)


def parted(plan: Plan) -> tuple[int, int]:
    """Occurrences of figures of three notes that are not played as most of the same figure are; and all of them."""
    notes = plan.notes
    seen = defaultdict(list)
    for k in range(len(notes) - 2):
        here = [one.note for one in notes[k:k + 3]]
        if len({note.midi for note in here}) > 1:
            seen[tuple((note.midi, note.duration, note.onset - here[0].onset) for note in here)].append(k)
    odd = total = 0
    for starts in seen.values():
        if len(starts) > 1:
            ways = Counter(tuple(one.choice and one.choice.label for one in notes[k:k + 3]) for k in starts)
            odd, total = odd + len(starts) - max(ways.values()), total + len(starts)
    return odd, total


@pytest.mark.parametrize("horn", ["tenor", "tenor-f", "bass-independent", "euphonium-4-compensating"])
def test_what_returns_is_played_alike(horn: str, capsys: pytest.CaptureFixture[str]) -> None:
    """One teacher's judgement: no repeated note changes; of figures that return hardly any differ (1 in 100 at most).

    The lines are our own studies and the lowest parts of music21's corpus, as if for one player, at their own tempi.
    """
    ranks: Counter[str | None] = Counter()
    odd = total = repeats = 0
    gap = cost = 0.0
    for line in (*sample_lines(), *lowest_lines()):
        planner = Planner(line, load_horn(horn))
        plan = planner.plan()
        ranks.update(one.rank for one in plan.notes)
        for a, b in zip(plan.notes, plan.notes[1:], strict=False):
            if a.choice and b.choice and planner.moves[a.index].again:
                repeats += 1
                assert a.choice.label == b.choice.label, f"{line.part_name}, measure {a.note.measure}"
        assert all(one.why for one in plan.notes if one.rank == "avoid")
        # A note that departs from its figure says so.
        for tie, label in planner.tied.labels.items():
            others = {other for more, other in planner.tied.labels.items() if set(more) & set(tie)}
            for k in tie:
                if plan.notes[k].choice.label not in others | {label}:
                    assert any("The same figure takes" in why for why in plan.notes[k].why)
        here, there = parted(plan)
        odd, total = odd + here, total + there
        gap, cost = gap + planner.tied.gap, cost + plan.cost
    with capsys.disabled():
        print(f"\n{horn}: {dict(ranks)}; figures {odd} of {total} differ; repeated notes {repeats}; proved within "
              f"{gap:.1f} of {cost:.0f}")
    assert repeats > 100
    assert total > 200
    assert odd <= 0.01 * total
    assert gap <= cost / 1000


def test_the_attachment_study_has_no_hop_between_the_attachment_and_sixth_or_seventh() -> None:
    """One teacher's judgement: in an attachment study nobody accepts 6 7 6 in the middle of figures on T1 and T2."""
    line = next(one.plan.line for one in analyse(
        open_document(SAMPLES / "attachment-etude.musicxml"), Request()).lines)
    notes = Planner(line, load_horn("tenor-f")).plan().notes
    assert {one.choice.label for one in notes if one.note.sounding.name == "C3"} == {"T1"}
    assert {one.choice.label for one in notes if one.note.sounding.name == "B2"} == {"T2"}
