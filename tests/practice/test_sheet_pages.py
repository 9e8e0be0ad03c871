"""The practice sheet on paper and on a screen: one page, real text, in the player's clef, cautions at the foot."""

import io
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from lxml import etree, html

from analyzer.report.drill.page import sheet_file, sheet_pages
from analyzer.words import shown
from tests.practice.test_drills import CASES, SAMPLES, made, run

pypdf = pytest.importorskip("pypdf")
pytest.importorskip("verovio")
SVG = "{http://www.w3.org/2000/svg}"
SAMPLED = ("treble",)                  # a transposed part in treble clef


def plain(text: str) -> str:
    return " ".join(text.split())


def check(case: str) -> None:
    drills = made(case)
    pages = pypdf.PdfReader(io.BytesIO(sheet_file(drills, ".pdf"))).pages
    assert len(pages) == 1
    assert [round(float(side) * 25.4 / 72) for side in pages[0].mediabox[2:]] == [210, 297]
    text = plain(pages[0].extract_text())
    for number, one in enumerate(drills.exercises, 1):
        assert f"{number}. {one.title}" in text
        for step in one.steps:
            assert re.search(rf"\b{step}\b", text)
    for line in drills.cautions:
        assert line in text
    for one in drills.recall:
        assert one.play in text
    # Every mark is text below the music, in the order of the notes, from each exercise on.
    marks = [shown(one.choice.label) for exercise in drills.exercises for row in exercise.measures for one in row
             if one.choice is not None and not one.tied]
    assert len(marks) > 40
    squeezed = text.replace(" ", "")
    assert all(mark in squeezed for mark in set(marks))


@pytest.mark.parametrize("case", SAMPLED)
def test_pdf_is_one_page_of_real_text(case: str) -> None:
    check(case)


@pytest.mark.whole
@pytest.mark.parametrize("case", [case for case in CASES if case not in SAMPLED])
def test_pdf_of_every_case_is_one_page_of_real_text(case: str) -> None:
    check(case)


def test_exercises_stand_below_each_other_and_above_the_foot() -> None:
    root = etree.fromstring(sheet_pages(made("bass"))[0].encode())
    music = [(float(y), float(scale), group) for group in root.iterfind(f"{SVG}g")
             if (found := re.fullmatch(r"translate\(42,([\d.]+)\) scale\(([\d.]+)\)", group.get("transform", "")))
             for y, scale in [found.groups()]]
    assert len(music) == len(made("bass").exercises)
    # A picture's own margin of 15 px may lie below the next heading's capitals.
    ends = [y + scale * (float(group.find(f"{SVG}svg").get("height").removesuffix("px")) - 15)
            for y, scale, group in music]
    heads = [float(text.get("y")) for text in root.iter(f"{SVG}text")
             if re.match(r"\d+\. ", "".join(text.itertext())) and text.get("font-weight") == "bold"]
    assert len(heads) == len(music)
    for end, head in zip(ends, heads[1:], strict=False):
        assert end <= head - 9
    memory = next(float(text.get("y")) for text in root.iter(f"{SVG}text") if text.text == "From memory")
    assert ends[-1] <= memory - 9
    assert 36 * music[0][1] / 4.2 >= 5           # staff height on paper [mm]


@pytest.mark.whole
def test_page_for_a_screen_has_headings_and_music_for_phones() -> None:
    drills = made("euphonium-3")
    tree = html.fromstring(sheet_file(drills, ".html").decode())
    titles = [heading.text for heading in tree.iter("h2")]
    assert titles[:len(drills.exercises)] == [f"{k}. {one.title}" for k, one in enumerate(drills.exercises, 1)]
    assert len(tree.find_class("narrow")) == len(tree.find_class("wide")) == len(drills.exercises)
    assert tree.xpath("//script | //link | //img") == []
    ids = tree.xpath("//@id")
    assert len(ids) == len(set(ids))


def test_command_writes_several_forms_at_once(tmp_path: Path) -> None:
    files = [tmp_path / f"sheet{ending}" for ending in (".musicxml", ".pdf")]
    done = run("drill", SAMPLES / "evening-song-euphonium.musicxml", "--horn", "euphonium-3", "--paper", "letter",
               *(word for path in files for word in ("-o", path)))
    assert done.returncode == 0, done.stderr
    assert all(str(path) in done.stderr for path in files)
    page = pypdf.PdfReader(files[1]).pages[0]
    assert [round(float(side)) for side in page.mediabox[2:]] == [612, 792]


@pytest.mark.whole
def test_the_page_prints_with_its_music(tmp_path: Path) -> None:
    chromium = shutil.which("chromium")
    if chromium is None:
        pytest.skip("no chromium here to print with")
    page, printed = tmp_path / "sheet.html", tmp_path / "sheet.pdf"
    page.write_bytes(sheet_file(made("euphonium-3"), ".html"))
    subprocess.run([chromium, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
                    "--disable-background-networking", "--disable-component-update", "--disable-sync",
                    f"--user-data-dir={tmp_path / 'profile'}", "--no-pdf-header-footer", f"--print-to-pdf={printed}",
                    page.as_uri()], check=True, capture_output=True, timeout=120)
    text = plain(" ".join(each.extract_text() for each in pypdf.PdfReader(printed).pages))
    marks = [one.choice.label for exercise in made("euphonium-3").exercises for row in exercise.measures for one in row
             if one.choice and not one.tied]
    for label in ("1-2-3", "1-3"):
        # The labels below the notes, and those in the words.
        assert len(re.findall(rf"(?<![\d-]){label}(?![\d-])", text)) >= marks.count(label)
