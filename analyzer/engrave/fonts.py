"""The typefaces of our pages, taken from the packages that engrave and print: nothing is shipped or fetched.

verovio carries its music face Leipzig and the text face Liberation Serif (widths of Times, for which the engraver
measures) as WOFF2 inside style sheets. Marks are set in Bitstream Vera Sans, which reportlab carries: sturdy strokes,
and figures that stay open where copies are poor (6, 8 and 9; 1 has a foot that 7 has not). Pictures and PDF get
subsets; the faces permit that (OS/2 fsType 8; Vera's own licence).
"""

import base64
import re
from collections.abc import Iterable, Mapping
from functools import cache, lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import Literal

from analyzer.engrave.typeface import Typeface, woff2
from analyzer.engrave.typeface import truetype as to_truetype

Face = Literal["regular", "bold", "italic", "bold-italic", "music", "mark", "mark-bold"]

TEXT_FAMILY = "Liberation Serif"
MUSIC_FAMILY = "Leipzig"
TEXT_STACK = "Liberation Serif, Times New Roman, Times, serif"
"""What a picture asks for: the embedded face, else one with the same widths."""
MARK_FAMILY = "Bitstream Vera Sans"
MARK_STACK = "Bitstream Vera Sans, DejaVu Sans, Verdana, sans-serif"
FIGURE_EM = 0.729
"""Height of the figures of the marks' face: 1493 of 2048 units. [em]"""

_ORDER: tuple[Face, ...] = ("regular", "bold", "italic", "bold-italic")
_FACES: tuple[Face, ...] = (*_ORDER, "music", "mark", "mark-bold")
SIGN_SCALE = 1.25
_MUSIC_SIGNS = frozenset("♭♮♯")


def data_path() -> Path:
    """Return the folder of the engraver's resources; the engraver itself is not loaded here.

    Raises
    ------
    ModuleNotFoundError
        If it is not installed.
    """
    found = find_spec("verovio")
    if found is None or found.origin is None:
        raise ModuleNotFoundError("No module named 'verovio'", name="verovio")
    return Path(found.origin).parent / "data"


@cache
def _packed(face: Face) -> bytes:
    """Return a whole face as the file that a package has of it, WOFF2 or TrueType."""
    if face.startswith("mark"):
        import reportlab

        name = "Vera.ttf" if face == "mark" else "VeraBd.ttf"
        return (Path(reportlab.__file__).parent / "fonts" / name).read_bytes()
    sheet, place = ("Leipzig.css", 0) if face == "music" else ("Liberation.css", _ORDER.index(face))
    packed = re.findall(r"base64,([A-Za-z0-9+/=]+)", (data_path() / sheet).read_text(encoding="utf-8"))
    return base64.b64decode(packed[place])


@cache
def _typeface(face: Face) -> Typeface:
    return Typeface(_packed(face))


@lru_cache(maxsize=16)
def truetype(face: Face, characters: str = "") -> bytes:
    """Return a face with these characters, or all of it, as a TrueType file, for the PDF."""
    known = _typeface(face)
    return to_truetype(known.cut(characters or map(chr, known.glyphs)))


@cache
def _widths(face: Face) -> Mapping[int, float]:
    known = _typeface(face)
    return {code: known.width(code) / known.em for code in known.glyphs}


def width(face: Face, character: str) -> float:
    """Return the width of a character, 0.6 where the face lacks it. [em]"""
    return _widths(face).get(ord(character), 0.6)


def has(face: Face, character: str) -> bool:
    """Tell whether a face has a glyph for the character."""
    return ord(character) in _widths(face)


def face_for(character: str, face: Face) -> Face:
    """Return the face that shows the character: the music face for accidentals and music signs, else the one asked."""
    if character in _MUSIC_SIGNS or "\ue000" <= character <= "\uf8ff":
        return "music"
    return face


def runs(text: str, face: Face) -> list[tuple[str, Face]]:
    """Cut a text where the face changes."""
    found: list[tuple[str, Face]] = []
    for character in text:
        shown = face_for(character, face)
        if found and found[-1][1] == shown:
            found[-1] = (found[-1][0] + character, shown)
        else:
            found.append((character, shown))
    return found


def width_em(text: str, face: Face) -> float:
    """Width of a text as `words.words` sets it. [em of its font size]"""
    return sum(_widths(shown).get(ord(character), 0.6) * sign_scale(part, shown)
               for part, shown in runs(text, face) for character in part)


def sign_scale(part: str, face: Face) -> float:
    """Enlargement of accidentals among words: in the music face they are lighter than the text face's figures."""
    return SIGN_SCALE if face == "music" and _MUSIC_SIGNS.issuperset(part) else 1.0


def style_sheet(used: Mapping[Face, Iterable[str]]) -> str:
    """Return CSS with the faces as WOFF2, cut down to the characters used."""
    rules = []
    for face in _FACES:
        characters = "".join(sorted({c for c in used.get(face, ()) if has(face, c)}))
        if characters:
            rules.append(_rule(face, characters))
    return "".join(rules)


@cache
def _rule(face: Face, characters: str) -> str:
    family = MUSIC_FAMILY if face == "music" else MARK_FAMILY if face.startswith("mark") else TEXT_FAMILY
    weight = "bold" if face in ("bold", "bold-italic", "mark-bold") else "normal"
    slope = "italic" if face.endswith("italic") else "normal"
    data = base64.b64encode(woff2(_typeface(face).cut(characters))).decode("ascii")
    return (f'@font-face{{font-family:"{family}";font-weight:{weight};font-style:{slope};'
            f"src:url(data:font/woff2;base64,{data}) format(\"woff2\")}}")
