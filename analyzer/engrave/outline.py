"""Paths of SVG as operators of PDF (ISO 32000-1, 8.5.2): text in, text out, as both write them alike."""

import re

_SIMPLE = re.compile(r"[MLHVC]|-?\d*\.?\d+")
_ONLY_SIMPLE = re.compile(r"(?:[MLHVC][\d\s.,-]*)*[Zz]?")
_NUMBER = r"(-?[\d.]+)"
_STRAIGHT = re.compile(rf"M{_NUMBER} {_NUMBER} L{_NUMBER} {_NUMBER}")
_TAKES = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6}


def operators(outline: str) -> str:
    """Return the operators that build a path, from the `d` of an SVG path.

    Straight lines and curves in absolute numbers, which are nearly all there are, are read here; other paths by
    fontTools, which knows the whole language and is slower.
    """
    straight = _STRAIGHT.fullmatch(outline)
    if straight is not None:
        return "{} {} m {} {} l".format(*straight.groups())
    dots = outline.replace("h0", "")
    if dots != outline and re.fullmatch(r"(?:M\S+ [^M\s]+)+", dots):
        # A point for a round pen: a line of no length.
        return " ".join(f"{x} {y} m {x} {y} l" for x, y in re.findall(r"M(\S+) ([^M\s]+)", dots))
    return _simple(outline) if _ONLY_SIMPLE.fullmatch(outline) else _any(outline)


def _simple(outline: str) -> str:
    out: list[str] = []
    x = y = "0"
    kind = "M"
    given: list[str] = []
    for token in _SIMPLE.findall(outline):
        if token in _TAKES:
            kind = token
            continue
        given.append(token)
        if len(given) < _TAKES[kind]:
            continue
        if kind == "H":
            x = given[0]
        elif kind == "V":
            y = given[0]
        else:
            x, y = given[-2:]
        if kind == "C":
            out.append(f"{' '.join(given)} c")
        else:
            out.append(f"{x} {y} {'m' if kind == 'M' else 'l'}")
        # Numbers that follow a first point are points of a line.
        kind = "L" if kind == "M" else kind
        given = []
    if outline[-1:] in ("Z", "z"):
        out.append("h")
    return " ".join(out)


def _any(outline: str) -> str:
    from fontTools.pens.basePen import BasePen
    from fontTools.svgLib.path import parse_path

    out: list[str] = []

    def write(operator: str, *points: tuple[float, float]) -> None:
        out.append(f"{' '.join(f'{number(x)} {number(y)}' for x, y in points)} {operator}")

    class Pen(BasePen):  # type: ignore[misc]
        def _moveTo(self, point: tuple[float, float]) -> None:  # noqa: N802
            write("m", point)

        def _lineTo(self, point: tuple[float, float]) -> None:  # noqa: N802
            write("l", point)

        def _curveToOne(  # noqa: N802
            self, one: tuple[float, float], two: tuple[float, float], three: tuple[float, float],
        ) -> None:
            write("c", one, two, three)

        def _closePath(self) -> None:  # noqa: N802
            out.append("h")

    parse_path(outline, Pen(None))
    return " ".join(out)


def number(value: float) -> str:
    """Return a number as PDF writes it: no exponent, no needless zeros."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def rectangle(x: float, y: float, width: float, height: float) -> str:
    """Return the operator of a box."""
    return f"{number(x)} {number(y)} {number(width)} {number(height)} re"


def rounded(x: float, y: float, width: float, height: float, radius: float) -> str:
    """Return the operators of a box with round corners; an ellipse where the radii are half of width and height."""
    return _bowed(x, y, width, height, min(radius, width / 2), min(radius, height / 2))


def ellipse(x: float, y: float, across: float, down: float) -> str:
    """Return the operators of an ellipse around a point, from its half axes."""
    return _bowed(x - across, y - down, 2 * across, 2 * down, across, down)


def _bowed(x: float, y: float, width: float, height: float, rx: float, ry: float) -> str:
    # Four cubic curves come within 0.03 % of a circle when their handles are this share of the radius.
    k = 0.5523
    right, low = x + width, y + height
    hx, hy = rx * (1 - k), ry * (1 - k)
    points = (
        ("m", (x + rx, y)), ("l", (right - rx, y)),
        ("c", (right - hx, y), (right, y + hy), (right, y + ry)), ("l", (right, low - ry)),
        ("c", (right, low - hy), (right - hx, low), (right - rx, low)), ("l", (x + rx, low)),
        ("c", (x + hx, low), (x, low - hy), (x, low - ry)), ("l", (x, y + ry)),
        ("c", (x, y + hy), (x + hx, y), (x + rx, y)))
    return " ".join(f"{' '.join(f'{number(a)} {number(b)}' for a, b in found)} {operator}"
                    for operator, *found in points) + " h"
