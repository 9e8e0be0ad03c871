"""Findings written into a score as words: another reader finds them, each at its note, and nothing else is changed."""

import os
from pathlib import Path

import numpy as np
import pytest

from analyzer.analysis import Analysis, Planned, Request, analyse, with_notes
from analyzer.hearing.hear import Hearing, hear
from analyzer.hearing.sound import Sound
from analyzer.report.listen.document import Student
from analyzer.report.listen.files import listen_file
from analyzer.report.listen.text import short_finding
from analyzer.score.document import Document, open_document

from .players import SAMPLES, Faults, played, recording
from .synth import RATE

music21 = pytest.importorskip("music21", reason="music21 reads the written score")
SHARED = Path(os.environ.get("LOWBRASS_SHARED", Path(__file__).parents[3] / "shared")) / "scores"
FAULTS = Faults(slip_mm=30.0, wrong=0.12, missing=0.06, late=0.2)


def heard_of(path: Path, part: str | None, measures: tuple[str, str]) -> tuple[Document, Analysis, Hearing]:
    document = open_document(path)
    request = Request(parts=(part,) if part else (), measures=measures)
    analysis = with_notes(analyse(document, request))
    one: Planned = analysis.lines[0]
    rng = np.random.default_rng(5)
    sound = recording(played(one, FAULTS, rng), "clean", rng)
    return document, analysis, hear(Sound(samples=sound.astype(np.float32), rate=RATE, name="x"), one)


def words_of(data: bytes | str) -> list[tuple[str, str]]:
    """The words of all parts with their measures, in order, as music21 reads them."""
    found = music21.converter.parseData(data, format="musicxml")
    return [(str(measure.number), text.content) for part in found.parts
            for measure in part.getElementsByClass("Measure")
            for text in measure.recurse().getElementsByClass(music21.expressions.TextExpression)]


def check(path: Path, part: str | None, measures: tuple[str, str], tmp_path: Path) -> None:
    document, analysis, hearing = heard_of(path, part, measures)
    planned = hearing.planned
    notes = planned.plan.notes
    told = [(notes[note.index].note.measure, said) for note in hearing.notes if (said := short_finding(note))]
    assert len(told) >= 5
    out = tmp_path / "heard.musicxml"
    written = listen_file(document, analysis, [Student(file="x", hearing=hearing, problem=None)], out)
    before, after = words_of(document.xml), words_of(written)
    for word in before:
        after.remove(word)             # what the score said stays
    assert after == told


def test_another_reader_finds_each_finding_in_its_measure(tmp_path: Path) -> None:
    check(SAMPLES / "attachment-etude.musicxml", None, ("1", "12"), tmp_path)


@pytest.mark.whole
@pytest.mark.filterwarnings("ignore::music21.musicxml.xmlObjects.MusicXMLWarning")
@pytest.mark.skipif(not SHARED.is_dir(), reason="the folder of scores beside the project is not there (LOWBRASS_SHARED "
                                                "names it)")
def test_in_foreign_scores_too(tmp_path: Path) -> None:
    check(SHARED / "bigband-preludius-maximus.mxl", "P13", ("4", "39"), tmp_path)
