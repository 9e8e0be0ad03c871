"""A survey's row holds just what the whole plan of the line says, cell by cell: nothing is rounded off for speed."""

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from analyzer.horns.candidates import candidates
from analyzer.horns.profiles import load_horn
from analyzer.library.survey import Options, Record, asked_parts, survey_bytes
from analyzer.pitch import pitch_of
from analyzer.plan.difficulty import difficulties
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner
from analyzer.problem import Unreadable
from analyzer.score.document import read_score
from analyzer.selection import asked_lines
from tests.score.suites import every_file, sample, suites

SAMPLES = Path(__file__).parents[2] / "sample_scores"
HORNS = tuple(load_horn(name) for name in ("tenor", "bass-independent", "euphonium-4-compensating"))
PLAYERS = (Player(), Player(level="beginner", reach_mm=450.0, high=62, learned=()))


def rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 1)


def fewest(planner: Planner, midi: int) -> int:
    ways = candidates(planner.horn, midi)
    good = [one for one in ways if one.advice is None] or ways
    return min((len(one.valves) for one in good), default=0)


def told(planner: Planner) -> Record:
    """The figures of a row, from the plan that `map` shows: with reasons, alternatives and every measure judged."""
    plan, horn = planner.plan(), planner.horn
    totals, notes = plan.totals, plan.notes
    measures = difficulties(planner, plan)
    hardest = max(measures, key=lambda one: one.share) if measures else None
    choices = [note.choice for note in notes if note.choice is not None]
    off = [abs(one.off_cents) for one in choices]
    midis = [note.note.midi for note in notes]
    slide = horn.family == "slide"
    return {
        "horn": horn.name, "notes": totals.notes, "unplayable": totals.unplayable,
        "midi_low": min(midis), "midi_high": max(midis), "sounding_low": pitch_of(min(midis)).name,
        "sounding_high": pitch_of(max(midis)).name,
        "notes_by_position": dict(sorted(Counter(str(one.position) for one in choices if one.position).items())),
        "notes_by_valves": dict(sorted(Counter(("" if slide else "-").join(one.valves) or "open"
                                               for one in choices).items())),
        "needs_valve": sum(fewest(planner, midi) > 0 for midi in midis) if slide else None,
        "needs_two_valves": sum(fewest(planner, midi) > 1 for midi in midis) if slide else None,
        "changed": sum(note.changed for note in notes), "travel_mm": rounded(totals.travel_mm),
        "chart_travel_mm": rounded(totals.chart_travel_mm), "valve_changes": totals.valve_changes,
        "peak_speed_mm_s": rounded(totals.peak_speed_mm_s), "tempo_ceiling_bpm": rounded(totals.tempo_ceiling_bpm),
        "tempo_there_bpm": rounded(notes[plan.hardest[0]].time.bpm) if plan.hardest else None,
        "difficulty": hardest.share if hardest else 0.0, "hardest_measure": hardest.measure if hardest else None,
        "hardest_why": hardest.reason if hardest else None,
        "out_of_tune": sum(cents > horn.lip_reach.value for cents in off), "off_sum_cents": round(sum(off), 1),
        "off_worst_cents": round(max(off, default=0.0), 1),
    }


def rows_and_plans(path: Path, player: Player) -> Iterator[tuple[Record, Record]]:
    """Each row of the survey beside what the whole plan of its line says."""
    options = Options(bass_clef=True, horns=HORNS, player=player)
    data = path.read_bytes()
    rows = survey_bytes(path.name, data, options)["lines"]
    if not rows:
        return
    document = read_score(data, path.name)
    lines, _ = asked_lines(document, asked_parts(document, (), bass_clef=True)[0])
    by_line = {(asked.part.id, asked.line.number): asked.line for asked in lines}
    horns = {horn.name: horn for horn in HORNS}
    for row in rows:
        horn = horns.get(row["horn"]) or load_horn(row["horn"])
        yield row, told(Planner(by_line[row["part_id"], row["line"]], horn, player))


def differing(paths: list[Path]) -> tuple[int, list[str]]:
    """Count rows, and name every cell that differs."""
    count, wrong = 0, []
    for k, path in enumerate(paths):
        try:
            for row, whole in rows_and_plans(path, PLAYERS[k % len(PLAYERS)]):
                count += 1
                wrong += [f"{path.name} {row['part']} {row['horn']} {key}: {row[key]} for {value}"
                          for key, value in whole.items() if row[key] != value]
        except Unreadable:
            continue
    return count, wrong


def test_samples_row_by_row() -> None:
    count, wrong = differing(sorted(one for one in SAMPLES.iterdir() if one.suffix in (".musicxml", ".mxl")))
    assert wrong == []
    assert count > 5


def test_corpus_row_by_row() -> None:
    corpus = next((one.files for one in suites() if one.name == "music21 corpus"), ())
    if not corpus:
        pytest.skip("music21's scores are not installed")
    count, wrong = differing(sample(corpus, 12, 5, most_bytes=40_000))
    assert wrong == []
    assert count > 10


@pytest.mark.whole
def test_every_score_row_by_row() -> None:
    assert differing(list(every_file()))[1] == []
