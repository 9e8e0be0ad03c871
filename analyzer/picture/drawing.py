"""A small SVG writer for our own pictures: only what browsers, printers and our PDF painter share.

No style sheets, patterns or scripts: a picture stands alone in a file, inside a page and on paper.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import lru_cache
from html import escape

from analyzer.plain import STAND_IN, one_line

INK = "#14213d"
"""Text and our plan: near black, in grey print too."""
USUAL = "#8a4b08"
"""The usual chart: brown beside blue-black, told apart by colour-blind readers; always dashed or hollow too."""
FAINT = "#5a6472"
"""Side words and scales: 6 to 1 against white."""
RULE = "#c3c9d2"
HELD = ("#ffffff", "#e4ebf5", "#c9d6ea", "#b4c5df")
"""Ground by how many valves are held: each is darker in grey, too."""
FONT = "Liberation Sans, Arial, Helvetica, sans-serif"
BASE = f'font-family="{FONT}" font-size="11" fill="{INK}"'
"""Attributes of what holds shapes; a text that says nothing else is of this size and colour."""
UNITS_PER_MM = 4.2
"""How many of a picture's units go into a millimetre of paper: letters of 11 units become 7.4 points high."""
MARGIN_MM = 10.0
"""Left free around a sheet of paper, more than printers leave white. [mm] Common practice, no source."""


def num(value: float) -> str:
    """Return a number for an attribute: one decimal, no needless zeros, never ``-0``."""
    text = f"{value:.1f}"
    if text[-1] != "0":
        return text
    return "0" if text == "-0.0" else text[:-2]


def clean(text: str) -> str:
    """Return text as one line without what no XML may hold and no eye should be misled by."""
    return one_line(text).replace(STAND_IN, "")


@lru_cache(maxsize=4096)
def _written(text: str) -> str:
    """Return a text as it stands in an SVG; the same labels come by the thousand."""
    return escape(clean(text))


@lru_cache(maxsize=256)
def _stroke(color: str, width: float) -> str:
    return "" if color == "none" else f' stroke="{color}" stroke-width="{num(width)}"'


@lru_cache(maxsize=256)
def _form(size: float, color: str, bold: bool, italic: bool, anchor: str) -> str:
    more = (' font-weight="bold"' if bold else "") + (' font-style="italic"' if italic else "")
    more += f' text-anchor="{anchor}"' if anchor != "start" else ""
    more += f' font-size="{num(size)}"' if size != 11 else ""
    return more + (f' fill="{color}"' if color != INK else "")


@dataclass(slots=True)
class Strokes:
    """Lines gathered by colour, width and dashes, to be drawn as one path each: hundreds would make a page heavy."""

    found: dict[tuple[str, float, str], list[str]] = field(default_factory=dict)

    def add(self, d: str, *, color: str = RULE, width: float = 1.0, dash: str = "") -> None:
        """Add a path."""
        self.found.setdefault((color, width, dash), []).append(d)

    def line(self, x1: float, y1: float, x2: float, y2: float, *, color: str = RULE, width: float = 1.0,
             dash: str = "") -> None:
        """Add a straight line."""
        to = f"H{num(x2)}" if y1 == y2 else f"V{num(y2)}" if x1 == x2 else f"L{num(x2)} {num(y2)}"
        self.add(f"M{num(x1)} {num(y1)}{to}", color=color, width=width, dash=dash)

    def onto(self, out: "Drawing") -> None:
        """Draw what was gathered, in the order in which the forms first came."""
        for (color, width, dash), paths in self.found.items():
            out.path("".join(paths), color=color, width=width, dash=dash)


@dataclass(slots=True)
class Drawing:
    """Shapes in order; later ones lie on top."""

    parts: list[str] = field(default_factory=list)

    def line(self, x1: float, y1: float, x2: float, y2: float, *, color: str = RULE, width: float = 1.0,
             dash: str = "", cap: str = "") -> None:
        """Draw a straight line."""
        more = (f' stroke-dasharray="{dash}"' if dash else "") + (f' stroke-linecap="{cap}"' if cap else "")
        self.parts.append(f'<line x1="{num(x1)}" y1="{num(y1)}" x2="{num(x2)}" y2="{num(y2)}" stroke="{color}" '
                          f'stroke-width="{num(width)}"{more}/>')

    def rect(self, x: float, y: float, width: float, height: float, *, fill: str = "none", stroke: str = "none",
             line: float = 1.0, radius: float = 0.0) -> None:
        """Draw a box; nothing if it has no area."""
        if width <= 0 or height <= 0:
            return
        more = f' rx="{num(radius)}"' if radius else ""
        self.parts.append(f'<rect x="{num(x)}" y="{num(y)}" width="{num(width)}" height="{num(height)}" '
                          f'fill="{fill}"{_stroke(stroke, line)}{more}/>')

    def dot(self, x: float, y: float, radius: float, *, fill: str = INK, stroke: str = "none",
            line: float = 1.5) -> None:
        """Draw a circle."""
        self.parts.append(f'<circle cx="{num(x)}" cy="{num(y)}" r="{num(radius)}" fill="{fill}"'
                          f"{_stroke(stroke, line)}/>")

    def path(self, d: str, *, color: str = INK, width: float = 1.0, fill: str = "none", dash: str = "") -> None:
        """Draw a path."""
        more = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(f'<path d="{d}" fill="{fill}" stroke="{color}" stroke-width="{num(width)}"{more}/>')

    def polygon(self, *points: tuple[float, float], fill: str = INK) -> None:
        """Draw a filled polygon."""
        listed = " ".join(f"{num(x)},{num(y)}" for x, y in points)
        self.parts.append(f'<polygon points="{listed}" fill="{fill}" stroke="#ffffff" stroke-width="1"/>')

    def text(self, x: float, y: float, text: str, *, size: float = 11.0, color: str = INK, bold: bool = False,
             italic: bool = False, anchor: str = "start") -> None:
        """Write a text; `y` is its base line."""
        self.parts.append(f'<text x="{num(x)}" y="{num(y)}"{_form(size, color, bold, italic, anchor)}>'
                          f"{_written(text)}</text>")

    def texts(self, words: Iterable[tuple[float, float, str]], *, size: float = 11.0, color: str = INK,
              bold: bool = False, italic: bool = False, anchor: str = "start") -> None:
        """Write several texts (x, base line, text) of one form in few words."""
        written = "".join(f'<text x="{num(x)}" y="{num(y)}">{_written(text)}</text>' for x, y, text in words)
        if written:
            self.parts.append(f"<g{_form(size, color, bold, italic, anchor)}>{written}</g>")

    def dots(self, places: Iterable[tuple[float, float]], radius: float, *, fill: str = INK, ring: str = "#ffffff",
             ring_width: float = 1.0) -> None:
        """Draw several equal circles, each with a ring around it, in few words: points drawn with a round pen."""
        d = "".join(f"M{num(x)} {num(y)}h0" for x, y in places)
        for color, across in ((ring, 2 * radius + ring_width), (fill, 2 * radius - ring_width)):
            if d:
                self.parts.append(f'<path d="{d}" fill="none" stroke="{color}" stroke-width="{num(across)}" '
                                  'stroke-linecap="round"/>')

    def body(self) -> str:
        """Return everything drawn."""
        return "".join(self.parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One finished drawing: its size in units (pixels at full size), what it shows in words, and its shapes.

    `shared` is a piece of `body` that other pictures of the same line have, too, letter for letter.
    """

    width: float
    height: float
    title: str
    desc: str
    body: str
    shared: str = ""

    def svg(self, name: str, shared: dict[str, str] | None = None) -> str:
        """Return the picture as an SVG element with a title and a description; `name` makes its ids unique.

        Pictures of one page may be given the same `shared`, in which the pieces that they share get ids: then each
        piece is written once and pointed to by the others.
        """
        body = self.body
        if shared is not None and self.shared:
            if self.shared in shared:
                body = body.replace(self.shared, f'<use href="#{shared[self.shared]}"/>', 1)
            else:
                shared[self.shared] = f"{name}-s"
                body = body.replace(self.shared, f'<g id="{name}-s">{self.shared}</g>', 1)
        return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {num(self.width)} {num(self.height)}" '
                f'width="{num(self.width)}" height="{num(self.height)}" role="img" '
                f'aria-labelledby="{name}-t {name}-d" {BASE}>'
                f'<title id="{name}-t">{escape(clean(self.title))}</title>'
                f'<desc id="{name}-d">{escape(clean(self.desc))}</desc>'
                f'<rect width="{num(self.width)}" height="{num(self.height)}" fill="#ffffff"/>{body}</svg>')

    def placed(self, x: float, y: float, scale: float = 1.0) -> str:
        """Return the shapes as a group for use inside another picture."""
        more = f" scale({num(scale)})" if scale != 1.0 else ""
        return f'<g transform="translate({num(x)},{num(y)}){more}" {BASE}>{self.body}</g>'
