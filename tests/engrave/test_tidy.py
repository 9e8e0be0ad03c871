"""The engraver's picture made ours: what is rewritten in its text and what is left for the tree come to the same."""

from lxml import etree

from analyzer.engrave.geometry import system_of
from analyzer.engrave.svg import SVG
from analyzer.engrave.tidy import Sizes, prefixed, scales_of, thinned, tidied

LINES = "".join(f'<path d="M0 {y} L900 {y}" stroke-width="13"/>' for y in (100, 280, 460, 640, 820))
LEDGER = '<g class="ledgerLines below"><path d="M250 1000 L400 1000" stroke-width="22"/></g>'
HEAD = ('<g id="a1b2c3" class="notehead"><use xlink:href="#E0A4-x1" '
        'transform="translate(300, 910) scale(0.72, 0.72)"/></g>')
STEM = ('<g id="s9" class="stem"><path d="M520 900 L520 400" stroke-width="18"/><g id="f8" class="flag">'
        '<use xlink:href="#E240-x1" transform="translate(511, 400) scale(0.5, 0.5)"/></g></g>')
DEFS = "".join(f'<g id="{code}-x1"><path transform="scale(1,-1)" d="M0 0"/></g>' for code in ("E0A4", "E240", "E4A0"))


def picture(note: str) -> str:
    spaces = f'xmlns="{SVG}" xmlns:xlink="http://www.w3.org/1999/xlink"'
    layer = f'<g id="l4" class="layer"><g id="n12" class="note">{note}</g><g id="e5" class="mSpace"/></g>'
    return (f'<svg {spaces} id="x1"><desc>said</desc><defs>{DEFS}</defs><style>g {{}}</style><g id="q7" class="system">'
            f'<g id="m3" class="measure"><g id="p2" class="staff">{LINES}{LEDGER}{layer}</g></g>'
            '<g id="z1" class="section placeholder"><ellipse cx="0" cy="9000" rx="9" ry="9"/></g></g></svg>')


def ours(svg: str, prefix: str = "") -> tuple[etree._Element, Sizes]:
    sizes: Sizes = {}
    root = etree.fromstring(thinned(svg, sizes, prefix))
    tidied(root, sizes, prefix)
    return root, sizes


def test_ids_of_notes_and_measures_stay_and_nothing_undrawn() -> None:
    root, _ = ours(picture(HEAD + STEM))
    named = [element.get("id") for element in root.iter(f"{{{SVG}}}g") if element.get("id")]
    assert named == ["E0A4", "E240", "m3", "n12"]                   # a sign that is not drawn (E4A0) is gone, too
    text = etree.tostring(root, encoding="unicode")
    assert "said" not in text
    assert not any(f'{word}"' in text for word in ("placeholder", "mSpace", "notehead", '"stem', "flag"))
    assert "<style" not in text


def test_the_lines_of_a_staff_become_one_path_and_ledger_lines_none_of_it() -> None:
    root, _ = ours(picture(HEAD))
    staff = next(group for group in root.iter(f"{{{SVG}}}g") if group.get("class") == "staff")
    assert [path.get("d") for path in staff.iterchildren(f"{{{SVG}}}path")] == [
        "".join(f"M0 {y}H900" for y in (100, 280, 460, 640, 820))]


def test_a_sign_in_other_words_is_placed_as_one_in_the_usual() -> None:
    usual, sizes = ours(picture(HEAD))
    other, others = ours(picture(HEAD.replace('<use ', '<use fill="#123456" ')))
    assert sizes == others == {"E0A4": {"0.72": "E0A4"}}
    for root, found in ((usual, sizes), (other, others)):
        use = next(root.iter(f"{{{SVG}}}use"))
        assert (use.get("href"), use.get("x"), use.get("y"), use.get("transform")) == ("#E0A4", "300", "910", None)
        system = system_of(root, scales_of(found))
        assert (system.heads[12].y, system.indices, system.rests) == (910, (3,), (0,))


def test_a_sign_in_two_sizes_has_two_definitions_and_a_turned_one_keeps_its_turn() -> None:
    small = HEAD.replace("0.72, 0.72", "0.5, 0.5").replace("910", "100")
    turned = HEAD.replace("scale(0.72, 0.72)", "rotate(45) scale(0.72, 0.72)")
    root, sizes = ours(picture(HEAD + small + turned), "w1-")
    assert sizes == {"E0A4": {"0.72": "E0A4", "0.5": "E0A4-1", "": "E0A4-2"}}
    drawn = [(use.get("href"), use.get("transform")) for use in root.iter(f"{{{SVG}}}use")]
    assert drawn == [("#w1-E0A4", None), ("#w1-E0A4-1", None),
                     ("#w1-E0A4-2", "translate(300, 910) rotate(45) scale(0.72, 0.72)")]
    defined = {group.get("id"): group[0].get("transform") for group in next(root.iter(f"{{{SVG}}}defs"))}
    assert defined == {"w1-E0A4": "scale(0.72,-0.72)", "w1-E0A4-1": "scale(0.5,-0.5)", "w1-E0A4-2": "scale(1,-1)"}
    prefixed(root, "w1-")
    assert [group.get("id") for group in root.iter(f"{{{SVG}}}g") if group.get("id")][-2:] == ["w1-m3", "w1-n12"]
