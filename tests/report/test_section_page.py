"""The page of a section: whole, safe against hostile text, without network or script, and true to the fit."""

import importlib.util
import re
import shutil
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from lxml import html

from analyzer.cli import cli
from analyzer.horns.profiles import load_horn
from analyzer.plan.player import Player
from analyzer.report.fit.page import section_html, section_page
from analyzer.report.fit.rehearse import hard_measures, rehearse_first
from analyzer.report.fit.text import fit_text
from analyzer.score.document import open_document
from analyzer.section.fit import Seat, SectionFit, fit
from analyzer.section.section import Member, Section, read_section
from tests.axe import faults

SAMPLES = Path(__file__).parents[2] / "sample_scores"
CHROMIUM = shutil.which("chromium") or shutil.which("google-chrome")
needs_engraver = pytest.mark.skipif(
    any(importlib.util.find_spec(name) is None for name in ("verovio", "fontTools")),
    reason="the engraver is not installed (pip install lowbrass[engrave])")
HOSTILE = "</title><script>alert('x')</script>\"&<b onclick=x>"


def answer(name: str = "harbour-march-trio.musicxml") -> SectionFit:
    return fit(open_document(SAMPLES / name), read_section(SAMPLES / "section.toml"))


def tenors(*names: str) -> Section:
    return Section(members=tuple(Member(player=Player(name=one), horns=(load_horn("tenor"),)) for one in names))


def no_music(seat: Seat, first: int, last: int) -> str:
    return ""


def words(page: str) -> str:
    return " ".join(html.fromstring(page).text_content().split())


@pytest.mark.parametrize("name", sorted(path.name for path in SAMPLES.glob("*.m*l")))
def test_page_of_every_sample_is_whole(name: str) -> None:
    one = answer(name)
    page = section_html(one, no_music)
    tree, text = html.fromstring(page), words(page)
    assert len(tree.xpath("//section[contains(@class, 'seat')]")) == len(one.seats)
    assert len(tree.xpath("//table[@class='who']/tbody/tr")) == len(one.seats) + len(one.unfilled)
    for said in [*one.cautions, *(change.text for change in one.changes),
                 *(f"{seat.member.name} on {seat.burden.horn.name}" for seat in one.seats)]:
        assert " ".join(said.split()) in text
    for finding in [*one.findings, *(finding for seat in one.seats for finding in seat.findings)]:
        assert finding.what[1:] in text
        assert all(way in text for way in finding.try_)
    ids = tree.xpath("//@id")
    assert len(ids) == len(set(ids))
    for listed in tree.xpath("//@aria-labelledby"):
        assert set(listed.split()) <= set(ids)
    assert {target.lstrip("#") for target in tree.xpath("//@href")} <= set(ids)


def test_text_and_page_name_the_same_measures_to_rehearse_first() -> None:
    found = answer()
    hard = hard_measures(found)
    first = rehearse_first(hard)
    shares = [one.share for measures in hard.values() for one in measures]
    assert first[0][1].share == max(shares)
    text, page = fit_text(found), words(section_html(found, no_music))
    for place, one in first:
        assert f"m. {one.measure}: {found.seats[place].member.name}" in text
        assert f"Measure {one.measure}, {found.seats[place].member.name}" in page.replace(" ,", ",")
    assert text.count("What to rehearse first") == page.count("What to rehearse first") == 1


def test_page_needs_no_network_and_no_script() -> None:
    page = section_html(answer(), no_music)
    tree = html.fromstring(page)
    assert tree.xpath("//script | //link | //iframe | //object | //img | //form") == []
    assert tree.xpath("//@*[starts-with(name(), 'on')]") == []
    assert re.findall(r"url\((?!data:)|@import", page) == []
    assert tree.xpath("//html/@lang") == ["en"]
    assert section_html(answer(), no_music) == page


def test_a_line_that_stands_in_the_way_is_not_said_to_suit() -> None:
    slow = Section(members=(Member(player=Player(name="A", low=60), horns=(load_horn("tenor-f"),)),))
    one = fit(open_document(SAMPLES / "attachment-etude.musicxml"), slow)
    assert one.verdict == "does not suit"
    rows = html.fromstring(section_html(one, no_music)).xpath("//table[@class='who']/tbody/tr")
    assert not any("suits" in " ".join(row.text_content().split()) for row in rows)


def test_names_and_titles_cannot_break_the_page() -> None:
    players = tenors(HOSTILE, "B", "C")
    one = fit(open_document(SAMPLES / "quiet-chorale-trombones.mxl"), players)
    one = replace(one, problems=(), document=open_document(SAMPLES / "quiet-chorale-trombones.mxl"))
    page = section_html(one, no_music, note=HOSTILE)
    assert html.fromstring(page).xpath("//script | //*[@onclick]") == []
    assert HOSTILE in html.fromstring(page).text_content()


def test_what_does_not_suit_is_told_first_and_changes_in_their_order() -> None:
    one = fit(open_document(SAMPLES / "harbour-march-trio.musicxml"), tenors("A"))
    assert one.verdict == "does not suit"
    page = section_html(one, no_music)
    assert words(page).index("does not suit") < words(page).index("Who plays what")
    changed = fit(open_document(SAMPLES / "quiet-chorale-trombones.mxl"), tenors("A", "B", "C", "D"))
    items = [" ".join(item.text_content().split()) for item in html.fromstring(section_html(changed, no_music)).xpath(
        "//h2[starts-with(., 'What to change')]/following-sibling::ol[1]/li")]
    assert items == [" ".join(change.text.split()) for change in changed.changes]


def test_music_stands_beside_findings_that_have_a_place_and_only_there() -> None:
    asked: list[tuple[str, int]] = []

    def music(seat: Seat, first: int, last: int) -> str:
        assert first <= last
        asked.append((seat.member.name, first))
        return '<svg xmlns="http://www.w3.org/2000/svg" class="m"></svg>'

    one = answer("deep-water-bass-trombone.musicxml")
    one = replace(one, seats=fit(open_document(SAMPLES / "deep-water-bass-trombone.musicxml"), tenors("A")).seats)
    page = section_html(one, music)
    figures = html.fromstring(page).xpath("//div[@class='excerpt']")
    assert figures
    assert len(figures) == len(asked)
    for figure in figures:
        assert figure.get("role") == "img"
        assert "at measure" in figure.get("aria-label")


def test_fit_writes_the_page(tmp_path: Path) -> None:
    out = tmp_path / "answer.html"
    common = ["fit", str(SAMPLES / "harbour-march-trio.musicxml"), "--section", str(SAMPLES / "section.toml"), "-o"]
    done = CliRunner().invoke(cli, [*common, str(out)])
    assert done.exit_code == 0
    assert out.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert f"Wrote {out}" in done.stderr
    wrong = CliRunner().invoke(cli, [*common, str(tmp_path / "answer.txt")])
    assert wrong.exit_code == 2
    assert ".html" in wrong.stderr


@needs_engraver
def test_the_measure_of_a_finding_is_engraved_with_its_mark() -> None:
    one = fit(open_document(SAMPLES / "deep-water-bass-trombone.musicxml"), tenors("A"))
    tree = html.fromstring(section_page(one).decode())
    figures = tree.xpath("//div[@class='excerpt']/svg")
    assert figures
    # E flat 2 of measure 7 is not on a straight tenor; its mark is the cross.
    assert "×" in figures[0].text_content()
    ids = tree.xpath("//@id")
    assert len(ids) == len(set(ids))


def test_without_the_engraver_the_page_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "analyzer.engrave.engrave", None)
    page = section_page(answer()).decode()
    assert "Without music" in page
    assert "lowbrass[engrave]" in page
    assert "excerpt" not in re.sub(r"<style>.*?</style>", "", page, flags=re.DOTALL)


@needs_engraver
@pytest.mark.skipif(CHROMIUM is None, reason="no browser is installed")
@pytest.mark.parametrize("width", [360, 1280])
def test_page_in_a_browser(tmp_path: Path, width: int) -> None:
    """Nothing wider than the screen, nothing asked of the network, no fault that axe-core knows (WCAG 2.1 AA)."""
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    path = tmp_path / "page.html"
    path.write_bytes(section_page(fit(open_document(SAMPLES / "harbour-march-trio.musicxml"), tenors("A", "B", "C"))))
    with api.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport={"width": width, "height": 800}, java_script_enabled=True)
        asked: list[str] = []
        page.on("request", lambda request: asked.append(request.url))
        page.goto(path.as_uri())
        wide = page.evaluate("document.documentElement.scrollWidth")
        # Smallest letter of the strips as it is seen. [px]
        letters = page.evaluate(
            "Math.min(...[...document.querySelectorAll('.picture svg')].filter(s => s.getBoundingClientRect().width)"
            ".map(s => 11 * s.getBoundingClientRect().width / s.viewBox.baseVal.width))")
        found = faults(page)
        browser.close()
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    assert wide <= width
    assert letters >= 9
    assert found == []
