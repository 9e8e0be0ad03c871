"""Files of another project read by two libraries; a seeded sample here, all of them with the marker `whole`.

The files are those that music21 ships: its corpus, and the test suite of LilyPond's MusicXML import.
"""

import random
from pathlib import Path

import pytest

from tests.score.second_reading import differences

music21 = pytest.importorskip("music21", reason="music21, the second reading, is not installed")

# File -> why the readings differ. Each reason is a rule of the format (MusicXML 4.0) or a fault of the other reading.
KNOWN = {
    "01d-Pitches-Microtones.xml": "a quarter tone lies between two semitones; either is the nearest",
    "01f-Pitches-EditorialMicrotoneAccidentals.xml": "as 01d",
    "02e-Rests-NoType.xml": "music21 gives a note without <staff> to both staves; `staff` is 1 by default",
    "21f-Chord-ElementInBetween.xml": "`chord` belongs to the note before it, whatever stands between",
    "32c-MultipleNotationChildren.xml": "`accidental` is how it is printed; `alter` alone changes the pitch",
    "PMFC_13_04-Credo Cursor.xml": "as 32c",
    "Lindenbaum.xml": "a note of a chord may be shorter than the one it leans on (`chord`); music21 takes the latter's",
    "41g-PartNoId.xml": "the part list and the music do not agree; we list what either has",
    "41h-TooManyParts.xml": "as 41g",
}


def _files() -> list[Path]:
    home = Path(music21.__file__).parent
    found = [path for folder in ("corpus", "musicxml", "omr", "stream", "figuredBass")
             for path in (home / folder).rglob("*") if path.suffix in {".xml", ".mxl", ".musicxml"}]
    return sorted(found)


FILES = _files()
SUITE = [path for path in FILES if path.parent.name == "lilypondTestSuite"]
SAMPLE = random.Random(20261125).sample([path for path in FILES if path not in SUITE
                                         and path.stat().st_size < 120_000], 12)


def test_there_are_files() -> None:
    assert len(FILES) > 600
    assert len(SUITE) > 130


def _check(path: Path) -> None:
    found = differences(path)
    if path.name in KNOWN:
        assert found, f"{path.name} no longer differs; take it off the list"
    else:
        assert found == []


@pytest.mark.parametrize("path", SUITE, ids=lambda path: path.name)
def test_lilypond_suite(path: Path) -> None:
    _check(path)


@pytest.mark.parametrize("path", SAMPLE, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_sample_of_the_corpus(path: Path) -> None:
    _check(path)


@pytest.mark.whole
@pytest.mark.parametrize("path", [path for path in FILES if path not in SUITE],
                         ids=lambda path: f"{path.parent.name}/{path.name}")
def test_whole_corpus(path: Path) -> None:
    _check(path)
