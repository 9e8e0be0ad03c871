"""How our marks look: the engraver's lyric row, set in our own forms.

Three forms that differ in weight and shape, so that they stay apart in grey and in a poor copy:

* the usual choice: upright text;
* a choice that differs from the usual chart: bold text in a tray, a line below it with both ends turned up;
* a note beyond the horn: a white × in a black square, and the note's head struck out.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from lxml import etree

from analyzer.engrave.copy import MARK_NAME
from analyzer.engrave.fonts import MUSIC_FAMILY, Face, runs, sign_scale, width_em

SVG = "http://www.w3.org/2000/svg"
HREF = "{http://www.w3.org/1999/xlink}href"

ROW_DROP = 150.0
"""How far the row goes down from where the engraver put it. [its units, 180 to a staff space]

Measured in a browser on three orchestra and band parts with a mark on every attack: where the engraver puts the row, 20
of 724 marks touch an accent or a dynamic, 45 lower 15 do, from 90 on none. The rest is air, judged by eye: 120 to 180
look right.
"""
_GAP_EM = 0.22                       # least distance between neighbours in a row
_SQUARE_EM = 0.86                    # side of the square of an unplayable note
_TRAY_EM = 0.06                      # how far the tray reaches beyond its text on each side
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
# Searching in the library is many times faster than walking the tree here.
_of_class: Any = etree.XPath(".//s:g[contains(concat(' ', @class, ' '), $name)]", namespaces={"s": SVG})
_with_id: Any = etree.XPath("descendant-or-self::s:g[@id = $name]", namespaces={"s": SVG})
_ORDINALS = {1: "1st", 2: "2nd", 3: "3rd"}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Placed:
    """One mark of one system: the `<g class="verse">` it fills, its text, form and measures in the engraver's units."""

    verse: etree._Element
    note: etree._Element | None
    text: str
    form: str                        # "usual", "changed" or "unplayable"
    line: int
    size: float
    centre: float
    baseline: float
    half: float
    head: tuple[float, float, float] | None = None   # centre and half width of the note's head


def draw_marks(root: etree._Element, *, lines: int, prefix: str = "") -> tuple[set[str], float]:
    """Redraw our marks in every system of one picture.

    `lines` is the number of players' lines in the whole part: with several, each row tells whose it is. `prefix` stands
    before the ids. Returns the forms that occur, and how far the mark farthest from its note had to move to the side
    [engraver's units].
    """
    forms: set[str] = set()
    moved = 0.0
    for system in by_class(root, "system"):
        rows: dict[float, list[_Placed]] = {}
        for verse in by_class(system, "verse"):
            placed = _read(verse, prefix)
            if placed is None:
                _shift(verse)
            else:
                rows.setdefault(placed.baseline, []).append(placed)
        for baseline in sorted(rows):
            row = sorted(rows[baseline], key=lambda placed: placed.centre)
            for placed, centre in zip(row, spread(row), strict=True):
                _draw(placed, centre)
                forms.add(placed.form)
                moved = max(moved, abs(centre - placed.centre))
            if lines > 1:
                _name_row(system, row[0])
    return forms, moved


def by_class(root: etree._Element, name: str) -> list[etree._Element]:
    """Return the groups of one class within `root`, in document order."""
    found: list[etree._Element] = _of_class(root, name=f" {name} ")
    return found


def line_count(root: etree._Element) -> int:
    """Return how many players' lines have marks in a score made by `engraving_copy`."""
    return len({word for lyric in root.iter("lyric") for word in (lyric.get("name") or "").split()
                if (lyric.get("name") or "").startswith(MARK_NAME) and word.startswith("line-")})


def spread(row: Sequence[_Placed]) -> list[float]:
    """Return centres as near as can be to the notes' (least squares) that keep neighbours apart.

    Derived: with ``y = centre - room taken by all before``, the rule is that y must not fall, and the best such y pools
    neighbours that break it to their mean (R. E. Barlow et al., *Statistical Inference under Order Restrictions*,
    Wiley, 1972, chapter 1).
    """
    offsets = [0.0]
    for one, two in pairwise(row):
        offsets.append(offsets[-1] + one.half + two.half + _GAP_EM * max(one.size, two.size))
    pools: list[tuple[float, int]] = []
    for placed, offset in zip(row, offsets, strict=True):
        total, count = placed.centre - offset, 1
        while pools and pools[-1][0] / pools[-1][1] > total / count:
            more, of = pools.pop()
            total, count = total + more, count + of
        pools.append((total, count))
    means = [total / count for total, count in pools for _ in range(count)]
    return [mean + offset for mean, offset in zip(means, offsets, strict=True)]


def _read(verse: etree._Element, prefix: str) -> _Placed | None:
    title = verse.find(f"{{{SVG}}}title")
    words = (title.text or "").split() if title is not None else []
    if title is not None:
        verse.remove(title)
    text = next(verse.iter(f"{{{SVG}}}text"), None)
    if not words or words[0] != MARK_NAME or text is None:
        return None
    shown = "".join(str(part) for part in text.itertext()).strip()
    size = next((float(found[0]) for span in text.iter(f"{{{SVG}}}tspan")
                 if (found := _NUMBER.findall(span.get("font-size", ""))) and float(found[0]) > 0), 324.0)
    form = "unplayable" if "unplayable" in words else "changed" if "changed" in words else "usual"
    face: Face = "regular" if form == "usual" else "bold"
    width = _SQUARE_EM if form == "unplayable" else width_em(shown, face) + (2 * _TRAY_EM if form == "changed" else 0)
    half = width * size / 2
    ref = next((word[4:] for word in words if word.startswith("ref-")), "")
    verse.set("data-ref", ref)
    note = _note(verse, prefix + "n" + ref)
    head = None if note is None else _head(note)
    left = float(text.get("x", "0"))
    return _Placed(
        verse=verse, note=note, text=shown, form=form, size=size, half=half, head=head,
        line=next((int(word[5:]) for word in words if word.startswith("line-")), 1),
        centre=head[0] if head is not None else left + half,
        baseline=float(text.get("y", "0")) + ROW_DROP)


def _note(verse: etree._Element, name: str) -> etree._Element | None:
    """Return the note that the mark is for: the verse of a chord hangs on the whole chord."""
    owner = verse.getparent()
    if owner is None:
        return None
    return owner if owner.get("id") == name else next(iter(_with_id(owner, name=name)), owner)


def _head(note: etree._Element) -> tuple[float, float, float] | None:
    """Return centre and half width of a note's head."""
    group = next((child for child in note if child.get("class") == "notehead"), None)
    if group is None:
        group = next(iter(by_class(note, "notehead")), None)
    use = None if group is None else group.find(f"{{{SVG}}}use")
    if use is None:
        return None
    numbers = _numbers(use.get("transform", ""))
    if len(numbers) < 3:
        return None
    code = re.search(r"[0-9A-F]{4,5}$", use.get(HREF) or "")
    width = width_em(chr(int(code[0], 16)), "music") * 1000 * numbers[2] if code else 226.0
    return (numbers[0] + width / 2, numbers[1], width / 2)


def _numbers(text: str) -> list[float]:
    return [float(found) for found in _NUMBER.findall(text)]


def _shift(group: etree._Element) -> None:
    """Move a verse of the part's own, hyphens and lines included, down with our row."""
    group.set("transform", f"translate(0, {ROW_DROP:g})")


def _draw(placed: _Placed, centre: float) -> None:
    verse = placed.verse
    for child in list(verse):
        verse.remove(child)
    verse.set("class", f"mark {placed.form}")
    x, y, size = centre, placed.baseline, placed.size
    if placed.form == "unplayable":
        side = _SQUARE_EM * size
        _element(verse, "rect", x=x - side / 2, y=y - 0.76 * size, width=side, height=side, stroke_width=0)
        _text(verse, placed.text, x, y, size, "bold", fill="white")
        if placed.head is not None and placed.note is not None:
            _strike(placed.note, placed.head)
        return
    _text(verse, placed.text, x, y, size, "bold" if placed.form == "changed" else "regular")
    if placed.form == "changed":
        reach, low, up = placed.half, y + 0.2 * size, y + 0.02 * size
        _element(verse, "path", d=f"M{x - reach:.0f} {up:.0f}V{low:.0f}H{x + reach:.0f}V{up:.0f}", fill="none",
                 stroke_width=30)


def _strike(note: etree._Element, head: tuple[float, float, float]) -> None:
    """Cross out a head: two strokes on a white edge, reaching beyond it."""
    x, y, half = head
    reach, rise = half + 45, 140
    d = f"M{x - reach:.0f} {y - rise:.0f}L{x + reach:.0f} {y + rise:.0f}M{x - reach:.0f} {y + rise:.0f}" \
        f"L{x + reach:.0f} {y - rise:.0f}"
    group = etree.SubElement(note, f"{{{SVG}}}g")
    group.set("class", "struck")
    _element(group, "path", d=d, fill="none", stroke="white", stroke_width=90)
    _element(group, "path", d=d, fill="none", stroke_width=44)


def _name_row(system: etree._Element, first: _Placed) -> None:
    """Write whose row it is below the clef."""
    left = min((x for path in system.iter(f"{{{SVG}}}path") for x in _numbers(path.get("d", ""))[:1]), default=0.0)
    group = etree.SubElement(system, f"{{{SVG}}}g")
    group.set("class", "rowName")
    write(group, _ORDINALS.get(first.line, f"{first.line}th"), left, first.baseline, 0.8 * first.size, "italic")


def _text(parent: etree._Element, text: str, centre: float, y: float, size: float, face: Face, fill: str = "") -> None:
    write(parent, text, centre - width_em(text, face) * size / 2, y, size, face, fill=fill)


def write(
    parent: etree._Element, text: str, x: float, y: float, size: float, face: Face = "regular", *,
    anchor: str = "start", fill: str = "",
) -> None:
    """Add a line of real text; accidentals are set in the music face, which has text forms of them."""
    element = _element(parent, "text", x=x, y=y)
    if anchor != "start":
        element.set("text-anchor", anchor)
    if face.startswith("bold"):
        element.set("font-weight", "bold")
    if face.endswith("italic"):
        element.set("font-style", "italic")
    if fill:
        element.set("fill", fill)
    element.set("font-size", f"{size:g}px")
    for part, shown in runs(text, face):
        span = etree.SubElement(element, f"{{{SVG}}}tspan")
        if shown == "music":
            span.set("font-family", MUSIC_FAMILY)
            span.set("font-weight", "normal")
            span.set("font-style", "normal")
            span.set("font-size", f"{size * sign_scale(part, shown):g}px")
        span.text = part


def _element(parent: etree._Element, tag: str, **attributes: float | str) -> etree._Element:
    element = etree.SubElement(parent, f"{{{SVG}}}{tag}")
    for name, value in attributes.items():
        element.set(name.replace("_", "-"), value if isinstance(value, str) else f"{round(value, 1):g}")
    return element
