"""The report and the page files: self-contained, safe against hostile text, whole, the same bytes every time."""

import importlib.util
import io
import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from lxml import etree, html

from analyzer.analysis import Analysis, Request, analyse
from analyzer.problem import Unreadable
from analyzer.report.map.document import map_document
from analyzer.report.map.page import page_html
from analyzer.report.map.pages import PageChoices, page_file, sheets_of
from analyzer.score.document import open_document
from analyzer.words import shown
from tests.axe import faults

SAMPLES = Path(__file__).parents[2] / "sample_scores"
ETUDE = SAMPLES / "attachment-etude.musicxml"
HOSTILE = "</title><script>alert('x')</script>\"&<b onclick=x>"
CHROMIUM = shutil.which("chromium") or shutil.which("google-chrome")
needs_engraver = pytest.mark.skipif(
    any(importlib.util.find_spec(name) is None for name in ("verovio", "fontTools", "reportlab")),
    reason="the engraver is not installed (pip install lowbrass[engrave])")


def plain(name: str = "attachment-etude.musicxml", **more: object) -> Analysis:
    return analyse(open_document(SAMPLES / name), Request(**more))  # type: ignore[arg-type]


def no_music(one: object, form: str) -> tuple[str, ...]:
    return ()


def hostile(tmp_path: Path) -> Path:
    text = ETUDE.read_text(encoding="utf-8")
    for old in ("<work-title>Attachment Etude</work-title>", "<part-name>Trombone</part-name>"):
        assert old in text
    escaped = HOSTILE.replace("&", "&amp;").replace("<", "&lt;")
    text = text.replace("<work-title>Attachment Etude", f"<work-title>{escaped}")
    text = text.replace("<part-name>Trombone", f"<part-name>Trombone {escaped}")
    path = tmp_path / "hostile.musicxml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("name", sorted(path.name for path in SAMPLES.glob("*.m*l")))
def test_report_of_every_sample_is_whole(name: str) -> None:
    analysis = plain(name)
    page = page_html(analysis, no_music)
    tree = html.fromstring(page)
    assert len(tree.xpath("//section[contains(@class, 'line')]")) == len(analysis.lines)
    text = " ".join(tree.text_content().split())
    for caution in analysis.cautions:
        assert caution in text
    for one in analysis.lines:
        assert one.plan.horn.description in text
    # Every group of alternates and every impossible note has a row with its reason.
    rows = [" ".join(row.text_content().split()) for row in tree.xpath("//tbody/tr")]
    for one in analysis.lines:
        assert all(any(group.why in row for row in rows) for group in one.plan.groups)
        assert sum(note.problem is not None for note in one.plan.notes) <= len(rows)
    ids = tree.xpath("//@id")
    assert len(ids) == len(set(ids))
    for name_of_ids in tree.xpath("//@aria-labelledby"):
        assert set(name_of_ids.split()) <= set(ids)


def test_report_needs_no_network_and_no_script() -> None:
    page = page_html(plain(), no_music)
    tree = html.fromstring(page)
    assert tree.xpath("//script | //link | //iframe | //object | //img | //form") == []
    assert tree.xpath("//@*[starts-with(name(), 'on')]") == []
    assert all(target.startswith("#") for target in tree.xpath("//@href"))
    assert re.findall(r"url\((?!data:)|@import", page) == []
    assert tree.xpath("//html/@lang") == ["en"]


@needs_engraver
def test_hostile_titles_and_part_names_stay_text(tmp_path: Path) -> None:
    analysis = analyse(open_document(hostile(tmp_path)), Request())
    page = page_file(analysis, ".html").decode()
    tree = html.fromstring(page)
    assert tree.xpath("//script | //b[@onclick]") == []
    assert HOSTILE in tree.xpath("string(//h1)")
    picture = etree.fromstring(page_file(analysis, ".svg"))
    names = {etree.QName(element).localname for element in picture.iter(etree.Element)}
    assert not names & {"script", "b"}
    assert HOSTILE in "".join(picture.itertext())


@needs_engraver
def test_page_has_the_faces_of_its_music_once() -> None:
    page = page_file(plain("harbour-march-trio.musicxml"), ".html").decode()
    # Bold and italic letters, upright and bold marks, and the music face, which the metronome's note needs.
    assert page.count("@font-face") == 5
    assert 'font-family:"Leipzig"' in page
    assert page.index("@font-face") < page.index("<body>")


@needs_engraver
def test_svg_holds_the_part_and_the_picture_with_title_and_description() -> None:
    analysis = plain(measures=("9", "16"))
    root = etree.fromstring(page_file(analysis, ".svg"))
    ns = {"s": "http://www.w3.org/2000/svg"}
    assert root.findtext("s:title", namespaces=ns) == "Attachment Etude"
    assert "Measure 9" in (root.findtext("s:desc", namespaces=ns) or "")
    labels = [shown(note.choice.label) for note in analysis.lines[0].plan.notes if note.choice]
    texts = [" ".join("".join(element.itertext()).split()) for element in root.iter("{http://www.w3.org/2000/svg}text")]
    for label in set(labels):
        # Once in the part, once in the picture.
        assert texts.count(label) >= 2 * labels.count(label)
    ids = root.xpath("//@id")
    assert len(ids) == len(set(ids))
    outside = [str(value) for value in root.xpath("//@*[local-name() = 'href']") if not str(value).startswith("#")]
    assert outside == []


@needs_engraver
@needs_engraver
def test_a_part_on_paper_and_a_picture_say_when_to_stop_and_who_decides() -> None:
    # A part is handed out alone: the words around it on the screen do not go with it.
    pypdf = pytest.importorskip("pypdf", reason="pypdf, which reads the PDF back, is not installed")
    analysis = plain(measures=("9", "12"))
    whole = pypdf.PdfReader(io.BytesIO(page_file(analysis, ".pdf"))).pages
    alone = pypdf.PdfReader(io.BytesIO(page_file(analysis, ".pdf", PageChoices(pictures="none")))).pages
    assert (len(whole), len(alone)) == (2, 1)
    # On the sheet of hard spots, and there only; on the part where no such sheet goes with it.
    for said in (whole[1].extract_text(), alone[0].extract_text(), page_file(analysis, ".svg").decode()):
        for needed in ("If it hurts or tingles, stop", "not medical advice", "teacher who is present"):
            assert needed in " ".join(said.split())
    assert "medical" not in whole[0].extract_text()


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext (poppler-utils) is not installed")
@pytest.mark.parametrize(("name", "choices"), [
    ("attachment-etude.musicxml", PageChoices()), ("deep-water-bass-trombone.musicxml", PageChoices(large=True)),
    ("harbour-march-trio.musicxml", PageChoices(paper="letter")), ("quiet-chorale-trombones.mxl", PageChoices()),
])
def test_pdf_has_the_labels_of_every_line_in_order(tmp_path: Path, name: str, choices: PageChoices) -> None:
    analysis = plain(name)
    path = tmp_path / "parts.pdf"
    path.write_bytes(page_file(analysis, ".pdf", choices))
    text = subprocess.run(["pdftotext", "-layout", str(path), "-"], capture_output=True, check=True).stdout.decode()
    # Behind each part one sheet of hard spots, whose words begin with its name.
    pages = text.split("\f")
    assert any(page.lstrip().startswith("Hard spots") for page in pages)
    music = "\n".join(page for page in pages if not page.lstrip().startswith("Hard spots"))
    label = r"[TS]{0,2}[1-7][♯♭]?|0|[1-4](?:-[1-4])+|×"
    marked = json.loads(json.dumps(map_document(analysis)))["lines"]
    assert len(marked) == len(analysis.lines)
    rest = [shown(note["label"]) if note["label"] else "×" for line in marked for note in line["notes"]]
    # A row of marks is a line of nothing but labels; so are numbers of measures and endings, which are short.
    for line in music.splitlines():
        words = line.split()
        if words and all(re.fullmatch(label, word) for word in words):
            matches = rest[:len(words)] == words
            assert matches or len(words) <= 2, line
            rest = rest[len(words):] if matches else rest
    assert rest == []
    for one in analysis.lines:
        # A long name goes over two lines in large print.
        assert one.plan.horn.description.split(",")[0] in " ".join(text.split())


@needs_engraver
def test_paper_and_large_print() -> None:
    pypdf = pytest.importorskip("pypdf", reason="pypdf, which reads the PDF back, is not installed")
    analysis = plain(measures=("9", "12"))
    sheets = {}
    for choices in (PageChoices(), PageChoices(paper="letter"), PageChoices(large=True)):
        reader = pypdf.PdfReader(io.BytesIO(page_file(analysis, ".pdf", choices)))
        sheets[choices] = (round(float(reader.pages[0].mediabox.width)), round(float(reader.pages[0].mediabox.height)))
        assert "Hard spots" in reader.pages[-1].extract_text()
    assert list(sheets.values()) == [(595, 842), (612, 792), (595, 842)]      # ISO 216 A4; US letter. [pt]
    one = analysis.lines[0]
    assert len(sheets_of(one, (210.0, 297.0), scale=1.5)) >= len(sheets_of(one, (210.0, 297.0)))


@needs_engraver
def test_same_bytes_whatever_the_seed_of_hashing() -> None:
    code = ("import hashlib, pathlib, sys\n"
            "from analyzer.analysis import Request, analyse\n"
            "from analyzer.report.map.pages import page_file\n"
            "from analyzer.score.document import open_document\n"
            "found = analyse(open_document(pathlib.Path(sys.argv[1])), Request(measures=('9', '10')))\n"
            "for ending in ('.html', '.svg', '.pdf'):\n"
            "    print(ending, hashlib.sha256(page_file(found, ending)).hexdigest())\n")
    said = [subprocess.run([sys.executable, "-c", code, str(ETUDE)], check=True, capture_output=True, text=True,
                           env={**os.environ, "PYTHONHASHSEED": seed}).stdout for seed in ("1", "2")]
    assert len(said[0].splitlines()) == 3
    assert said[0] == said[1]


@pytest.mark.parametrize("ending", [".html", ".svg", ".pdf"])
def test_missing_library_is_one_line_that_says_what_to_install(ending: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "verovio", None)
    with pytest.raises(Unreadable) as caught:
        page_file(plain(measures=("9", "9")), ending)
    assert "pip install 'lowbrass[engrave]'" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_unknown_ending_is_the_callers_mistake() -> None:
    with pytest.raises(ValueError, match=r"\.odt"):
        page_file(plain(measures=("9", "9")), ".odt")


@needs_engraver
@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium to look at the page with")
@pytest.mark.parametrize("width", [390, 1280])
def test_page_in_a_browser(tmp_path: Path, width: int) -> None:
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    path = tmp_path / "page.html"
    path.write_bytes(page_file(plain("harbour-march-trio.musicxml", measures=("19", "24")), ".html"))
    with api.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport={"width": width, "height": 800}, java_script_enabled=True)
        asked: list[str] = []
        page.on("request", lambda request: asked.append(request.url))
        page.goto(path.as_uri())
        assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        # Smallest letter of the pictures as it is seen. [px]
        sizes = page.evaluate(
            "[...document.querySelectorAll('.picture text')].filter(t => t.getClientRects().length)"
            ".map(t => parseFloat(getComputedStyle(t).fontSize) * t.ownerSVGElement.getScreenCTM().a)")
        assert len(sizes) > 50
        assert min(sizes) >= 9
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.className") == "skip"
        found = faults(page)
        browser.close()
    assert found == []


def test_page_labels_are_those_of_the_json() -> None:
    command = ["map", str(ETUDE), "--measures", "9-12", "--format", "json"]
    done = subprocess.run([sys.executable, "-m", "analyzer", *command], check=True, capture_output=True)
    notes = json.loads(done.stdout)["lines"][0]["notes"]
    tree = html.fromstring(page_html(plain(measures=("9", "12")), no_music))
    said = " ".join(tree.xpath("//details//li/text()"))
    words = re.findall(r"([A-G][♯♭]*\d) (\S+?)[,.]", said)
    assert [label for _, label in words] == [shown(note["label"]) for note in notes]
