"""The chart for the wall: its words against the chart's own data, its sizes in the PDF, nothing overlapping."""

import io
import re
import shutil
import subprocess
from itertools import combinations, pairwise
from pathlib import Path

import pytest
from lxml import etree

from analyzer.engrave.fonts import truetype
from analyzer.engrave.options import PageOptions
from analyzer.horns.profiles import horn_names, load_horn
from analyzer.report.chart.document import chart_document
from analyzer.report.chart.page import chart_file
from analyzer.report.chart.sheets import wall_pages
from analyzer.report.chart.wall import MOST_ALTERNATES, walls
from analyzer.words import shown
from tests.axe import faults

pytest.importorskip("verovio", reason="the engraver is not installed (pip install lowbrass[engrave])")

SVG = "{http://www.w3.org/2000/svg}"
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
POPPLER = pytest.mark.skipif(shutil.which("pdftotext") is None or shutil.which("pdftoppm") is None,
                             reason="poppler, which measures the PDF, is not installed")
# Letter Size and Legibility, Human Factors 21(6), 1979, doi 10.1177/001872087912210604: 0.003 rad, 3 mm at one metre.
# The usual row and the names are asked larger: decisions of ours.
USUAL_MM, NAME_MM, OTHER_MM = 5.0, 4.0, 3.0
PX_PER_MM = 10


def drawn(name: str) -> list[dict[int, dict[str, list[str]]]]:
    """By way of reading: the texts in each note's column and list, by MIDI number, as they are drawn."""
    found: list[dict[int, dict[str, list[str]]]] = []
    for page in wall_pages(load_horn(name), PageOptions()):
        root = etree.fromstring(page.encode())
        if "Practical range" in "".join(root.itertext()):
            found.append({})
        for group in root.iter(f"{SVG}g"):
            if group.get("data-midi"):
                texts = ["".join(text.itertext()) for text in group.iter(f"{SVG}text") if text.get("class") != "sign"]
                kinds = found[-1].setdefault(int(group.get("data-midi")), {"column": [], "rest": []})
                kinds[group.get("class")] += texts
    return found


@pytest.mark.parametrize("name", horn_names())
def test_every_choice_of_the_chart_is_drawn_once(name: str) -> None:
    horn = load_horn(name)
    notes = {note["midi"]: note["choices"] for note in chart_document(horn)["notes"]}
    readings = drawn(name)
    assert len(readings) == (2 if horn.family == "valves" else 1)
    for columns, up in zip(readings, (0, 14), strict=False):
        assert sorted(columns) == sorted(notes)
        for midi, choices in notes.items():
            told, rest = columns[midi]["column"], columns[midi]["rest"]
            names = [text for text in told if re.fullmatch(r"[A-G][♯♭]?\d", text)]
            assert len(names) == (2 if (midi + up) % 12 in (1, 3, 6, 8, 10) else 1)
            assert told[:len(names)] == names
            told = told[len(names):]
            if not choices:
                assert told == ["×"]
                continue
            usual = next(choice for choice in choices if choice["usual"])
            if horn.family == "valves":
                digits = len(usual["valves"]) or 1
                assert "-".join(told[:digits]) == usual["label"]
                told = told[digits:]
                if abs(round(usual["off_cents"])) > 5:
                    assert told[0] == f"{round(usual['off_cents']):+d}".replace("-", "−")
                    told = told[1:]
            else:
                assert told[0] == shown(usual["label"])
                told = told[1:]
            assert len(told) <= MOST_ALTERNATES
            listed = [text for text in rest if not re.match(r"[A-G][♯♭]?\d", text)]
            others = [choice for choice in choices if not choice["usual"]]
            assert sorted([*told, *listed]) == sorted(
                shown(choice["label"]) if choice["advice"] is None else f"({shown(choice['label'])})"
                for choice in others)


@pytest.mark.parametrize("name", horn_names())
def test_practical_range_comes_first_and_pedals_apart(name: str) -> None:
    for wall in walls(load_horn(name)):
        assert [part.heading.split(":")[0] for part in wall.ranges] == ["Practical range", "High range", "Pedal range"]
        practical, _, pedals = (part.columns for part in wall.ranges)
        assert all(column.usual is not None and column.usual.partial >= 2 for column in practical)
        assert all(column.usual is None or column.usual.partial == 1 for column in pedals)


@pytest.mark.parametrize("large", [False, True])
@pytest.mark.parametrize("paper", ["a4", "a3", "letter"])
@pytest.mark.parametrize("name", ["tenor", "bass-independent", "euphonium-4"])
def test_everything_stands_within_the_margins(name: str, paper: str, large: bool) -> None:
    for page in wall_pages(load_horn(name), PageOptions(paper=paper, large_print=large)):
        high = float(etree.fromstring(page.encode()).get("viewBox").split()[3])
        lines = sorted({y for _, _, y, _ in texts_of(page)})
        assert lines[0] > 12
        assert lines[-1] <= high - 12
        # The foot stands alone, below everything else.
        assert lines[-2] <= lines[-1] - 4
        assert len(lines) > 5                                   # no page for a line or two


def test_euphonium_stands_in_bass_and_in_treble_clef_a_major_ninth_up() -> None:
    bass, treble = walls(load_horn("euphonium-4-compensating"))
    assert {column.clef for column in bass.columns()} == {"bass"}
    assert {column.clef for column in treble.columns()} == {"treble"}
    # British brass band writing, common practice: the open B flat 2 of the horn is written C4.
    assert [pitch.name for column in treble.columns() if column.midi == 46 for pitch in column.written] == ["C4"]
    assert [pitch.name for column in bass.columns() if column.midi == 46 for pitch in column.written] == ["A#2", "Bb2"]


def texts_of(page: str) -> list[tuple[str, float, float, float]]:
    """Text, x, base line (both mm of the page) and drawn size of everything that is no sign of music."""
    found = []
    for text in etree.fromstring(page.encode()).iter(f"{SVG}text"):
        if text.get("class") == "sign":
            continue
        down = sum(float(re.search(r",([-\d.]+)\)", above.get("transform")).group(1))
                   for above in text.iterancestors() if above.get("transform"))
        found.append(("".join(text.itertext()), float(text.get("x")), float(text.get("y")) + down,
                      float(text.get("font-size").removesuffix("px"))))
    return found


@POPPLER
@pytest.mark.parametrize(("name", "paper"), [("bass-independent", "a4"), ("tenor", "letter"), ("alto", "a3"),
                                             ("euphonium-4", "a4")])
def test_ink_in_the_pdf_is_as_high_as_one_metre_asks(name: str, paper: str, tmp_path: Path) -> None:
    image = pytest.importorskip("PIL.Image", reason="pillow, which reads the picture, is not installed")
    numpy = pytest.importorskip("numpy", reason="numpy is not installed")
    horn = load_horn(name)
    (tmp_path / "chart.pdf").write_bytes(chart_file(horn, ".pdf", paper=paper))
    subprocess.run(["pdftoppm", "-r", str(25.4 * PX_PER_MM), "-gray", "-f", "1", "-l", "1", "-singlefile",
                    tmp_path / "chart.pdf", tmp_path / "page"], check=True)
    dark = numpy.asarray(image.open(tmp_path / "page.pgm")) < 128
    page = wall_pages(horn, PageOptions(paper=paper))[0]
    measured: dict[str, list[float]] = {"usual": [], "name": [], "other": []}
    for text, x, y, size in texts_of(page):
        if not re.fullmatch(r"[0-9]|[A-G][0-9]", text):
            continue
        half = size * 0.35 * len(text)
        rows = dark[int((y - size) * PX_PER_MM):int((y + size * 0.12) * PX_PER_MM),
                    int((x - half) * PX_PER_MM):int((x + half) * PX_PER_MM)].any(axis=1)
        # From the base line upwards as far as ink goes on.
        base = int((y - size * 0.1 - (y - size)) * PX_PER_MM)
        low = high = base
        while high > 0 and rows[high - 1]:
            high -= 1
        while low < len(rows) and rows[low]:
            low += 1
        kind = "other" if size < 5 else "name" if text[0].isalpha() else "usual"
        measured[kind].append((low - high) / PX_PER_MM)
    assert len(measured["usual"]) >= 15
    assert len(measured["name"]) >= 10
    assert len(measured["other"]) >= 3
    assert min(measured["usual"]) >= USUAL_MM
    assert min(measured["name"]) >= NAME_MM
    assert min(measured["other"]) >= OTHER_MM


@pytest.mark.parametrize("name", horn_names())
def test_nothing_is_smaller_than_one_metre_asks(name: str) -> None:
    # Figures and capitals of the face are 1493 of 2048 units high.
    for page in wall_pages(load_horn(name), PageOptions()):
        assert min(size for _, _, _, size in texts_of(page)) * 1493 / 2048 >= OTHER_MM


@POPPLER
@pytest.mark.parametrize(("name", "paper"), [
    pytest.param(name, paper, marks=() if paper == "a4" or name == "bass-independent" else pytest.mark.whole)
    for name in horn_names() for paper in ("a4", "a3", "letter")])
def test_no_words_overlap_each_other_or_a_staff(name: str, paper: str, tmp_path: Path) -> None:
    horn = load_horn(name)
    (tmp_path / "chart.pdf").write_bytes(chart_file(horn, ".pdf", paper=paper))
    said = subprocess.run(["pdftotext", "-bbox", tmp_path / "chart.pdf", "-"], check=True, capture_output=True).stdout
    pages = etree.HTML(said).findall(".//page")
    sheets = wall_pages(horn, PageOptions(paper=paper))
    assert len(pages) == len(sheets)
    for page, sheet in zip(pages, sheets, strict=True):
        wide, high = float(page.get("width")), float(page.get("height"))
        boxes = []
        for word in page.iter("word"):
            if not re.search(r"[A-Za-z0-9×]", word.text or "") or re.search("[\ue000-\uf8ff]", word.text):
                continue
            left, right, top, bottom = (float(word.get(key)) for key in ("xmin", "xmax", "ymin", "ymax"))
            # The box is of the face's ascent and descent (0.93 and 0.24 em); ink is 0.73 em from the base line up.
            em = (bottom - top) / 1.17
            boxes.append((word.text, left, right, top + 0.2 * em, bottom - 0.24 * em))
        assert len(boxes) > 5
        for text, left, right, _, bottom in boxes:
            assert left >= 11 * 72 / 25.4, text
            assert right <= wide - 11 * 72 / 25.4, text
            assert bottom <= high - 11 * 72 / 25.4, text
        for a, b in combinations(boxes, 2):
            assert a[2] <= b[1] + 0.1 or b[2] <= a[1] + 0.1 or a[4] <= b[3] or b[4] <= a[3], (a, b)
        for line in etree.fromstring(sheet.encode()).iterfind(f".//{SVG}line[@class='staff']"):
            down = sum(float(re.search(r",([-\d.]+)\)", above.get("transform")).group(1))
                       for above in line.iterancestors() if above.get("transform"))
            x1, x2, y = (float(line.get(key)) * 72 / 25.4 for key in ("x1", "x2", "y1"))
            y += down * 72 / 25.4
            for text, left, right, top, bottom in boxes:
                assert not (top < y < bottom and left < x2 and right > x1), text


@pytest.mark.parametrize("paper", ["a4", "a3", "letter"])
@pytest.mark.parametrize("name", horn_names())
def test_signs_touch_no_name_and_no_band(name: str, paper: str) -> None:
    # Outlines of the music face itself: accidentals stand higher and lower than the words around them.
    from fontTools.pens.boundsPen import BoundsPen
    from fontTools.ttLib import TTFont

    font = TTFont(io.BytesIO(truetype("music")))
    glyphs, names, em = font.getGlyphSet(), font.getBestCmap(), font["head"].unitsPerEm

    def ink(sign: str, base: float, size: float) -> tuple[float, float]:
        pen = BoundsPen(glyphs)
        glyphs[names[ord(sign)]].draw(pen)
        return base - pen.bounds[3] / em * size, base - pen.bounds[1] / em * size

    for page in wall_pages(load_horn(name), PageOptions(paper=paper)):
        for group in etree.fromstring(page.encode()).iterfind(f".//{SVG}g[@class='column']"):
            band = float(group.getparent().find(f"{SVG}rect").get("y"))
            texts = list(group.iter(f"{SVG}text"))
            heads = [ink("".join(text.itertext()), float(text.get("y")), 7.0) for text in texts
                     if text.get("class") == "sign"]
            named = [text for text in texts if re.fullmatch(r"[A-G][♯♭]?\d", "".join(text.itertext()))]
            spans = []
            for text in named:
                word, base = "".join(text.itertext()), float(text.get("y"))
                size = float(text.get("font-size").removesuffix("px"))
                top, bottom = base - 0.729 * size, base
                if len(word) == 3:
                    over, under = ink(word[1], base, size * 1.25)
                    top, bottom = min(top, over), max(bottom, under)
                spans.append((top, bottom))
            assert all(a[1] < b[0] for a, b in pairwise(spans)), group.get("data-midi")
            assert min(top for top, _ in heads) > spans[-1][1], group.get("data-midi")
            assert max(bottom for _, bottom in heads) < band, group.get("data-midi")


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("a3", (842, 1191)), ("letter", (612, 792))])
def test_pdf_has_the_paper_asked_for(paper: str, size: tuple[int, int]) -> None:
    pypdf = pytest.importorskip("pypdf", reason="pypdf, which reads the PDF back, is not installed")
    horn = load_horn("bass-independent")
    reader = pypdf.PdfReader(io.BytesIO(chart_file(horn, ".pdf", paper=paper)))
    assert {tuple(round(float(side)) for side in page.mediabox[2:]) for page in reader.pages} == {size}
    first = reader.pages[0].extract_text()
    assert horn.description in " ".join(first.split())
    assert {"TS4", "T1", "usual"} <= set(first.split())


@pytest.mark.parametrize("paper", ["a4", "a3", "letter"])
@pytest.mark.parametrize("name", horn_names())
def test_practical_range_stands_whole_on_the_first_sheet(name: str, paper: str) -> None:
    horn = load_horn(name)
    first = etree.fromstring(wall_pages(horn, PageOptions(paper=paper))[0].encode())
    midis = {int(group.get("data-midi")) for group in first.iterfind(f".//{SVG}g[@class='column']")}
    assert {column.midi for column in walls(horn)[0].ranges[0].columns} <= midis


def test_unknown_ending_is_the_callers_mistake() -> None:
    with pytest.raises(ValueError, match=r"\.odt"):
        chart_file(load_horn("tenor"), ".odt")


def test_greys_are_told_apart() -> None:
    # WCAG 2.2, 1.4.3: text 4.5 to 1. Every colour is a grey, so no hue tells anything.
    grey = re.compile(r"#([0-9a-f]{2})\1\1")
    for page in wall_pages(load_horn("bass-independent"), PageOptions()):
        colours = set(re.findall(r'(?:fill|stroke)="(#[0-9a-f]+)"', page))
        assert all(grey.fullmatch(colour) for colour in colours)
        for text in set(re.findall(r'<text[^>]*fill="(#[0-9a-f]+)"', page)):
            value = int(text[1:3], 16) / 255
            light = value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4
            assert 1.05 / (light + 0.05) >= 4.5


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium to look at the page with")
@pytest.mark.parametrize(("name", "width"), [("tenor-f", 390), ("euphonium-4-compensating", 1280)])
def test_page_in_a_browser(name: str, width: int, tmp_path) -> None:
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
