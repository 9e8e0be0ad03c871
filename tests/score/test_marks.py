"""What stands at the notes (articulations, fermatas, breaths and caesuras), as music21 reads the same files."""

import warnings
from pathlib import Path
from typing import Any

import pytest

from analyzer.score.document import open_document
from analyzer.score.reader import read_part
from tests.score.suites import sample, suites

music21 = pytest.importorskip("music21", reason="music21, the second reading, is not installed")
KINDS = {"Staccato": "staccato", "Staccatissimo": "staccato", "Spiccato": "staccato", "Tenuto": "tenuto",
         "DetachedLegato": "tenuto", "BreathMark": "breath_after", "Caesura": "breath_after", "Fermata": "fermata"}
LILYPOND, CORPUS, MUSICSCORE, *_ = suites()
SMALL = [path for path in (*LILYPOND.files, *MUSICSCORE.files) if 200 < path.stat().st_size < 80_000]

Marks = set[tuple[int, int, int, str]]


def ours(path: Path) -> Marks:
    """Return (part, measure, onset in 1/32 of a quarter note, mark) of every marked note."""
    document = open_document(path)
    found: Marks = set()
    for index, part_id in enumerate(document.part_ids):
        if not document.part_measures(part_id):
            continue
        part, _ = read_part(document, part_id)
        for note in part.notes:
            at = round(float(note.onset - part.measures[note.measure].onset) * 32)
            found |= {(index, note.measure, at, kind) for kind in set(KINDS.values()) if getattr(note, kind)}
    return found


def theirs(path: Path) -> Marks:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score: Any = music21.converter.parse(path, format="musicxml", forceSource=True)
    found: Marks = set()
    part, last = -1, None
    for stream in score.parts:
        base = str(stream.id).rpartition("-Staff")[0] or None
        part += base is None or base != last              # music21 makes a part of every staff
        last = base
        for index, measure in enumerate(stream.getElementsByClass("Measure")):
            for note in measure.recurse().notes:
                at = round(float(note.getOffsetInHierarchy(measure)) * 32)
                heads = note.notes if note.isChord else ()
                signs = [*note.articulations, *note.expressions]
                signs += [sign for head in heads for sign in head.articulations]
                if not note.style.hideObjectOnPrint:
                    found |= {(part, index, at, KINDS[type(sign).__name__]) for sign in signs
                              if type(sign).__name__ in KINDS}
    return found


@pytest.mark.parametrize("path", [*sample(SMALL, 30, 5), *sample(CORPUS.files, 3, 11)], ids=lambda path: path.name)
def test_marks_of_a_sample(path: Path) -> None:
    assert ours(path) == theirs(path)


@pytest.mark.whole
@pytest.mark.parametrize("path", SMALL, ids=lambda path: path.name)
def test_marks_of_the_small_suites(path: Path) -> None:
    assert ours(path) == theirs(path)


def test_the_suites_have_marks_of_every_kind() -> None:
    seen = {mark for path in SMALL if path.name.startswith(("32", "test_32")) for *_, mark in ours(path)}
    assert seen == set(KINDS.values())
