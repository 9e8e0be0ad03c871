"""The chart of a horn on a staff: what stands under each note is checked from the chart's own data."""

import io
import shutil

import pytest
from lxml import etree

from analyzer.engrave.options import PageOptions
from analyzer.horns.profiles import horn_names, load_horn
from analyzer.report.chart.document import chart_document
from analyzer.report.chart.page import chart_file
from analyzer.report.chart.staff import staff_copy, staff_pages
from analyzer.words import shown
from tests.axe import faults
from tests.test_samples import schema  # noqa: F401  (the fixture)

SVG = "{http://www.w3.org/2000/svg}"
STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")


def under(name: str) -> dict[int, list[str]]:
    """What stands under each note (by MIDI number), from the top."""
    copy = staff_copy(load_horn(name))
    notes = list(etree.fromstring(copy.musicxml).iter("note"))
    found: dict[int, list[str]] = {}
    for mark in sorted(copy.marks, key=lambda one: one.line):
        pitch = notes[mark.ref].find("pitch")
        midi = (12 * (int(pitch.findtext("octave")) + 1) + STEPS[pitch.findtext("step")]
                + int(pitch.findtext("alter") or 0))
        found.setdefault(midi, []).append(mark.text)
    return found


@pytest.mark.parametrize("name", horn_names())
def test_every_note_has_its_usual_choice_and_all_good_ones(name: str) -> None:
    found = under(name)
    notes = chart_document(load_horn(name))["notes"]
    assert list(found) == [note["midi"] for note in notes]
    valves = load_horn(name).family == "valves"
    for note in notes:
        usual = [choice for choice in note["choices"] if choice["usual"]]
        good = [choice for choice in note["choices"] if not choice["usual"] and choice["advice"] is None]
        cents = [f"{round(choice['off_cents']):+d}".replace("-", "−") for choice in usual
                 if valves and abs(round(choice["off_cents"])) > 5]
        told = [shown(usual[0]["label"]), *cents, *(shown(choice["label"]) for choice in good)] if usual else ["×"]
        assert found[note["midi"]][1:] == told, note["note"]


@pytest.mark.parametrize("name", horn_names())
def test_music_is_valid_and_in_the_horns_clef(name: str, schema: etree.XMLSchema) -> None:  # noqa: F811
    music = etree.fromstring(staff_copy(load_horn(name)).musicxml)
    schema.assertValid(music)
    clefs = [(clef.findtext("sign"), clef.findtext("line")) for clef in music.iter("clef")]
    # Common practice, no source: alto trombone in alto clef; others in bass clef, trombones up high in tenor clef.
    if name == "alto":
        assert clefs == [("C", "3")]
    elif load_horn(name).family == "valves":
        assert clefs == [("F", "4")]
    else:
        assert clefs == [("F", "4"), ("C", "4")]


def test_engraved_chart_shows_them_all() -> None:
    pytest.importorskip("verovio", reason="the engraver is not installed (pip install lowbrass[engrave])")
    wanted = sorted(text for texts in under("tenor-f").values() for text in texts)
    drawn = ["".join(group.itertext()) for page in staff_pages(load_horn("tenor-f"), PageOptions())
             for group in etree.fromstring(page.encode()).iter(f"{SVG}g")
             if {"mark", "unplayable"} & set((group.get("class") or "").split())]
    assert sorted(drawn) == wanted


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_pdf_has_staff_and_picture_as_text(paper: str, size: tuple[int, int]) -> None:
    pytest.importorskip("verovio", reason="the engraver is not installed (pip install lowbrass[engrave])")
    pypdf = pytest.importorskip("pypdf", reason="pypdf, which reads the PDF back, is not installed")
    horn = load_horn("bass-independent")
    reader = pypdf.PdfReader(io.BytesIO(chart_file(horn, ".pdf", paper=paper)))
    assert len(reader.pages) == 2
    assert tuple(round(float(side)) for side in reader.pages[0].mediabox[2:]) == size
    staff, picture = (page.extract_text() for page in reader.pages)
    assert horn.description in " ".join(staff.split())
    for label in ("TS2", "T1", "S1", "usual"):
        assert label in staff.split()
    assert "100 mm" in picture


def test_unknown_ending_is_the_callers_mistake() -> None:
    with pytest.raises(ValueError, match=r"\.odt"):
        chart_file(load_horn("tenor"), ".odt")


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium to look at the page with")
@pytest.mark.parametrize(("name", "width"), [("tenor-f", 390), ("euphonium-4-compensating", 1280)])
def test_page_in_a_browser(name: str, width: int, tmp_path) -> None:
    pytest.importorskip("verovio", reason="the engraver is not installed (pip install lowbrass[engrave])")
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    path = tmp_path / "chart.html"
    path.write_bytes(chart_file(load_horn(name), ".html"))
    with api.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport={"width": width, "height": 800})
        page.goto(path.as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        found = faults(page)
        browser.close()
    assert found == []
