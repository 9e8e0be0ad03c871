"""Parts as braille files: groups of measures, each with the music and, below it, how every note is played.

The music is music21's (its tables follow *Introduction to Braille Music Transcription*, M. T. De Garmo); a group begins
at a rehearsal mark or after `_TOGETHER` measures, with its measure number and octave, so that a finger that is lost
finds its place again.
"""

import re
from collections.abc import Iterable, Sequence

from lxml import etree

from analyzer.analysis import Analysis, Planned
from analyzer.guard import guarded
from analyzer.plan.plan import PlannedNote
from analyzer.problem import Unreadable, unreadable
from analyzer.report.braille import native
from analyzer.report.braille.beside import said_of
from analyzer.report.braille.cells import ascii_of, words, wrapped
from analyzer.report.map.printed import head_of
from analyzer.score.reader import read_part
from analyzer.writing.alone import finished, line_alone
from analyzer.writing.notation import print_accidentals

_WIDTH, _LINES = 40, 25
"""Cells of a line and lines of a page: the usual page of an embosser (common practice, no source)."""
_NUMBER = 6
"""Cells at the start of a line of music for its measure's number: four figures, their sign and a blank."""
_MOST_SIGNS = 4
"""From this many on the accidentals of a key are counted: the number, then the sign once."""
_TOGETHER = 4
"""Measures of a group; judged: one or two lines of music, as much as is learned by heart at a time."""
_CLASS = re.compile(r"music21\.\w+\.(\w+)")
_SPOKEN = re.compile(r"[^\W_]")
_ACROSS = {"RehearsalMark", "Segno", "Coda", "MetronomeMark", "Ottava"}
"""Classes without a sign in music21's braille that stand in words above their group here, or change no pitch."""


def braille_file(analysis: Analysis) -> bytes:
    """Return the lines of an analysis as one braille file, in braille ASCII; equal input gives equal bytes.

    Raises
    ------
    Unreadable
        If music21 is not installed, or the music cannot be written in braille.
    """
    sheets = [_sheet(analysis, one) for one in analysis.lines]
    return "\f".join("\n".join(sheet[start:start + _LINES]) + "\n" for sheet in sheets
                     for start in range(0, len(sheet), _LINES)).encode("ascii")


def _sheet(analysis: Analysis, one: Planned) -> list[str]:
    """Return the lines of one player's part."""
    line = one.plan.line
    # The line alone: music21 takes its time with every other part.
    score = line_alone(analysis.document, read_part(analysis.document, line.part_id)[0], line)
    groups = groups_of(one, score.findall("part/measure"))
    music, lost = _music(analysis, one, score, [(first, last) for first, last, *_ in groups])
    head = head_of(analysis.document, one)
    slide = one.plan.horn.family == "slide"
    out: list[str] = []
    for said in (head.title, head.part, head.below, _legend(slide, lost), f"Caution: {analysis.cautions[0]}",
                 analysis.cautions[-1]):
        out += wrapped(words(said), _WIDTH, indent=2)
    measures = score.findall("part/measure")
    keys = _keys(measures)
    for (first, last, number, mark), cells in zip(groups, music, strict=True):
        if first and keys[first] == 0 != keys[first - 1]:
            cells = f"{_naturals(keys[first - 1])}⠀{cells}"
        out.append("")
        if mark:
            out += wrapped(words(f"rehearsal mark {mark}"), _WIDTH)
        out += wrapped(words(said_of(measures[first:last + 1])), _WIDTH, indent=2)
        lines = [part for line in cells.split("\n") if line.strip("⠀ ")
                 for part in wrapped(line.strip("⠀ "), _WIDTH - _NUMBER)]
        out += [(f"{words(number)}⠀" if nth == 0 else "⠀⠀") + line for nth, line in enumerate(lines)]
        labels = [" ".join(label_of(note) for note in found)
                  for found in _by_measure(one.plan.notes, first, last)]
        if any(labels):
            said = words("p" if slide else "v") + "".join(f"⠀⠀{words(text) if text else '⠍'}" for text in labels)
            out += _two_blanks(said)
    return [ascii_of(line) for line in out]


def _two_blanks(cells: str) -> list[str]:
    """Break a line of positions, keeping the two blanks between measures."""
    held = cells.replace("⠀⠀", "⠀\u2840")               # a cell with dot 7 stands for a second blank meanwhile
    return [line.replace("\u2840", "⠀") for line in wrapped(held, _WIDTH, indent=4)]


def groups_of(one: Planned, measures: Sequence[etree._Element]) -> list[tuple[int, int, str, str]]:
    """Return first and last measure of each group, as places in the part, its number, and the mark that it begins with.

    A group begins with a rehearsal mark, a new key, or after so many measures.
    """
    keys = _keys(measures)
    shown = [measure.index for measure in one.plan.line.measures] or [0]
    groups: list[tuple[int, int, str, str]] = []
    for nth in range(shown[0], shown[-1] + 1):
        mark = " ".join((measures[nth].findtext("direction/direction-type/rehearsal") or "").split())
        if not groups or mark or keys[nth] != keys[nth - 1] or nth - groups[-1][0] >= _TOGETHER:
            groups.append((nth, nth, measures[nth].get("number") or "", mark))
        else:
            groups[-1] = (groups[-1][0], nth, *groups[-1][2:])
    return groups


def _keys(measures: Sequence[etree._Element]) -> list[int]:
    """Return how many sharps (flats below 0) are in force in each measure."""
    found: list[int] = []
    for measure in measures:
        told = (measure.findtext("attributes/key/fifths") or "").strip()
        found.append(int(told) if told.lstrip("-").isdecimal() else found[-1] if found else 0)
    return found


def _naturals(key: int) -> str:
    """Return a key taken back, for a new one without accidentals, of which music21 writes nothing."""
    return "⠡" * abs(key) if abs(key) < _MOST_SIGNS else f"{words(str(abs(key)))}⠡"


def _music(analysis: Analysis, one: Planned, score: etree._Element,
           groups: Sequence[tuple[int, int]]) -> tuple[list[str], tuple[str, ...]]:
    where = f"{analysis.document.name}, {one.part.name or one.part.id}"
    try:
        _with_plain_words(score)
        print_accidentals(score)                         # music21 writes those alone that the source prints
        found, lost = guarded(native.translated, finished(score).decode(), _WIDTH - _NUMBER, groups, where=where,
                              doing="writing braille")
    except ModuleNotFoundError as error:
        raise unreadable("missing-extra", where=where, what=f"braille needs {error.name}, which is not installed",
                         try_="Install the extra: pip install 'lowbrass[build]'") from error
    except ValueError as error:
        raise Unreadable(unreadable("no-braille", where=where, what=f"the music cannot be written in braille ({error})",
                                    try_="Choose other measures with --measures.").problem) from error
    kinds = dict.fromkeys(_CLASS.findall(" ".join(lost)))
    return found, tuple(_plainly(kind) for kind in kinds if kind not in _ACROSS)


def _with_plain_words(score: etree._Element) -> None:
    """Make words of dynamics that are words, and drop brackets alone, which music21 writes as names of their kinds."""
    for kind in list(score.iter("direction-type")):
        for dynamics in kind.findall("dynamics"):
            for other in dynamics.findall("other-dynamics"):
                if _SPOKEN.search(other.text or ""):
                    words_kind = etree.Element("direction-type")
                    etree.SubElement(words_kind, "words").text = (other.text or "").strip()
                    kind.addprevious(words_kind)
                dynamics.remove(other)
            if not len(dynamics):
                kind.remove(dynamics)
        for said in kind.findall("words"):
            if not _SPOKEN.search(said.text or ""):
                kind.remove(said)
        if not len(kind):
            _remove_kind(kind)
    for dynamics in list(score.iterfind(".//notations/dynamics")):
        for other in dynamics.findall("other-dynamics"):
            dynamics.remove(other)
        if not len(dynamics):
            owner = dynamics.getparent()
            assert owner is not None
            owner.remove(dynamics)


def _remove_kind(kind: etree._Element) -> None:
    """Take an empty kind out of its direction, and the direction with its last one, unless it tells a tempo."""
    direction = kind.getparent()
    assert direction is not None
    direction.remove(kind)
    measure = direction.getparent()
    if direction.find("direction-type") is None and measure is not None:
        measure.remove(direction)


def _plainly(kind: str) -> str:
    """Return the name of a class in words: `TextExpression`, text expression."""
    return re.sub(r"(?<=[a-z])(?=[A-Z])", " ", kind).lower()


def _legend(slide: bool, lost: Iterable[str]) -> str:
    left_out = "; ".join(lost)
    return (f"Below the music: {'p, positions' if slide else 'v, valves'}, two blanks between measures, a letter m for "
            "a measure of rest; a star: not the usual choice; x: cannot be played; a tied note has none."
            + (f" Without a sign in braille and left out: {left_out}." if left_out else ""))


def _by_measure(notes: Iterable[PlannedNote], first: int, last: int) -> list[list[PlannedNote]]:
    found: list[list[PlannedNote]] = [[] for _ in range(first, last + 1)]
    for note in notes:
        if first <= note.note.measure_index <= last:
            found[note.note.measure_index - first].append(note)
    return found


def label_of(note: PlannedNote) -> str:
    """Return how a note is played; a choice that differs from the usual chart has a star before it."""
    if note.choice is None:
        return "x"
    return f"*{note.choice.label}" if note.changed else note.choice.label
