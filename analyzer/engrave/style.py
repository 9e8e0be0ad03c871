"""What the attributes of an SVG element say of its looks, for the PDF painter."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache

from analyzer.engrave.outline import number

_NUMBER = re.compile(r"-?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_TRANSFORM = re.compile(r"(matrix|translate|scale|rotate)\s*\(([^)]*)\)")
STYLING = frozenset({
    "style", "opacity", "color", "fill", "stroke", "stroke-width", "stroke-linecap", "stroke-linejoin",
    "stroke-dasharray", "fill-opacity", "stroke-opacity", "font-size", "font-family", "font-weight", "font-style",
    "text-anchor"})
"""Attributes that change how an element and those within it look."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Style:
    """What an element inherits from those around it; the painter makes one of a kind, and tells them apart as such."""

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


def inherit(own: Mapping[str, str], style: Style) -> Style:
    """Return the style of an element with these attributes that stands within one of the given style."""
    given = dict(own)
    for rule in own.get("style", "").split(";"):
        name, _, value = rule.partition(":")
        if value:
            given[name.strip()] = value.strip()

    def text(name: str, old: str) -> str:
        value = given.get(name, old)
        return old if value == "inherit" else value

    def size(name: str, old: float) -> float:
        found = numbers(given.get(name, ""))
        return found[0] if found else old

    opacity = size("opacity", 1.0)
    dash = text("stroke-dasharray", "") if "stroke-dasharray" in given else None
    return replace(
        style, color=text("color", style.color), fill=text("fill", style.fill), stroke=text("stroke", style.stroke),
        stroke_width=size("stroke-width", style.stroke_width), cap=text("stroke-linecap", style.cap),
        join=text("stroke-linejoin", style.join), dash=style.dash if dash is None else tuple(numbers(dash)),
        fill_opacity=size("fill-opacity", style.fill_opacity) * opacity,
        stroke_opacity=size("stroke-opacity", style.stroke_opacity) * opacity,
        size=size("font-size", style.size), family=text("font-family", style.family),
        bold=text("font-weight", "bold" if style.bold else "normal") in ("bold", "bolder", "600", "700", "800", "900"),
        italic=text("font-style", "italic" if style.italic else "normal") in ("italic", "oblique"),
        anchor=text("text-anchor", style.anchor))


@cache
def _named_color(name: str) -> str:
    from reportlab.lib.colors import black, toColor

    found = toColor(name, black)
    return f"{number(found.red)} {number(found.green)} {number(found.blue)}"


def rgb_of(name: str, style: Style) -> str:
    """Return a color as three numbers of PDF, from 0 to 1; an unknown one is black."""
    shown = style.color if name.lower() == "currentcolor" else name
    return _named_color("black" if shown.lower() == "currentcolor" else shown)


def numbers(text: str) -> list[float]:
    """Return the numbers in a text, in order."""
    return [float(found) for found in _NUMBER.findall(text)]


def length(element: Mapping[str, str], name: str, default: float = 0.0) -> float:
    """Return one of the attributes as a length in user units; shares of a whole (``%``) count as not given."""
    value = element.get(name)
    if value is None:
        return default
    try:
        return float(value)
    except ValueError:
        found = numbers(value)
        return default if not found or value.endswith("%") else found[0]


def matrices(text: str) -> list[tuple[float, float, float, float, float, float]]:
    """Return the matrices of a `transform`, the outermost first."""
    import math

    found = []
    for kind, inside in _TRANSFORM.findall(text):
        values = numbers(inside)
        given = len(values)
        values += [0.0] * 6
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
