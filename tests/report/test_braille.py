"""Braille parts, read back by a reader of its own: the same notes, values, accidentals and rests; the positions below.

The cells are those of the *Music Braille Code* (Braille Authority of North America, 2015), from memory: notes by value
and letter, octave marks before them, the rule of which notes need one.
"""

import os
import re
from dataclasses import replace
from pathlib import Path

import pytest

from analyzer.analysis import Request, analyse
from analyzer.report.braille.braille import braille_file, label_of
from analyzer.report.braille.cells import _ASCII, ascii_of, words, wrapped
from analyzer.score.document import open_document
from tests.engrave.scores import START, direction, note, part, score

pytest.importorskip("music21", reason="music21, which writes the braille, is not installed")

SAMPLES = Path(__file__).parents[2] / "sample_scores"
SHARED = Path(os.environ.get("LOWBRASS_SHARED", Path(__file__).parents[3] / "shared"))
_CELL = {letter: chr(0x2800 + nth) for nth, letter in enumerate(_ASCII)}
_NOTES = {"8th": "⠙⠑⠋⠛⠓⠊⠚", "half": "⠝⠕⠏⠟⠗⠎⠞", "quarter": "⠹⠱⠫⠻⠳⠪⠺", "whole": "⠽⠵⠯⠿⠷⠮⠾"}
_NOTE = {cell: (value, "CDEFGAB"[nth]) for value, cells in _NOTES.items() for nth, cell in enumerate(cells)}
_OCTAVES = {"⠈": 1, "⠘": 2, "⠸": 3, "⠐": 4, "⠨": 5}
_ALTER = {"⠩": 1, "⠣": -1, "⠡": 0}
_KEYS = "FCGDAEB"
# Words and dynamics, slurs, tenuto and staccato, fermata, hairpins, bar lines, breath, bracket slurs: no pitch in them.
_OTHER = re.compile("⠰⠃|⠘⠆|[⠠⠰⠨⠸⠐⠜]⠦|⠜⠶⠄?⠄?|⠈⠉|⠣⠇|⠣⠅⠄?|⠜[⠉⠙⠒⠲]⠄?(?=⠀|[⠈⠘⠸⠐⠨⠰⠍⠧⠥⠭⠩⠣⠡])|⠠⠄⠣⠠⠄|⠉|⠄|⠦|⠆")

_LETTER = "[" + "".join(words(letter) for letter in "abcdefghijklmnopqrstuvwxyz") + "⠄⠲⠂]"
# Several words stand between two word signs, one word has one sign before it; the next note has an octave mark.
_SIGNED = f"(?:{_LETTER[:-1]}⠠⠶⠦⠤⠐⠖⠒⠴⠔⠌]|⠈[⠁⠑⠊⠕⠥])"     # dot 4 before a vowel: an accent
_MANY_WORDS = re.compile(f"(?:(?<=⠀)|^)⠜{_SIGNED}+(?:⠀{_SIGNED}+)+⠜(?:⠀|$)")
_WORD = re.compile(f"⠜⠶?(?:⠈[⠁⠑⠊⠕⠥]|{_LETTER})+(?:⠶⠄?)?⠀?(?=[^{_LETTER[1:]}|$)")

# Up to three signs, or from four on a number and the sign; meter as a fraction, common or cut.
_KEY_AND_METER = re.compile("((?:(?:⠼[⠙⠑⠋⠛]⠡|⠡*)(?:[⠩⠣]{1,3}|⠼[⠙⠑⠋⠛][⠩⠣])|⠡+|⠼[⠙⠑⠋⠛]⠡)(?=⠼|⠨⠉|⠸⠉|⠀|$))?"
                            "(⠼[⠁⠃⠉⠙⠑⠋⠛⠓⠊⠚][⠂⠆⠒⠲⠢⠖⠶⠦⠔⠴]|⠨⠉|⠸⠉)?⠀?")


class Reader:
    """Reads music in braille: pitches as (letter, alteration, octave) and their values."""

    def __init__(self) -> None:
        self.key = 0
        self.heads: list[tuple[str, int, int, str]] = []
        self.last: tuple[str, int] | None = None
        self.tied = False
        self.again: list[tuple[str, int, int, str]] = []

    def group(self, cells: str) -> None:
        """Read a group of measures without its number."""
        self.last = None
        cells = re.sub("⠠⠄([⠣⠩⠡])⠠⠄", "\\1", cells)          # a reminder is an accidental all the same
        cells = _MANY_WORDS.sub("", cells)
        cells = _WORD.sub("", cells)
        told = _KEY_AND_METER.match(cells)
        if told and told[0]:
            self._key_of(told[1])
            cells = cells[told.end():]
        # A change of meter or key within the group, and rests of several measures.
        cells = re.sub("(?:⠼[⠁⠃⠉⠙⠑⠋⠛⠓⠊⠚][⠂⠆⠒⠲⠢⠖⠶⠦⠔⠴]|⠼[⠁⠃⠉⠙⠑⠋⠛⠓⠊⠚]+⠍)", "", cells)
        for measure in cells.split("⠀"):
            measure = measure.removesuffix("⠅") if not measure.endswith("⠣⠅") else measure     # a dotted bar line
            start = len(self.heads)
            told = _KEY_AND_METER.fullmatch(measure) if measure else None
            if told and told[0]:                         # a new key or meter stands alone, as a measure does
                self._key_of(told[1])
            elif measure.startswith("⠶"):                  # the measure before once more, or so many times
                times = re.match("⠶⠼?([⠁⠃⠉⠙⠑⠋⠛⠓⠊]?)", measure)
                assert times is not None
                self.heads += self.again * ("⠁⠃⠉⠙⠑⠋⠛⠓⠊".index(times[1]) + 1 if times[1] else 1)
            else:
                self._measure(measure)
                self.again = self.heads[start:]

    def _key_of(self, accidentals: str | None) -> None:
        """Take a key: sharps or flats, behind the naturals of the one before."""
        if accidentals:
            of_now = re.sub("^(?:⠼[⠙⠑⠋⠛]⠡|⠡+)(?=.)", "", accidentals)
            times = "⠁⠃⠉⠙⠑⠋⠛".index(of_now[1]) + 1 if of_now[0] == "⠼" else len(of_now)
            self.key = times * {"⠩": 1, "⠣": -1, "⠡": 0}[of_now[-1]]

    def _measure(self, cells: str) -> None:
        shown: dict[tuple[str, int], int] = {}
        octave = alter = None
        while cells:
            found = None if cells[0] in _NOTE else _OTHER.match(cells)
            if found:
                self.tied = self.tied or found[0] == "⠈⠉"
                cells = cells[found.end():]
                continue
            cell, cells = cells[0], cells[1:]
            if cell in _ALTER:
                alter = _ALTER[cell] + (alter or 0)        # twice: a double sharp or flat
            elif cell in _OCTAVES:
                octave = 0 if cell == "⠈" and octave == 1 else _OCTAVES[cell]      # octave 0 has the sign twice
            elif cell in _NOTE:
                value, letter = _NOTE[cell]
                here = octave if octave is not None else self._nearest(letter)
                if alter is not None:
                    shown[letter, here] = alter
                in_key = 1 if _KEYS.index(letter) < self.key else -1 if 6 - _KEYS.index(letter) < -self.key else 0
                if not self.tied:
                    self.heads.append((letter, shown.get((letter, here), in_key), here, value))
                self.last, octave, alter, self.tied = (letter, here), None, None, False
            else:
                assert cell in "⠍⠥⠧⠭", f"{cell} before {cells} in a measure"

    def _nearest(self, letter: str) -> int:
        """Without a mark: a second or third is the nearest, a fourth or fifth stays in the octave."""
        assert self.last is not None, "the first note of a group has an octave mark"
        before, octave = self.last
        step = "CDEFGAB".index(letter) - "CDEFGAB".index(before)
        for moved in (0, -1, 1):
            if abs(step + 7 * moved) <= 2:
                return octave + moved
        return octave


def text_of(data: bytes) -> list[str]:
    return ["".join(_CELL[letter] for letter in line) for line in data.decode("ascii").replace("\f", "").split("\n")]


PLAIN = ("evening-song-euphonium.musicxml", "quiet-chorale-trombones.mxl", "deep-water-bass-trombone.musicxml")
SCORES = [pytest.param(path, id=path.name, marks=() if path.name in PLAIN else pytest.mark.whole)
          for folder in (SAMPLES, SHARED / "scores") if folder.is_dir()
          for path in sorted(folder.iterdir()) if path.suffix in (".musicxml", ".mxl", ".xml")]


@pytest.mark.parametrize("path", SCORES)
def test_the_music_reads_back_note_for_note(path: Path) -> None:
    document = open_document(path)
    analysis = analyse(document, Request())
    for one in analysis.lines:
        reader = Reader()
        for cells in music_lines(text_of(braille_file(replace(analysis, lines=(one,))))):
            reader.group(cells)
        written = [(note.note.written.step, note.note.written.alter, note.note.written.octave)
                   for note in one.plan.notes]
        assert [head[:3] for head in reader.heads] == written


def music_lines(lines: list[str]) -> list[str]:
    """Return the cells of each group: from a line that begins with a number to the line of positions."""
    groups: list[str] = []
    for line in lines:
        if re.match("(?:⠠⠭)?⠼[⠁⠃⠉⠙⠑⠋⠛⠓⠊⠚]+⠀", line):          # X0: a measure that the score does not count
            groups.append(line.split("⠀", 1)[1])
        elif line.startswith(("⠏⠀⠀", "⠧⠀⠀")) or not line:
            groups.append("")
        elif groups and groups[-1] and line.startswith("⠀⠀"):
            # A measure that goes on in the next line has the music hyphen, dot 5, at the end.
            joined = groups[-1].removesuffix("⠐")
            groups[-1] = joined + ("" if joined != groups[-1] else "⠀") + line.strip("⠀")
    return [group for group in groups if group]


def test_every_note_has_its_position_below() -> None:
    document = open_document(SAMPLES / "attachment-etude.musicxml")
    analysis = analyse(document, Request())
    lines = text_of(braille_file(analysis))
    found: list[str] = []
    under = False
    for line in lines:
        under = line.startswith("⠏⠀⠀") or (under and line.startswith("⠀⠀⠀⠀"))
        if under:
            found += [word for word in line.removeprefix("⠏").split("⠀") if word and word != "⠍"]
    assert found == [words(label_of(note)) for note in analysis.lines[0].plan.notes]


def test_lines_and_pages_fit_an_embosser() -> None:
    data = braille_file(analyse(open_document(SAMPLES / "harbour-march-trio.musicxml"), Request()))
    for page in data.decode("ascii").split("\f"):
        lines = page.rstrip("\n").split("\n")
        assert len(lines) <= 25
        assert all(len(line) <= 40 for line in lines)
    assert data == braille_file(analyse(open_document(SAMPLES / "harbour-march-trio.musicxml"), Request()))


def test_words_are_as_a_braille_library_writes_them() -> None:
    louis = pytest.importorskip("louis", reason="liblouis, a braille library, is not installed")
    for text in ("Trombone 2, T2: 1-3; (see 4)", "B1 and measure 41a", "Stop. Rest!", "5% = a/b", "F♯ B♭", "x * y"):
        assert words(text) == louis.translateString(["unicode.dis", "en-ueb-g1.ctb"], text)


def test_cells_and_letters() -> None:
    """The 64 letters of North American braille ASCII are those of its 26 letters and figures, as its name says."""
    assert ascii_of(words("abc xyz")) == "ABC XYZ"
    assert ascii_of("⠼⠁⠃") == "#AB"
    assert sorted(set(_ASCII)) == [chr(code) for code in range(32, 96)]
    with pytest.raises(ValueError, match="no braille cell"):
        ascii_of("a")
    assert wrapped("⠁⠁⠁⠀⠃⠃⠃⠀⠉⠉⠉", 7, indent=1) == ["⠁⠁⠁⠀⠃⠃⠃", "⠀⠉⠉⠉"]


def braille_of(*measures: str) -> tuple[list[str], list[tuple[str, int, int]], list[tuple[str, int, int]]]:
    """Lines of cells of a part of our own, the notes as read back, and as written."""
    analysis = analyse(score(part(list(measures))), Request())
    lines = text_of(braille_file(analysis))
    reader = Reader()
    for cells in music_lines(lines):
        reader.group(cells)
    written = [(note.note.written.step, note.note.written.alter, note.note.written.octave)
               for note in analysis.lines[0].plan.notes]
    return lines, [head[:3] for head in reader.heads], written


def quarters(pitches: str) -> str:
    return "".join(note(pitch, 4, "quarter") for pitch in pitches.split())


def test_a_key_taken_back_is_written() -> None:
    """Three flats, then none: without naturals before it, B natural would be read as B flat."""
    plain = "<attributes><key><fifths>0</fifths></key></attributes>"
    flats = START.replace("<fifths>-2</fifths>", "<fifths>-3</fifths>")
    lines, found, written = braille_of(flats + quarters("Eb3 D3 C3 Bb2"), plain + quarters("B2 C3 D3 E3"),
                                       quarters("B2 A2 B2 C3"))
    assert found == written
    assert written[4] == ("B", 0, 2)
    assert any(re.match("⠼⠃⠀⠡⠡⠡⠀", line) for line in lines)


def test_a_tie_is_a_tie_under_a_slur_and_with_a_tenuto() -> None:
    """A tied note that is read as slurred would be struck again."""
    start = ("<notations><tied type='start'/><slur type='start' number='1'/><articulations><tenuto/></articulations>"
             "</notations>")
    stop = "<notations><tied type='stop'/><slur type='stop' number='1'/></notations>"

    def tied(pitch: str, which: str, more: str) -> str:
        return note(pitch, 8, "half", more=more).replace("<voice>", f"<tie type='{which}'/><voice>", 1)

    lines, found, written = braille_of(START + note("D3", 8, "half") + tied("F3", "start", start),
                                       tied("F3", "stop", stop) + note("D3", 8, "half"))
    assert found == written == [("D", 0, 3), ("F", 0, 3), ("D", 0, 3)]
    assert words("tenuto on tied note") in "⠀".join(line.strip("⠀") for line in lines)


def test_double_sharps_and_flats() -> None:
    """Of notes without a printed <accidental>, as other programs write them."""
    def altered(step: str, alter: int) -> str:
        return (f"<note><pitch><step>{step}</step><alter>{alter}</alter><octave>3</octave></pitch>"
                "<duration>4</duration><voice>1</voice><type>quarter</type></note>")

    _, found, written = braille_of(START + altered("F", 2) + altered("B", -2) + altered("F", 0) + altered("B", -1))
    assert found == written == [("F", 2, 3), ("B", -2, 3), ("F", 0, 3), ("B", -1, 3)]


def test_what_has_no_sign_stands_in_words_above() -> None:
    """Repeats, endings, tempo, ornaments, glissandi and grace notes: music21 writes them otherwise or not at all."""
    gliss = "<notations><glissando type='{}' number='1'/></notations>"
    trill = "<notations><ornaments><trill-mark/></ornaments></notations>"
    tempo = direction("<metronome><beat-unit>half</beat-unit><per-minute>66</per-minute></metronome>")
    lines, found, written = braille_of(
        START + tempo + "<barline location='left'><repeat direction='forward'/></barline>" + quarters("Bb2 C3 D3")
        + note("F3", 4, "quarter", more=trill),
        "<barline location='left'><ending number='1' type='start'/></barline>"
        + note("C3", 0, "eighth", before="<grace/>") + quarters("D3 Eb3")
        + note("F3", 4, "quarter", more=gliss.format("start")) + note("D3", 4, "quarter", more=gliss.format("stop"))
        + "<barline location='right'><ending number='1' type='stop'/><repeat direction='backward'/></barline>",
        quarters("Bb2 A2 G2 F2"))
    assert found == written
    said = "⠀".join(line.strip("⠀") for line in lines)
    for text in ("measure 1: half note = 66, repeat from here, trill", "measure 2: ending 1, C3 is a grace note",
                 "glissando from F3, repeat back at its end"):
        assert words(text) in said, text


def test_words_among_dynamics_are_words() -> None:
    """`sempre` before an f, and brackets around one: music21 would write the name of their kind."""
    said = direction("<dynamics><other-dynamics>sempre </other-dynamics><f/></dynamics>")
    bracketed = direction("<dynamics><other-dynamics>[</other-dynamics><pp/>"
                          "<other-dynamics>]</other-dynamics></dynamics>")
    lines, found, written = braille_of(START + said + quarters("Bb2 C3 D3 F3"), bracketed + quarters("D3 C3 Bb2 F2"))
    assert found == written
    whole = "".join(lines)
    assert words("sempre") in whole
    assert words("other") not in whole
