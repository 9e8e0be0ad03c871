"""Paint one of our pictures onto a page of a PDF: vector shapes, real text.

It knows the shapes that the engraver and our own pictures use (paths, `use`, rectangles, ellipses, lines, polygons,
text with spans) and the plain attributes of `tidy`; style sheets and images are passed over, and what is not wholly
transparent is opaque.

Texts are left open (`Painter.paint`) until all pages are painted and it is known which characters each face has to show
(`Painter.fonts`): to read a whole face takes longer than to paint a page.
"""

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from functools import cache
from typing import Any

from lxml import etree

from analyzer.engrave.fonts import MARK_FAMILY, MUSIC_FAMILY, Face, face_for, has, truetype, width
from analyzer.engrave.outline import ellipse, number, operators, rectangle, rounded
from analyzer.engrave.style import STYLING, Style, inherit, length, matrices, numbers, rgb_of
from analyzer.engrave.svg import HREF, SVG

_SPACES = re.compile(r"[ \t\r\n]+")
_FONT_NAME: dict[Face, str] = {
    "regular": "LowbrassText", "bold": "LowbrassTextBold", "italic": "LowbrassTextItalic",
    "bold-italic": "LowbrassTextBoldItalic", "music": "LowbrassMusic",
    "mark": "LowbrassMark", "mark-bold": "LowbrassMarkBold",
}
_FACE_OF = {name: face for face, name in _FONT_NAME.items()}
_SHOWN = "Shown"                     # after the name of a face with the characters of one document
_OPEN = re.compile("\0(\\d+)\0")
# Readers of PDF bring these faces for East Asian titles; they are named, not embedded.
_CJK = (("\u1100", "\u11ff", "HYSMyeongJo-Medium"), ("\uac00", "\ud7af", "HYSMyeongJo-Medium"),
        ("\u2e80", "\u9fff", "HeiseiMin-W3"), ("\uff00", "\uffef", "HeiseiMin-W3"))
_TAGS = {f"{{{SVG}}}{name}": name for name in (
    "svg", "use", "text", "path", "rect", "ellipse", "circle", "line", "polygon", "polyline")}
_TAGS |= {f"{{{SVG}}}{name}": "g" for name in ("g", "a", "symbol")}
"""What is drawn; anything else is passed over."""
_Own = dict[str, str]
"""Attributes of an element."""
_CAPS = {"butt": 0, "round": 1, "square": 2}
_JOINS = {"miter": 0, "round": 1, "bevel": 2}


# Text, font, size and colour.
_Piece = tuple[str, str, float, str]
# A piece of text in one font; and what runs on from one place: x, y, anchor, pieces.
_Part = tuple[str, str, Style]
_Chunk = tuple[float, float, str, list[_Part]]


@cache
def font_of(face: Face) -> str:
    """Return the name of a whole face in reportlab, which knows it from the first call on."""
    from reportlab.pdfbase import pdfmetrics

    pdfmetrics.registerFont(_font_in(_FONT_NAME[face], truetype(face)))
    return _FONT_NAME[face]


def _font_in(name: str, data: bytes) -> Any:
    import io

    from reportlab.pdfbase.ttfonts import TTFont

    return TTFont(name, io.BytesIO(data))


class Painter:
    """Draws pictures as PDF operators, for the pages of one document.

    It writes them itself: a canvas's own drawing calls take ten times as long, most of it for numbers and colours that
    come again and again.
    """

    def __init__(self) -> None:
        self._written: list[tuple[_Piece, ...]] = []
        self._fonts = ""
        self._out: list[str] = []
        self._set: list[dict[str, str]] = [{}]
        self._paths: dict[str, str] = {}
        self._texts: dict[tuple[_Piece, ...], tuple[str, float]] = {}
        self._plain = Style()
        self._styles: dict[tuple[Style, object], Style] = {}
        self._pens: dict[Style, tuple[str, str, str]] = {}
        self._named: dict[str, etree._Element] = {}
        self._signs: dict[tuple[str, Style], str] = {}
        self._lines: dict[object, list[_Chunk]] = {}

    def paint(self, svg: str, width_pt: float, height_pt: float) -> str:
        """Return the operators that draw a picture, fitted into the given size, with texts left open. [pt]

        Raises
        ------
        ValueError
            If the text is no SVG.
        """
        try:
            root: Any = etree.fromstring(svg.encode("utf-8"))
        except etree.XMLSyntaxError as error:
            raise ValueError(f"the picture is no XML: {error}") from None
        if root.tag != f"{{{SVG}}}svg":
            raise ValueError(f"the picture is no SVG: its outermost element is {root.tag}")
        self._named = {str(element.get("id")): element for element in root.iter(etree.Element) if element.get("id")}
        self._set = [{}]
        self._signs = {}
        # PDF counts upwards from the lower edge, SVG downwards from the upper.
        self._save((1, 0, 0, -1, 0, height_pt))
        self._viewport(root, dict(root.items()), self._plain, width_pt, height_pt)
        self._restore()
        drawn = "\n".join(self._out)
        self._out = []
        return drawn

    @contextmanager
    def fonts(self) -> Iterator[str]:
        """Let reportlab know the faces of all texts painted so far, with the characters used; yield the name of one.

        Afterwards it forgets them.
        """
        from reportlab.pdfbase import pdfmetrics

        # Not by `registerFont`: that would take a face for a whole one of the same name, or the other way round.
        made = {f"{_FONT_NAME[face]}{_SHOWN}": _font_in(f"{_FONT_NAME[face]}{_SHOWN}", truetype(
            face, "".join(sorted(shown)))) for face, shown in self._used().items()}
        pdfmetrics._fonts.update(made)
        self._fonts = _SHOWN
        try:
            yield f"{_FONT_NAME['regular']}{_SHOWN}"
        finally:
            self._fonts = ""
            for name in made:
                del pdfmetrics._fonts[name]

    def whole_fonts(self) -> None:
        """Let reportlab know the faces of all texts painted so far whole, for a document that others write on, too."""
        for face in self._used():
            font_of(face)

    def _used(self) -> dict[Face, set[str]]:
        used: dict[Face, set[str]] = {"regular": {" "}}
        for pieces in self._written:
            for text, font, *_ in pieces:
                if font in _FACE_OF:
                    used.setdefault(_FACE_OF[font], set()).update(text)
        return used

    def onto(self, canvas: Any, drawn: str) -> None:
        """Write operators of `paint` and their texts onto the current page of a canvas, within `fonts`."""
        codes = {number: _code_of(canvas, self._written[number], self._fonts)
                 for number in sorted(set(map(int, _OPEN.findall(drawn))))}
        canvas.addLiteral(_OPEN.sub(lambda found: codes[int(found[1])], drawn))

    def _save(self, *matrices: tuple[float, ...]) -> None:
        self._out.append("q")
        self._set.append(dict(self._set[-1]))
        for matrix in matrices:
            self._out.append(f"{' '.join(f'{value:.6g}' if abs(value) >= 1e-4 else '0' for value in matrix)} cm")

    def _restore(self) -> None:
        self._out.append("Q")
        self._set.pop()

    def _state(self, name: str, operator: str) -> None:
        """Write an operator that sets something, unless it is set so already."""
        if self._set[-1].get(name) != operator:
            self._set[-1][name] = operator
            self._out.append(operator)

    def _viewport(self, element: etree._Element, own: _Own, style: Style, width: float, height: float) -> None:
        """Fit the `viewBox` of an `<svg>` into the given size, whole and centred."""
        box = numbers(own.get("viewBox", ""))
        if len(box) == 4 and box[2] > 0 and box[3] > 0:
            scale = min(width / box[2], height / box[3])
            self._save((scale, 0, 0, scale, (width - box[2] * scale) / 2 - box[0] * scale,
                        (height - box[3] * scale) / 2 - box[1] * scale))
            width, height = box[2], box[3]
        else:
            self._save()
        style = self._inherit(own, style)
        for child in element:
            self._element(child, style, width, height)
        self._restore()

    def _element(self, element: Any, style: Style, width: float, height: float) -> None:
        """Draw one element with its children; `width` and `height` are those of the viewport it stands in."""
        tag = _TAGS.get(element.tag)
        if tag is None:
            return
        # Asked for one by one, attributes take longer than all that is drawn of them.
        own: _Own = dict(element.items())
        if own.get("visibility") == "hidden" or own.get("display") == "none":
            return
        if not STYLING.isdisjoint(own):
            style = self._inherit(own, style)
        transform = own.get("transform")
        if transform:
            self._save(*matrices(transform))
        if tag == "use":
            self._use(element, own, style, width, height)
        elif tag == "g":
            for child in element:
                self._element(child, style, width, height)
        elif tag == "text":
            self._text(element, own, style)
        elif tag == "svg":
            x, y = length(own, "x"), length(own, "y")
            if x or y:
                self._save((1, 0, 0, 1, x, y))
            self._viewport(element, own, style, length(own, "width", width), length(own, "height", height))
            if x or y:
                self._restore()
        else:
            self._shape(own, tag, style)
        if transform:
            self._restore()

    def _use(self, element: etree._Element, own: _Own, style: Style, width: float, height: float) -> None:
        name = (own.get(HREF) or own.get("href") or "")[1:]
        drawn = self._signs.get((name, style))
        if drawn is None:
            target = self._named.get(name)
            if target is None or any(found is target for found in element.iterancestors()):
                return
            drawn = self._signs[name, style] = self._sign(target, style, width, height)
        self._out.append(f"q 1 0 0 1 {_place(own.get('x'))} {_place(own.get('y'))} cm {drawn} Q")

    def _sign(self, target: etree._Element, style: Style, width: float, height: float) -> str:
        """Return the operators of what is used again and again; they set all that they need."""
        before = self._out, self._set
        self._out, self._set = [], [{}]
        self._element(target, style, width, height)
        drawn = " ".join(self._out)
        self._out, self._set = before
        return drawn

    def _shape(self, own: _Own, tag: str, style: Style) -> None:
        pens = self._pens.get(style)
        if pens is None:
            pens = self._pens[style] = _pens_of(style)
        filling, stroking, pen = pens
        if tag == "line":
            filling = ""
        outline = self._outline(own, tag) if filling or stroking else ""
        if not outline:
            return
        if filling:
            self._state("fill", filling)
        if stroking:
            self._state("stroke", stroking)
            self._state("pen", pen)
        uneven = "*" if filling and own.get("fill-rule") == "evenodd" else ""
        self._out.append(f"{outline} {'B' if filling and stroking else 'f' if filling else 'S'}{uneven}")

    def _outline(self, own: _Own, tag: str) -> str:
        """Return the path of a shape; outlines of heads and rests come again and again, so each is read once."""
        if tag == "path":
            d = own.get("d", "")
            if d not in self._paths:
                self._paths[d] = operators(d)
            return self._paths[d]
        if tag == "rect":
            x, y, width, height = (length(own, name) for name in ("x", "y", "width", "height"))
            radius = max(length(own, "rx"), length(own, "ry"))
            return rounded(x, y, width, height, radius) if radius else rectangle(x, y, width, height)
        if tag in ("ellipse", "circle"):
            return ellipse(length(own, "cx"), length(own, "cy"),
                           length(own, "rx") or length(own, "r"),
                           length(own, "ry") or length(own, "r"))
        if tag == "line":
            x1, y1, x2, y2 = (number(length(own, name)) for name in ("x1", "y1", "x2", "y2"))
            return f"{x1} {y1} m {x2} {y2} l"
        if tag in ("polygon", "polyline"):
            values = [number(value) for value in numbers(own.get("points", ""))]
            drawn = " ".join(f"{x} {y} {'l' if place else 'm'}"
                             for place, (x, y) in enumerate(zip(values[::2], values[1::2], strict=False)))
            return f"{drawn} h" if tag == "polygon" else drawn
        return ""

    def _text(self, element: etree._Element, own: _Own, style: Style) -> None:
        """Draw a text with its spans: a chunk is what runs on from one place given in the file."""
        at_x, at_y = length(own, "x"), length(own, "y")
        # The same few words stand in many places.
        words = (style, element.text, *((child.text, child.tail, len(child), *child.items()) for child in element))
        chunks = self._lines.get(words)
        if chunks is None:
            chunks = []
            self._gather(element, own, style, chunks, [at_x, at_y],
                         own.get("{http://www.w3.org/XML/1998/namespace}space") == "preserve")
            if len(chunks) == 1 and not any(len(child) for child in element):
                self._lines[words] = chunks
        else:
            chunks = [(at_x, at_y, chunks[0][2], chunks[0][3])]
        for x, y, anchor, parts in chunks:
            pieces = tuple((text, font, found.size, rgb_of(found.fill, found)) for text, font, found in parts
                           if text and found.size > 0 and found.fill != "none")
            if not pieces:
                continue
            if pieces not in self._texts:
                self._texts[pieces] = (f"\0{len(self._written)}\0", sum(_wide(*piece[:3]) for piece in pieces))
                self._written.append(pieces)
            code, wide = self._texts[pieces]
            at = x - wide * {"middle": 0.5, "end": 1.0}.get(anchor, 0.0)
            self._out.append(f"q 1 0 0 -1 {number(at)} {number(y)} cm {code} Q")

    def _gather(
        self, element: Any, own: _Own, style: Style, chunks: list[_Chunk],
        place: list[float], keep: bool,
    ) -> None:
        if "x" in own or "y" in own or not chunks:
            place[0] = length(own, "x", place[0])
            place[1] = length(own, "y", place[1])
            chunks.append((place[0], place[1], style.anchor, []))
        parts = chunks[-1][3]
        parts.extend(_parts(element.text, style, parts, keep))
        for child in element.iterchildren(etree.Element):
            inner: _Own = dict(child.items())
            self._gather(child, inner, self._inherit(inner, style), chunks, place, keep)
            parts = chunks[-1][3]
            parts.extend(_parts(child.tail, style, parts, keep))

    def _inherit(self, own: _Own, style: Style) -> Style:
        """Return the style of an element within one of the given style; few are told apart, so they are kept."""
        given = tuple(item for item in own.items() if item[0] in STYLING)
        if not given:
            return style
        key = (style, given)
        if key not in self._styles:
            self._styles[key] = inherit(own, style)
        return self._styles[key]


def _pens_of(style: Style) -> tuple[str, str, str]:
    """Return the operators that set what a style fills and strokes with, empty for nothing, and its pen."""
    filling = style.fill not in ("none", "transparent") and style.fill_opacity > 0
    stroking = style.stroke not in ("none", "transparent") and style.stroke_width > 0 and style.stroke_opacity > 0
    pen = (f"{number(style.stroke_width)} w {_CAPS.get(style.cap, 0)} J {_JOINS.get(style.join, 0)} j "
           f"[{' '.join(number(value) for value in style.dash)}] 0 d")
    return (f"{rgb_of(style.fill, style)} rg" if filling else "",
            f"{rgb_of(style.stroke, style)} RG" if stroking else "", pen)


def _place(value: str | None) -> str:
    """Return a coordinate as PDF writes it; most are whole numbers as they stand."""
    if value is None:
        return "0"
    return value if value.isdecimal() else number(length({"at": value}, "at"))


def _code_of(canvas: Any, pieces: tuple[_Piece, ...], more: str) -> str:
    """Return one line as one text object, so that who copies ``2♯`` gets it in one piece."""
    line = canvas.beginText()
    line.setTextTransform(1, 0, 0, 1, 0, 0)
    for text, font, size, rgb in pieces:
        line.setFont(f"{font}{more}" if font in _FACE_OF else font, size)
        line.setFillColorRGB(*(float(value) for value in rgb.split()))
        line.textOut(text)
    return str(line.getCode())


def _wide(text: str, font: str, size: float) -> float:
    """Return the width of a text in one font."""
    if font in _FACE_OF:
        return size * sum(width(_FACE_OF[font], character) for character in text)
    from reportlab.pdfbase import pdfmetrics

    return float(pdfmetrics.stringWidth(text, font, size))


def _parts(
    text: str | None, style: Style, before: list[_Part], keep: bool,
) -> Iterable[_Part]:
    """Cut a text by fonts; white space is joined to one blank as SVG has it."""
    shown = text or ""
    if not keep:
        shown = _SPACES.sub(" ", shown)
        # Between tags stands the file's own line breaking; a blank at the start of a chunk is not drawn.
        last = before[-1][0] if before else " "
        if shown.startswith(" ") and last.endswith(" "):
            shown = shown[1:]
    result: list[_Part] = []
    for character in shown:
        font, drawn = _font(character, style)
        if result and result[-1][1] == font:
            result[-1] = (result[-1][0] + drawn, font, style)
        else:
            result.append((drawn, font, style))
    return result


def _font(character: str, style: Style) -> tuple[str, str]:
    """Return the font that has the character, and the character or what stands for it."""
    wanted: Face = "music" if MUSIC_FAMILY in style.family else (
        "mark-bold" if style.bold else "mark") if MARK_FAMILY in style.family else (
        "bold-italic" if style.bold and style.italic else "bold" if style.bold else
        "italic" if style.italic else "regular")
    wanted = face_for(character, wanted)
    for face in (wanted, "regular", "music"):
        if has(face, character):
            return _FONT_NAME[face], character
    for low, high, name in _CJK:
        if low <= character <= high:
            from reportlab.pdfbase import pdfmetrics
            from reportlab.pdfbase.cidfonts import UnicodeCIDFont

            if name not in pdfmetrics.getRegisteredFontNames():
                pdfmetrics.registerFont(UnicodeCIDFont(name))
            return name, character
    return _FONT_NAME["regular"], " " if character.isspace() else "?"
