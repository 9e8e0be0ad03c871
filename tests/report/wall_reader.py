"""Reads a chart for the wall back from its PDF, as poppler tells words and their boxes.

What a reader in the room goes by: a row begins with its name at the left; a column is a note's name and what stands
under it; figures are told apart by their height. It knows nothing of how the sheet is drawn.
"""

import re
import subprocess
from dataclasses import dataclass, field
from pathlib import Path

from lxml import etree

_MM = 25.4 / 72
_INK = 1493 / 2048                    # height of figures of the face, of its size; the box is as high as its size
_NAME = re.compile(r"[A-G][♯♭]?-?\d$")
_CENTS = re.compile(r"[+−]\d+$|new$")


@dataclass
class Word:
    text: str
    left: float
    right: float
    top: float
    size: float

    @property
    def middle(self) -> float:
        return (self.left + self.right) / 2

    @property
    def ink_mm(self) -> float:
        return self.size * _MM * _INK


@dataclass
class Note:
    names: list[str] = field(default_factory=list)
    usual: str = ""
    cents: str = ""
    before: str = ""
    alternates: list[str] = field(default_factory=list)
    rest: list[str] = field(default_factory=list)


def pages_of(pdf: Path) -> list[list[Word]]:
    """By page: words, with signs of music that touch them joined on."""
    said = subprocess.run(["pdftotext", "-bbox", pdf, "-"], check=True, capture_output=True).stdout
    pages = []
    for page in etree.HTML(said.decode()).findall(".//page"):
        found: list[Word] = []
        for word in page.iter("word"):
            text = word.text or ""
            if not text or re.search("[\ue000-\uf8ff]", text):
                continue
            left, right, top, bottom = (float(word.get(key)) for key in ("xmin", "xmax", "ymin", "ymax"))
            here = Word(text, left, right, top, bottom - top)
            last = found[-1] if found else None
            if last and abs(last.right - left) < 0.5 and abs(last.top + last.size - top - here.size) < 0.25 * here.size:
                last.text, last.right = last.text + text, right
                if text not in "♯♭":
                    last.top, last.size = here.top, here.size
            else:
                found.append(here)
        foot = max(word.top for word in found)
        pages.append([word for word in found if word.top < foot - 1])
    return pages


def read(pdf: Path) -> list[dict[str, Note]]:
    """By way of reading: notes by their last name, as ``B♭2``."""
    readings: list[dict[str, Note]] = []
    for words in pages_of(pdf):
        if any(word.text in ("sounds.", "lower.") and word.ink_mm > 3.5 for word in words):
            readings.append({})
        _page(words, readings[-1])
    return readings


def _page(words: list[Word], notes: dict[str, Note]) -> None:
    bands = sorted((word for word in words if word.text in ("usual", "now") and word.left < 60
                    and 2.9 < word.ink_mm < 3.3), key=lambda word: word.top)
    bands = [band for band in bands if any(abs(word.top - band.top) < 60 and word.ink_mm > 5 for word in words)]
    rest_top = min((word.top for word in words if word.text == "rest:"), default=1e9)
    for nth, band in enumerate(bands):
        above = bands[nth - 1].top if nth else 0.0
        below = bands[nth + 1].top if nth + 1 < len(bands) else rest_top
        here = [word for word in words if above < word.top < below]
        names = [word for word in here if _NAME.match(word.text) and 4.05 < word.ink_mm < 4.3 and word.top < band.top]
        if names:                                          # else it is the name of a rail
            _system(here, names, band, notes)
    _rest([word for word in words if word.top > rest_top + 8], notes)


def _system(words: list[Word], names: list[Word], band: Word, notes: dict[str, Note]) -> None:
    # Names of one note stand above each other; of the row before, nothing is named there.
    lowest = max(word.top for word in names)
    names = [word for word in names if lowest - word.top < 25]
    columns: dict[float, list[Word]] = {}
    for word in sorted(names, key=lambda word: word.top):
        near = next((x for x in columns if abs(x - word.middle) < 4), word.middle)
        columns.setdefault(near, []).append(word)
    xs = sorted(columns)
    fence = {x: min([abs(x - other) for other in xs if other != x], default=60) / 2 for x in xs}
    next_names = min((word.top for word in words if _NAME.match(word.text) and 4.05 < word.ink_mm < 4.3
                      and word.top > band.top), default=1e9)
    ruler = min((word.top for word in words if word.text == "1" and word.right < min(xs) - fence[min(xs)]
                 and word.top > band.top + 5 and 2.9 < word.ink_mm < 3.3), default=1e9)
    for x in xs:
        mine = sorted((word for word in words if abs(word.middle - x) < min(fence[x], 30) and word.top > lowest + 2
                       and word.top < next_names), key=lambda word: word.top)
        usual = [word for word in mine if word.ink_mm > 5]
        note = Note(names=[word.text for word in columns[x]], usual="-".join(word.text for word in usual))
        end = max(word.top + word.size for word in usual)
        start = min(word.top for word in usual)
        note.before = "".join(word.text for word in mine if 4.05 < word.ink_mm < 4.3 and word.top < start)
        for word in mine:
            if 2.9 < word.ink_mm < 3.3 and end - 6 < word.top < ruler - 4:
                if _CENTS.match(word.text):
                    note.cents = word.text
                elif re.fullmatch(r"[TS]*\d[♯♭]?|\d(-\d)*", word.text) or word.text == "×":
                    note.alternates.append(word.text)
        notes[note.names[-1]] = note


def _rest(words: list[Word], notes: dict[str, Note]) -> None:
    note = None
    for word in sorted(words, key=lambda word: (round(word.top + word.size), word.left)):
        if word.ink_mm < 2.9 or word.ink_mm > 3.3:
            continue
        name = word.text.split("/")[-1]
        if _NAME.match(name):
            note = notes[name]
        elif note is not None and re.fullmatch(r"\(?(?:[TS]*\d[♯♭]?|\d(?:-\d)*)\)?", word.text):
            note.rest.append(word.text)
