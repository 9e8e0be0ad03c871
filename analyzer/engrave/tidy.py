"""Make the engraver's picture smaller: the same to see, without what is not drawn and without needless groups."""

from lxml import etree

from analyzer.engrave.style import numbers
from analyzer.engrave.svg import HREF, SVG, classes, code_of

_GROUP, _USE, _PATH = (f"{{{SVG}}}{name}" for name in ("g", "use", "path"))
_UNUSED = frozenset(f"{{{SVG}}}{name}" for name in ("style", "desc", "title"))
_SHAPES = frozenset(f"{{{SVG}}}{name}" for name in ("use", "path", "polygon", "ellipse", "rect"))
_LEAVES = frozenset(("notehead", "stem", "flag", "dots", "accid", "artic", "clef", "keyAccid", "meterSig", "beam",
                     "ledgerLines", "barLine", "barLineAttr", "rest", "slur", "tie"))
"""Groups that are opened where they hold shapes only and say nothing of their looks."""


def tidied(root: etree._Element) -> None:
    """Take out what is not drawn; of ids leave those of notes, measures, long rests and signs.

    Signs are called by their code point alone, as in ``E0A4``.
    """
    for element in list(root.iter(etree.Element)):
        if element.tag in _UNUSED or (element.tag == _GROUP and "placeholder" in classes(element)):
            _drop(element)
            continue
        name = element.get("id")
        if name is not None:
            kept = _kept(element, name)
            if kept:
                element.set("id", kept)
            else:
                del element.attrib["id"]
        if element.tag == _USE:
            element.set(HREF, f"#{code_of(element.get(HREF) or '')}")
    for group in reversed(list(root.iter(_GROUP))):
        if not len(group) and not group.text and set(group.attrib) <= {"class"}:
            _drop(group)


def prefixed(root: etree._Element, prefix: str) -> None:
    """Put `prefix` in front of all ids of a slimmed picture, so that several can share a page."""
    if not prefix:
        return
    for element in root.iter(etree.Element):
        if "id" in element.attrib:
            element.set("id", f"{prefix}{element.get('id')}")
        if element.tag == _USE:
            element.set("href", f"#{prefix}{(element.get('href') or '').lstrip('#')}")


def _kept(element: etree._Element, name: str) -> str:
    """Return the id to keep, nothing for one of the engraver's own making."""
    owner = element.getparent()
    if owner is not None and owner.tag == f"{{{SVG}}}defs":
        return code_of(name)
    kinds = classes(element)
    ours = (name[:1] in ("n", "m") and name[1:].isdecimal() and ("note" in kinds or "measure" in kinds)) or (
        name.startswith("rest-") and "multiRest" in kinds)
    return name if ours else ""


def _drop(element: etree._Element) -> None:
    owner = element.getparent()
    if owner is not None:
        owner.remove(element)


def slimmed(root: etree._Element) -> None:
    """Open groups around single shapes, join the lines of a staff, and place signs in fewer words.

    A sign is drawn by ``<use href="#E0A4" x="10" y="20"/>``; its size stands in its definition, one for each size.
    """
    sizes: dict[str, dict[str, str]] = {}
    for use in root.iter(_USE):
        _place(use, sizes)
    for defs in root.iter(f"{{{SVG}}}defs"):
        for sign in list(defs):
            _define(defs, sign, sizes.get(sign.get("id") or "", {}))
    for group in reversed(list(root.iter(_GROUP))):
        kinds = classes(group)
        if "staff" in kinds:
            _join_lines(group)
        elif kinds and kinds[0] in _LEAVES and set(group.attrib) == {"class"} and len(group) and all(
                shape.tag in _SHAPES and not len(shape) for shape in group):
            _open(group)


def _place(use: etree._Element, sizes: dict[str, dict[str, str]]) -> None:
    name, transform = (use.get(HREF) or "").lstrip("#"), use.get("transform") or ""
    placed = numbers(transform)
    plain = transform.startswith("translate(") and ") scale(" in transform and len(placed) == 4
    scale = f"{placed[2]:g}" if plain and placed[2] == placed[3] else ""
    known = sizes.setdefault(name, {})
    named = known.setdefault(scale, name if not known else f"{name}-{len(known)}")
    for attribute in (HREF, "href") if not scale else (HREF, "href", "transform"):
        if attribute in use.attrib:
            del use.attrib[attribute]
    use.set("href", f"#{named}")
    if scale:
        use.set("x", f"{placed[0]:g}")
        use.set("y", f"{placed[1]:g}")


def _define(defs: etree._Element, sign: etree._Element, sizes: dict[str, str]) -> None:
    """Put a definition for each size in the place of one; a sign that is not drawn goes."""
    place = defs.index(sign)
    defs.remove(sign)
    outline = sign.find(_PATH)
    for scale, named in reversed(sizes.items()):
        if outline is None:
            continue
        group = etree.Element(_GROUP)
        group.set("id", named)
        path = etree.SubElement(group, _PATH)
        path.set("transform", f"scale({scale},-{scale})" if scale else outline.get("transform", "scale(1,-1)"))
        path.set("d", outline.get("d", ""))
        defs.insert(place, group)


def _join_lines(staff: etree._Element) -> None:
    """Make one path of the lines of a staff, which follow each other and are alike."""
    lines: list[tuple[etree._Element, list[float]]] = []
    for path in staff:
        found = numbers(path.get("d") or "") if path.tag == _PATH and set(path.attrib) == {"d", "stroke-width"} else []
        if len(found) != 4 or found[1] != found[3] or "L" not in (path.get("d") or ""):
            break
        lines.append((path, found))
    if len(lines) < 2 or len({path.get("stroke-width") for path, _ in lines}) > 1:
        return
    lines[0][0].set("d", "".join(f"M{x1:g} {y:g}H{x2:g}" for _, (x1, y, x2, _) in lines))
    for path, _ in lines[1:]:
        staff.remove(path)


def _open(group: etree._Element) -> None:
    owner = group.getparent()
    if owner is None:
        return
    place = owner.index(group)
    owner[place:place + 1] = list(group)
