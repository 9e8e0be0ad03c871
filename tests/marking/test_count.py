"""A seeded sample of the count of marks (`python -m tests.marking.count`), and marks read back by other programs."""

import random
import re
import shutil
import subprocess
import tempfile
from itertools import pairwise
from pathlib import Path

import pytest
from lxml import etree

from analyzer.analysis import Planned
from analyzer.marking.annotate import annotated, cleared
from analyzer.marking.mark import Mark
from analyzer.marking.which import WriteAs, asked_for, marks
from analyzer.score.document import open_document, read_document

pytest.importorskip("verovio", reason="the engraver is not installed (pip install lowbrass[engrave])")
music21 = pytest.importorskip("music21", reason="music21 saves the scores again")

from tests.engrave.scores import START, note, part, score  # noqa: E402
from tests.marking.count import Count, counted, planned_lines, table, visible_marks  # noqa: E402  needs the extras
from tests.score.suites import every_file  # noqa: E402

SAMPLES = sorted(path for path in (Path(__file__).parents[2] / "sample_scores").iterdir()
                 if path.suffix in (".musicxml", ".mxl"))
SMALL = [path for path in every_file() if path.stat().st_size < 40_000]
pytestmark = pytest.mark.filterwarnings("ignore")


def chosen(count: int, seed: int) -> list[Path]:
    return random.Random(seed).sample(SMALL, min(count, len(SMALL)))


def whole(path: Path, *, pdf: bool) -> Count:
    found = counted(path, pdf=pdf)
    assert found.wrong == [], table([found])
    assert (found.svg, found.narrow, found.paper) == (found.planned,) * 3
    assert found.score == found.written
    assert found.pdf == found.pdf_planned
    return found


@pytest.mark.parametrize("path", chosen(8, 3), ids=lambda path: path.name)
def test_a_sample_shows_all_that_is_planned(path: Path) -> None:
    whole(path, pdf=shutil.which("pdftotext") is not None)


@pytest.mark.whole
@pytest.mark.parametrize("path", [*SAMPLES, *chosen(150, 4)], ids=lambda path: path.name)
def test_a_hundred_and_fifty_show_all_that_is_planned(path: Path) -> None:
    whole(path, pdf=False)


def saved(data: bytes) -> bytes:
    """Return a score as music21 saves it; the ids that it makes up by chance are made equal."""
    stream = music21.converter.parseData(data.decode(), format="musicxml", forceSource=True)
    with tempfile.TemporaryDirectory() as folder:
        written = Path(stream.write("musicxml", f"{folder}/a.musicxml")).read_bytes()
    return re.sub(rb"I[0-9a-f]{32}", b"I", written)


def check_saved_again(path: Path, write_as: WriteAs) -> None:
    """Mark, let music21 save, clear: what is left is what music21 makes of the source."""
    document = open_document(path)
    analysis = planned_lines(document)
    if analysis is None:
        return
    marked = read_document(annotated(document, marks(analysis.lines), write_as), path.name)
    again = read_document(saved(marked.xml), "again.musicxml")
    own = {id(found) for found in document.root.iter("note") if found.find("notations/technical/fingering") is not None}
    wanted = visible_marks(marked, write_as)
    if not own:
        assert visible_marks(again, write_as) == wanted
    left = read_document(cleared(again), "left.musicxml")
    assert visible_marks(left, write_as).total() == 0
    assert etree.tostring(left.root, method="c14n") == etree.tostring(
        etree.fromstring(saved(document.xml)), method="c14n")


@pytest.mark.parametrize("write_as", ["fingering", "lyric"])
def test_an_etude_that_music21_saved_again_is_cleared(write_as: WriteAs) -> None:
    check_saved_again(SAMPLES[0], write_as)


@pytest.mark.whole
@pytest.mark.parametrize("path", [*SAMPLES, *chosen(60, 5)], ids=lambda path: path.name)
def test_scores_that_music21_saved_again_are_cleared(path: Path) -> None:
    check_saved_again(path, "fingering")


def converted_notes(data: bytes) -> tuple[int, int]:
    """Return how many notes musicxml2ly and lilypond make of a score, and how many errors lilypond finds."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "a.musicxml").write_bytes(data)
        subprocess.run(["musicxml2ly", "-m", "-o", "a.ly", "a.musicxml"], cwd=folder, check=True, capture_output=True)
        done = subprocess.run(["lilypond", "-o", "a", "a.ly"], cwd=folder, capture_output=True, text=True, timeout=120,
                              check=False)
        midi = next(Path(folder).glob("a.mid*"))
        heard = music21.converter.parse(str(midi)).flatten().notes
        return sum(len(sound.pitches) for sound in heard), done.stderr.count("error:")


@pytest.mark.skipif(not (shutil.which("musicxml2ly") and shutil.which("lilypond")), reason="LilyPond is not installed")
def test_a_converter_that_takes_digits_only_takes_lyrics() -> None:
    document = score(part([START + note("C3", 4, "quarter") + note("D3", 4, "quarter") + note("E3", 8, "half"),
                           note("F3", 16, "whole")]))
    wanted = [Mark(part_id="P1", ref=ref, line=1, text=text) for ref, text in enumerate(("T1", "2♯", "1-2", "×"))]
    assert converted_notes(document.xml) == (4, 0)
    assert converted_notes(annotated(document, wanted, "lyric")) == (4, 0)


def off_the_chart(path: Path) -> tuple[list[Planned], list[int]]:
    analysis = planned_lines(open_document(path))
    assert analysis is not None
    return list(analysis.lines[:1]), [
        each.index for each in analysis.lines[0].plan.notes
        if each.usual is None or each.choice is None or each.usual.label != each.choice.label]


def test_fewer_marks_on_request() -> None:
    lines, off = max((off_the_chart(path) for path in SAMPLES), key=lambda found: len(found[1]))
    notes = lines[0].plan.notes
    assert [each.index for each in asked_for(notes, "alternates")] == off != []
    rests = [two.index for one, two in pairwise(notes) if two.note.onset > one.note.onset + one.note.duration]
    assert [each.index for each in asked_for(notes, "changes")] == sorted({0, *rests, *off})
    assert [each.index for each in asked_for(notes, "all")] == list(range(len(notes)))
    assert len(marks(lines, "alternates")) == len(off)
