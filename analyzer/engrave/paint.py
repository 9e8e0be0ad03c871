"""Paint one of our pictures onto a page of a PDF: vector shapes, real text.

It knows the shapes that the engraver and our own pictures use (paths, `use`, rectangles, ellipses, lines, polygons,
text with spans) and the plain attributes of `tidy`; style sheets and images are passed over.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from lxml import etree

from analyzer.engrave.fonts import MUSIC_FAMILY, Face, face_for, has, truetype
from analyzer.engrave.svg import HREF, SVG

_NUMBER = re.compile(r"-?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_TRANSFORM = re.compile(r"(matrix|translate|scale|rotate)\s*\(([^)]*)\)")
_SPACES = re.compile(r"[ \t\r\n]+")
_FONT_NAME: dict[Face, str] = {
    "regular": "LowbrassText", "bold": "LowbrassTextBold", "italic": "LowbrassTextItalic",
    "bold-italic": "LowbrassTextBoldItalic", "music": "LowbrassMusic",
}
# Readers of PDF bring these faces for East Asian titles; they are named, not embedded.
_CJK = (("\u1100", "\u11ff", "HYSMyeongJo-Medium"), ("\uac00", "\ud7af", "HYSMyeongJo-Medium"),
        ("\u2e80", "\u9fff", "HeiseiMin-W3"), ("\uff00", "\uffef", "HeiseiMin-W3"))
_CAPS = {"butt": 0, "round": 1, "square": 2}
_JOINS = {"miter": 0, "round": 1, "bevel": 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Style:
    """What an element inherits."""

    color: str = "black"
    fill: str = "black"
    stroke: str = "none"
    stroke_width: float = 1.0
    cap: str = "butt"
    join: str = "miter"
    dash: tuple[float, ...] = ()
    fill_opacity: float = 1.0
    stroke_opacity: float = 1.0
    size: float = 16.0
    bold: bool = False
    italic: bool = False
    family: str = ""
    anchor: str = "start"


# A piece of text in one font; and what runs on from one place: x, y, anchor, pieces.
_Part = tuple[str, str, _Style]
_Chunk = tuple[float, float, str, list[_Part]]


def paint(canvas: Any, svg: str, width_pt: float, height_pt: float) -> None:
    """Draw a picture on the current page of a reportlab canvas, fitted into the given size. [pt]

    Raises
    ------
    ValueError
        If the text is no SVG.
    """
    try:
        root = etree.fromstring(svg.encode("utf-8"))
    except etree.XMLSyntaxError as error:
        raise ValueError(f"the picture is no XML: {error}") from None
    if root.tag != f"{{{SVG}}}svg":
        raise ValueError(f"the picture is no SVG: its outermost element is {root.tag}")
    painter = _Painter(canvas, root)
    canvas.saveState()
    # PDF counts upwards from the lower edge, SVG downwards from the upper.
    canvas.transform(1, 0, 0, -1, 0, height_pt)
    painter.viewport(root, _Style(), width_pt, height_pt)
    canvas.restoreState()


def register_fonts() -> None:
    """Make our faces known to reportlab, once a process."""
    import io

    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    known = pdfmetrics.getRegisteredFontNames()
    for face, name in _FONT_NAME.items():
        if name not in known:
            pdfmetrics.registerFont(TTFont(name, io.BytesIO(truetype(face))))


class _Painter:
    def __init__(self, canvas: Any, root: etree._Element) -> None:
        self._canvas = canvas
        self._paths: dict[str, Any] = {}
        self._named = {str(element.get("id")): element for element in root.iter(etree.Element) if element.get("id")}

    def viewport(self, element: etree._Element, style: _Style, width: float, height: float) -> None:
        """Fit the `viewBox` of an `<svg>` into the given size, whole and centred."""
        box = _numbers(element.get("viewBox", ""))
        self._canvas.saveState()
        if len(box) == 4 and box[2] > 0 and box[3] > 0:
            scale = min(width / box[2], height / box[3])
            self._canvas.transform(scale, 0, 0, scale, (width - box[2] * scale) / 2 - box[0] * scale,
                                   (height - box[3] * scale) / 2 - box[1] * scale)
            width, height = box[2], box[3]
        style = _inherit(element, style)
        for child in element.iterchildren(etree.Element):
            self.element(child, style, width, height)
        self._canvas.restoreState()

    def element(self, element: etree._Element, style: _Style, width: float, height: float) -> None:
        """Draw one element with its children; `width` and `height` are those of the viewport it stands in."""
        tag = etree.QName(element).localname
        if tag in ("defs", "style", "title", "desc", "metadata") or element.get("visibility") == "hidden" \
                or element.get("display") == "none":
            return
        style = _inherit(element, style)
        transform = element.get("transform")
        if transform:
            self._canvas.saveState()
            for matrix in _matrices(transform):
                self._canvas.transform(*matrix)
        if tag == "svg":
            self.viewport(element, style, _length(element, "width", width), _length(element, "height", height))
        elif tag in ("g", "a", "symbol"):
            for child in element.iterchildren(etree.Element):
                self.element(child, style, width, height)
        elif tag == "use":
            self._use(element, style, width, height)
        elif tag == "text":
            self._text(element, style)
        else:
            self._shape(element, tag, style)
        if transform:
            self._canvas.restoreState()

    def _use(self, element: etree._Element, style: _Style, width: float, height: float) -> None:
        target = self._named.get((element.get(HREF) or element.get("href") or "")[1:])
        if target is None or any(found is target for found in element.iterancestors()):
            return
        self._canvas.saveState()
        self._canvas.translate(_length(element, "x"), _length(element, "y"))
        self.element(target, style, width, height)
        self._canvas.restoreState()

    def _shape(self, element: etree._Element, tag: str, style: _Style) -> None:
        path = self._canvas.beginPath()
        if tag == "path":
            path = self._path(element.get("d", ""))
        elif tag == "rect":
            box = [_length(element, name) for name in ("x", "y", "width", "height")]
            radius = max(_length(element, "rx"), _length(element, "ry"))
            if radius:
                path.roundRect(*box, min(radius, box[2] / 2, box[3] / 2))
            else:
                path.rect(*box)
        elif tag in ("ellipse", "circle"):
            across = _length(element, "rx") or _length(element, "r")
            down = _length(element, "ry") or _length(element, "r")
            path.ellipse(_length(element, "cx") - across, _length(element, "cy") - down, 2 * across, 2 * down)
        elif tag == "line":
            path.moveTo(_length(element, "x1"), _length(element, "y1"))
            path.lineTo(_length(element, "x2"), _length(element, "y2"))
        elif tag in ("polygon", "polyline"):
            numbers = _numbers(element.get("points", ""))
            for place, (x, y) in enumerate(zip(numbers[::2], numbers[1::2], strict=False)):
                (path.lineTo if place else path.moveTo)(x, y)
            if tag == "polygon":
                path.close()
        else:
            return
        fill = style.fill not in ("none", "transparent") and style.fill_opacity > 0 and tag != "line"
        stroke = style.stroke not in ("none", "transparent") and style.stroke_width > 0 and style.stroke_opacity > 0
        if not fill and not stroke:
            return
        canvas = self._canvas
        if fill:
            canvas.setFillColor(_color(style.fill, style), style.fill_opacity)
        if stroke:
            canvas.setStrokeColor(_color(style.stroke, style), style.stroke_opacity)
            canvas.setLineWidth(style.stroke_width)
            canvas.setLineCap(_CAPS.get(style.cap, 0))
            canvas.setLineJoin(_JOINS.get(style.join, 0))
            canvas.setDash(*((list(style.dash), 0) if style.dash else ()))
        rule = 0 if element.get("fill-rule") == "evenodd" else 1
        canvas.drawPath(path, stroke=int(stroke), fill=int(fill), fillMode=rule)

    def _path(self, outline: str) -> Any:
        """Read a path; the outlines of heads and rests come again and again, so each is read once."""
        from fontTools.svgLib.path import parse_path

        if outline not in self._paths:
            path = self._canvas.beginPath()
            parse_path(outline, _pen(path))
            self._paths[outline] = path
        return self._paths[outline]

    def _text(self, element: etree._Element, style: _Style) -> None:
        """Draw a text with its spans: a chunk is what runs on from one place given in the file."""
        chunks: list[_Chunk] = []
        self._gather(element, style, chunks, [_length(element, "x"), _length(element, "y")], element.get(
            "{http://www.w3.org/XML/1998/namespace}space") == "preserve")
        for x, y, anchor, parts in chunks:
            drawn = [(text, font, found) for text, font, found in parts if text]
            widths = [self._canvas.stringWidth(text, font, found.size) for text, font, found in drawn]
            at = x - sum(widths) * {"middle": 0.5, "end": 1.0}.get(anchor, 0.0)
            self._write(drawn, at, y)

    def _gather(
        self, element: etree._Element, style: _Style, chunks: list[_Chunk],
        place: list[float], keep: bool,
    ) -> None:
        if element.get("x") is not None or element.get("y") is not None or not chunks:
            place[0] = _length(element, "x", place[0])
            place[1] = _length(element, "y", place[1])
            chunks.append((place[0], place[1], style.anchor, []))
        parts = chunks[-1][3]
        parts.extend(_parts(element.text, style, parts, keep))
        for child in element.iterchildren(etree.Element):
            self._gather(child, _inherit(child, style), chunks, place, keep)
            parts = chunks[-1][3]
            parts.extend(_parts(child.tail, style, parts, keep))

    def _write(self, drawn: list[_Part], x: float, y: float) -> None:
        """Write one line as one text object, so that who copies ``2♯`` gets it in one piece."""
        seen = [part for part in drawn if part[2].size > 0 and part[2].fill != "none"]
        if not seen:
            return
        line = self._canvas.beginText()
        line.setTextTransform(1, 0, 0, -1, x, y)
        for text, font, found in seen:
            line.setFont(font, found.size)
            line.setFillColor(_color(found.fill, found), found.fill_opacity)
            line.textOut(text)
        self._canvas.drawText(line)


def _parts(
    text: str | None, style: _Style, before: list[_Part], keep: bool,
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


def _font(character: str, style: _Style) -> tuple[str, str]:
    """Return the font that has the character, and the character or what stands for it."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.cidfonts import UnicodeCIDFont

    wanted: Face = "music" if MUSIC_FAMILY in style.family else (
        "bold-italic" if style.bold and style.italic else "bold" if style.bold else
        "italic" if style.italic else "regular")
    wanted = face_for(character, wanted)
    for face in (wanted, "regular", "music"):
        if has(face, character):
            return _FONT_NAME[face], character
    for low, high, name in _CJK:
        if low <= character <= high:
            if name not in pdfmetrics.getRegisteredFontNames():
                pdfmetrics.registerFont(UnicodeCIDFont(name))
            return name, character
    return _FONT_NAME["regular"], " " if character.isspace() else "?"


def _inherit(element: etree._Element, style: _Style) -> _Style:
    given: dict[str, str] = {str(name): str(value) for name, value in element.attrib.items()}
    for rule in element.get("style", "").split(";"):
        name, _, value = rule.partition(":")
        if value:
            given[name.strip()] = value.strip()

    def text(name: str, old: str) -> str:
        value = given.get(name, old)
        return old if value == "inherit" else value

    def number(name: str, old: float) -> float:
        found = _numbers(given.get(name, ""))
        return found[0] if found else old

    opacity = number("opacity", 1.0)
    dash = text("stroke-dasharray", "") if "stroke-dasharray" in given else None
    return replace(
        style, color=text("color", style.color), fill=text("fill", style.fill), stroke=text("stroke", style.stroke),
        stroke_width=number("stroke-width", style.stroke_width), cap=text("stroke-linecap", style.cap),
        join=text("stroke-linejoin", style.join), dash=style.dash if dash is None else tuple(_numbers(dash)),
        fill_opacity=number("fill-opacity", style.fill_opacity) * opacity,
        stroke_opacity=number("stroke-opacity", style.stroke_opacity) * opacity,
        size=number("font-size", style.size), family=text("font-family", style.family),
        bold=text("font-weight", "bold" if style.bold else "normal") in ("bold", "bolder", "600", "700", "800", "900"),
        italic=text("font-style", "italic" if style.italic else "normal") in ("italic", "oblique"),
        anchor=text("text-anchor", style.anchor))


def _color(name: str, style: _Style) -> Any:
    from reportlab.lib.colors import black, toColor

    shown = style.color if name.lower() == "currentcolor" else name
    return toColor("black" if shown.lower() == "currentcolor" else shown, black)


def _numbers(text: str) -> list[float]:
    return [float(found) for found in _NUMBER.findall(text)]


def _length(element: etree._Element, name: str, default: float = 0.0) -> float:
    value = element.get(name, "")
    found = _numbers(value)
    return default if not found or value.endswith("%") else found[0]


def _matrices(text: str) -> list[tuple[float, float, float, float, float, float]]:
    import math

    found = []
    for kind, inside in _TRANSFORM.findall(text):
        values = [*_numbers(inside), *([0.0] * 6)]
        given = len(_numbers(inside))
        if kind == "matrix":
            found.append((values[0], values[1], values[2], values[3], values[4], values[5]))
        elif kind == "translate":
            found.append((1.0, 0.0, 0.0, 1.0, values[0], values[1]))
        elif kind == "scale":
            found.append((values[0], 0.0, 0.0, values[1] if given > 1 else values[0], 0.0, 0.0))
        else:
            turn, x, y = math.radians(values[0]), values[1], values[2]
            cos, sin = math.cos(turn), math.sin(turn)
            found.append((cos, sin, -sin, cos, x - cos * x + sin * y, y - sin * x - cos * y))
    return found


def _pen(path: Any) -> Any:
    """Return a fontTools pen that draws on a reportlab path."""
    from fontTools.pens.basePen import BasePen

    class Pen(BasePen):  # type: ignore[misc]
        def _moveTo(self, point: tuple[float, float]) -> None:  # noqa: N802
            path.moveTo(*point)

        def _lineTo(self, point: tuple[float, float]) -> None:  # noqa: N802
            path.lineTo(*point)

        def _curveToOne(  # noqa: N802
            self, one: tuple[float, float], two: tuple[float, float], three: tuple[float, float],
        ) -> None:
            path.curveTo(*one, *two, *three)

        def _closePath(self) -> None:  # noqa: N802
            path.close()

    return Pen(None)
