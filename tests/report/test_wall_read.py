"""Every note of a chart for the wall, read back from its PDF, is that of its JSON; so is every change of horn.

The A4 charts of the eleven horns were also looked at as pictures of 87.6 dots an inch, where a dot is 0.29 mm and so,
from a metre, a minute of arc, what an eye of 20/20 parts: figures, names, heads and slides were read on every sheet. At
half of that (20/40) figures and names were still read; the heads on the staff were not, but the names above them were.
"""

import re
import shutil
from itertools import permutations
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

from analyzer.engrave.options import PageOptions
from analyzer.horns.profiles import horn_names, load_horn
from analyzer.horns.transition import transition
from analyzer.pitch import parse_pitch
from analyzer.report.chart.document import chart_document
from analyzer.report.chart.page import chart_file
from analyzer.report.chart.sheets import pages_of as sheets_of
from analyzer.report.chart.sheets import wall_pages
from analyzer.report.chart.transition import transition_document, transition_file
from analyzer.report.chart.wall import change_walls
from analyzer.words import shown
from tests.report.wall_reader import Note, Word, pages_of, read

pytest.importorskip("verovio", reason="the engraver, whose signs are used, is not installed")
pytest.importorskip("reportlab", reason="the PDF writer is not installed")
pytestmark = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler, which reads the PDF, is missing")

SVG = "{http://www.w3.org/2000/svg}"
FORMS = [(name, paper, large) for name in horn_names() for paper in ("a4", "a3", "letter") for large in (False, True)]
PAIRS = [(old, new) for old, new in permutations(horn_names(), 2)
         if load_horn(old).family == load_horn(new).family]
FEW_PAIRS = [("tenor", "tenor-f"), ("tenor-f", "bass-independent"), ("euphonium-3", "euphonium-4-compensating")]
SHARPS = {1, 3, 6, 8, 10}


def some(rows: list[Any], plain: Any) -> list[Any]:
    """All of them for the whole run, a few for the plain one."""
    return [pytest.param(*row, marks=() if plain(row) else pytest.mark.whole) for row in rows]


def midi_of(name: str) -> int:
    return parse_pitch(name.replace("♯", "#").replace("♭", "b")).midi


def by_midi(notes: dict[str, Note], up: int) -> dict[int, Note]:
    return {midi_of(name) - up: note for name, note in notes.items()}


@pytest.mark.parametrize(("name", "paper", "large"), some(
    FORMS, lambda row: row in {("bass-independent", "a4", False), ("euphonium-4-compensating", "letter", False)}))
def test_every_note_of_the_pdf_is_that_of_the_json(name: str, paper: Any, large: bool, tmp_path: Path) -> None:
    horn = load_horn(name)
    (tmp_path / "chart.pdf").write_bytes(chart_file(horn, ".pdf", paper=paper, large=large))
    readings = read(tmp_path / "chart.pdf") if not large else read_large(tmp_path / "chart.pdf")
    assert len(readings) == (2 if horn.family == "valves" else 1)
    for found, up in zip(readings, (0, 14), strict=False):
        told = by_midi(found, up)
        document = chart_document(horn)["notes"]
        assert sorted(told) == sorted(note["midi"] for note in document)
        for note in document:
            one = told[note["midi"]]
            assert len(one.names) == (2 if (note["midi"] + up) % 12 in SHARPS else 1)
            assert {midi_of(spelled) for spelled in one.names} == {note["midi"] + up}
            usual = [choice for choice in note["choices"] if choice["usual"]]
            assert one.usual == (shown(usual[0]["label"]) if usual else "×"), note["note"]
            if horn.family == "valves" and usual:
                cents = round(usual[0]["off_cents"])
                assert one.cents == (f"{cents:+d}".replace("-", "−") if abs(cents) > 5 else ""), note["note"]
            others = [choice for choice in note["choices"] if not choice["usual"]]
            assert len(one.alternates) <= 3
            assert sorted([*one.alternates, *one.rest]) == sorted(
                shown(choice["label"]) if choice["advice"] is None else f"({shown(choice['label'])})"
                for choice in others), note["note"]


def read_large(pdf: Path) -> list[dict[str, Note]]:
    """Large print is half as large again: read as if from as much farther away."""
    from tests.report import wall_reader

    whole = wall_reader.pages_of

    def smaller(path: Path) -> list[list[Word]]:
        return [[Word(word.text, word.left / 1.5, word.right / 1.5, word.top / 1.5, word.size / 1.5) for word in page]
                for page in whole(path)]

    wall_reader.pages_of = smaller
    try:
        return read(pdf)
    finally:
        wall_reader.pages_of = whole


@pytest.mark.parametrize(("old", "new"), some(PAIRS, lambda row: row in FEW_PAIRS))
def test_a_change_of_horn_on_the_wall_is_that_of_the_json(old: str, new: str, tmp_path: Path) -> None:
    """Who changes, from what to what, and by how many mm or cents; nothing on the sheet stands on anything else."""
    change = transition(load_horn(old), load_horn(new))
    (tmp_path / "change.pdf").write_bytes(transition_file(change, ".pdf"))
    document = transition_document(change)
    changed = {note["midi"]: note for note in document["notes"] if note["kind"] != "stays"}
    for found, up in zip(read(tmp_path / "change.pdf"), (0, 14), strict=False):
        told = by_midi(found, up)
        assert sorted(told) == sorted(changed)
        for midi, note in changed.items():
            one = told[midi]
            assert one.before == (shown(note["before"]["label"]) if note["before"] else "")
            assert one.usual == (shown(note["after"]["label"]) if note["after"] else "×")
            if load_horn(new).family == "slide" and note["after"]:
                if not note["before"]:
                    assert one.cents == "new"
                elif not one.cents:
                    assert abs(note["by_mm"]) < 0.5, note["note"]
                else:                                      # the JSON has tenths, and a tenth may round up
                    assert abs(float(one.cents.replace("−", "-")) - note["by_mm"]) < 0.56
    apart(tmp_path / "change.pdf")


def apart(pdf: Path) -> None:
    for page in pages_of(pdf):
        # Of the box, the ink: from the base line, a quarter up, as high as figures are.
        boxes = [(word.text, word.left, word.right, word.top + 0.2 * word.size, word.top + 0.79 * word.size)
                 for word in page if re.search(r"[A-Za-z0-9×]", word.text)]
        for nth, a in enumerate(boxes):
            for b in boxes[nth + 1:]:
                assert a[2] <= b[1] + 0.1 or b[2] <= a[1] + 0.1 or a[4] <= b[3] or b[4] <= a[3], (a, b)


@pytest.mark.parametrize(("old", "new"), some(PAIRS, lambda row: row in FEW_PAIRS[:2]))
@pytest.mark.parametrize(("paper", "large"), [("a4", True), ("letter", False), ("a3", False)])
def test_a_change_fits_every_paper(old: str, new: str, paper: Any, large: bool, tmp_path: Path) -> None:
    change = transition(load_horn(old), load_horn(new))
    (tmp_path / "change.pdf").write_bytes(transition_file(change, ".pdf", paper=paper, large=large))
    apart(tmp_path / "change.pdf")
    sizes = {word.ink_mm for page in pages_of(tmp_path / "change.pdf") for word in page}
    # Letter Size and Legibility, Human Factors 21(6), 1979: 3 mm at one metre.
    assert min(sizes) > 3 * (1.5 if large else 1)


@pytest.mark.parametrize("name", [name for name in horn_names() if load_horn(name).family == "slide"])
def test_slides_are_drawn_to_scale(name: str) -> None:
    """Filled spots lie as far below the stop as the JSON's `extension_mm` says, on one scale a sheet."""
    horn = load_horn(name)
    out = {note["midi"]: choice["extension_mm"] for note in chart_document(horn)["notes"]
           for choice in note["choices"] if choice["usual"]}
    seen = 0
    for page in wall_pages(horn, PageOptions()):
        for group in etree.fromstring(page.encode()).iterfind(f".//{SVG}g[@class='column']"):
            midi = int(group.get("data-midi"))
            if midi not in out:
                continue
            rod = next(line for line in group.iter(f"{SVG}line") if line.get("x1") == line.get("x2"))
            top, bottom = float(rod.get("y1")), float(rod.get("y2"))
            spot = next(shape for shape in group if (shape.get("fill") == "#000000" and shape.get("r")) or
                        (shape.tag == f"{SVG}rect" and shape.get("fill") == "#000000"))
            y = float(spot.get("cy") or float(spot.get("y")) + float(spot.get("height")) / 2)
            assert y - top == pytest.approx((bottom - top) * out[midi] / horn.slide_end_mm, abs=0.1), midi
            seen += 1
    assert seen == len(out)


def test_old_and_new_have_one_scale() -> None:
    """The tenor's seventh lies beyond the end of the alto's slide: hollow spots stay within the drawn slide."""
    change = transition(load_horn("tenor"), load_horn("alto"))
    end = max(horn.slide_end_mm for horn in (change.before, change.after))
    before = {one.midi: one.before.out_mm for one in change.notes if one.before and one.kind != "stays"}
    for page in sheets_of(change_walls(change), PageOptions()):
        for group in etree.fromstring(page.encode()).iterfind(f".//{SVG}g[@class='column']"):
            midi = int(group.get("data-midi"))
            rod = next(line for line in group.iter(f"{SVG}line") if line.get("x1") == line.get("x2"))
            top, bottom = float(rod.get("y1")), float(rod.get("y2"))
            for spot in group.iter(f"{SVG}circle"):
                if spot.get("fill") == "#ffffff":
                    assert float(spot.get("cy")) - top == pytest.approx((bottom - top) * before[midi] / end, abs=0.1)
