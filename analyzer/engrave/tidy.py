"""Make the engraver's picture smaller: the same to see, without what is not drawn and without needless groups.

Most of it is done in the text, before it is read as a tree: of the groups and signs that a page has by the thousand,
those in the engraver's usual words are rewritten there, which takes a fifth of the time. What says more of itself (a
colour, a turn) stays for the tree.
"""

import re
from collections.abc import Mapping
from typing import Any

from lxml import etree

from analyzer.engrave.style import numbers
from analyzer.engrave.svg import HREF, SVG, code_of

_GROUP, _PATH = (f"{{{SVG}}}{name}" for name in ("g", "path"))
_LEAVES = ("notehead", "stem", "flag", "dots", "accid", "artic", "clef", "keyAccid", "meterSig", "beam",
           "barLine", "barLineAttr", "rest", "slur", "tie")
"""Groups that are opened where they hold shapes only and say nothing of their looks. Ledger lines stay in theirs: what
lies in a staff itself are its lines."""
_MADE_UP = re.compile(r'<g id="(?![nm]\d+"|rest-)[^"]*"(?= class=)')
_PLAIN_USE = re.compile(r'<use xlink:href="#(\w+)-[^"]*" '
                        r'transform="translate\((-?[\d.]+), (-?[\d.]+)\) scale\(([\d.]+), \4\)"')
_LEAF = re.compile(rf'<g class="(?:{"|".join(_LEAVES)})(?: [^"]*)?">'
                   r"((?:<(?:use|path|polygon|ellipse|rect) [^<>]*/>)+)</g>")
_STAFF = re.compile(r'(<g class="staff[^<>]*>)(<path d="M(-?\d+) -?\d+ L(-?\d+) -?\d+"( stroke-width="\d+")/>'
                    r'(?:<path d="M\3 -?\d+ L\4 -?\d+"\5/>)+)')
_LINE_Y = re.compile(r'd="M-?\d+ (-?\d+) L')
_DEEPEST = 3                         # leaves within leaves: a flag on a stem


def _finder(path: str) -> Any:
    """Return what finds elements; the library looks for them ten times faster than a loop does."""
    return etree.XPath(path, namespaces={"s": SVG, "xlink": "http://www.w3.org/1999/xlink"})


_undrawn = _finder("//s:style | //s:desc | //s:title | //s:g[contains(concat(' ', @class, ' '), ' placeholder ')]")
_empty = _finder("//s:g[not(node()) and count(@*) = count(@class)]")
_odd_uses = _finder("//s:use[@xlink:href or @transform]")
_named_elements = _finder("//*[@id][not(parent::s:defs)]")
_made_up = _finder("//*[@id][not(parent::s:defs)][not(contains(concat(' ', @class, ' '), ' note ') or contains("
                   "concat(' ', @class, ' '), ' measure ') or contains(concat(' ', @class, ' '), ' multiRest '))]")
Sizes = dict[str, dict[str, str]]
"""Names of signs by code point and size; a size that is no plain scale is the empty text."""


def thinned(svg: str, sizes: Sizes, prefix: str = "") -> str:
    """Return the engraver's text without ids of its own making, signs placed in fewer words, and leaves opened.

    A sign is drawn by ``<use href="#E0A4" x="10" y="20"/>``; its size stands in its definition, one for each size,
    which `tidied` writes from the `sizes` that are gathered here. `prefix` goes before the names of signs. The lines of
    a staff become one path.
    """
    def placed(use: re.Match[str]) -> str:
        code, x, y, scale = use.groups()
        return f'<use href="#{prefix}{_named(sizes, code, scale)}" x="{x}" y="{y}"'

    svg = _PLAIN_USE.sub(placed, _MADE_UP.sub("<g", svg))
    for _ in range(_DEEPEST):
        svg, found = _LEAF.subn(r"\1", svg)
        if not found:
            break
    return _STAFF.sub(_joined, svg)


def _joined(staff: re.Match[str]) -> str:
    lines = "".join(f"M{staff[3]} {y}H{staff[4]}" for y in _LINE_Y.findall(staff[2]))
    return f'{staff[1]}<path d="{lines}"{staff[5]}/>'


def scales_of(sizes: Sizes, prefix: str = "") -> dict[str, tuple[str, float]]:
    """Return code point and scale of each sign by its name."""
    return {prefix + name: (code, float(scale or 1)) for code, known in sizes.items() for scale, name in known.items()}


def tidied(root: etree._Element, sizes: Sizes, prefix: str = "") -> None:
    """Take out what is not drawn, and do what `thinned` has left; of ids leave those of notes, measures, long rests.

    Signs get one definition for each size, with a name that begins with `prefix`.
    """
    for element in _undrawn(root):
        _drop(element)
    for use in _odd_uses(root):
        _place(use, sizes, prefix)
    for element in _made_up(root):
        del element.attrib["id"]
    for defs in root.iter(f"{{{SVG}}}defs"):
        for sign in list(defs):
            _define(defs, sign, sizes.get(code_of(sign.get("id") or ""), {}), prefix)
    while found := _empty(root):
        for group in found:
            _drop(group)


def prefixed(root: etree._Element, prefix: str) -> None:
    """Put `prefix` in front of the ids of notes, measures and rests, so that several pictures can share a page."""
    for element in _named_elements(root) if prefix else ():
        element.set("id", f"{prefix}{element.get('id')}")


def _drop(element: etree._Element) -> None:
    owner = element.getparent()
    if owner is not None:
        owner.remove(element)


def _named(sizes: Sizes, code: str, scale: str) -> str:
    known = sizes.setdefault(code, {})
    if scale not in known:
        known[scale] = f"{code}-{len(known)}" if known else code
    return known[scale]


def _place(use: etree._Element, sizes: Sizes, prefix: str) -> None:
    name, transform = code_of(use.get(HREF) or ""), use.get("transform") or ""
    placed = numbers(transform)
    plain = transform.startswith("translate(") and ") scale(" in transform and len(placed) == 4
    scale = f"{placed[2]:g}" if plain and placed[2] == placed[3] else ""
    named = _named(sizes, name, scale)
    for attribute in (HREF, "href") if not scale else (HREF, "href", "transform"):
        if attribute in use.attrib:
            del use.attrib[attribute]
    use.set("href", f"#{prefix}{named}")
    if scale:
        use.set("x", f"{placed[0]:g}")
        use.set("y", f"{placed[1]:g}")


def _define(defs: etree._Element, sign: etree._Element, sizes: Mapping[str, str], prefix: str) -> None:
    """Put a definition for each size in the place of one; a sign that is not drawn goes."""
    place = defs.index(sign)
    defs.remove(sign)
    outline = sign.find(_PATH)
    for scale, named in reversed(list(sizes.items())):
        if outline is None:
            continue
        group = etree.Element(_GROUP)
        group.set("id", f"{prefix}{named}")
        path = etree.SubElement(group, _PATH)
        path.set("transform", f"scale({scale},-{scale})" if scale else outline.get("transform", "scale(1,-1)"))
        path.set("d", outline.get("d", ""))
        defs.insert(place, group)
