"""The page of a survey: its pictures say the same as the tables, alone in one file, for everybody."""

import re
from collections import Counter
from pathlib import Path

import pytest
from lxml import etree

from analyzer.library.demands import easiest, pieces_by_demand, savings, slide_demand, slide_pitches
from analyzer.library.purchase import purchase
from analyzer.library.survey import Survey
from analyzer.picture.drawing import FAINT, INK, RULE, USUAL
from analyzer.section.section import read_section
from tests.library.test_survey import score_of, surveyed
from tests.published import horn_tables

pytest.importorskip("matplotlib", reason="the pictures are drawn by matplotlib")

from analyzer.report.survey.page import survey_page

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def survey(tmp_path_factory: pytest.TempPathFactory) -> Survey:
    folder = tmp_path_factory.mktemp("library")
    titled = score_of("Bb2", "D2", "C2").replace(
        b"<part-list>", b"<movement-title>&lt;b&gt; &amp; $x_1$</movement-title><part-list>")
    (folder / "needs an attachment.xml").write_bytes(titled)
    (folder / "far.xml").write_bytes(score_of("Bb2", "C3", "E2"))
    (folder / "near.xml").write_bytes(score_of("Bb2", "F3"))
    (folder / "low.xml").write_bytes(score_of("C2", "Db2", "Bb2", name="Euphonium $1$"))
    (folder / "cut.xml").write_bytes(score_of("Bb2")[:200])
    return surveyed(folder)


def svgs(page: str) -> list[etree._Element]:
    return [etree.fromstring(one) for one in re.findall(r"<svg.*?</svg>", page, re.DOTALL)]


@pytest.mark.parametrize("midi", range(40, 63))
def test_far_is_sixth_and_seventh_of_the_published_list(midi: int) -> None:
    # OEIS A309909 gives the lowest position of each semitone from E2 (40) on.
    lowest = {int(row["midi"]): int(row["position"]) for row in horn_tables.rows("oeis_a309909.csv")}
    assert slide_demand(midi) == ("far" if lowest[midi] >= 6 else "near")


def test_notes_between_the_pedals_and_e2_are_beyond() -> None:
    # OEIS A309909: no slide position gives B1 to E flat 2.
    assert [slide_demand(midi) for midi in (34, 35, 36, 37, 38, 39)] == ["far", *["beyond"] * 5]


def test_sums_behind_the_pictures(survey: Survey) -> None:
    assert pieces_by_demand(survey) == {"near": ["near.xml"], "far": ["far.xml"], "beyond": ["needs an attachment.xml"]}
    assert slide_pitches(survey) == Counter({46: 3, 38: 1, 36: 1, 48: 1, 40: 1, 53: 1})
    assert [row["file"] for row in easiest(survey)] == ["far.xml", "low.xml", "near.xml", "needs an attachment.xml"]
    saved, = savings(survey)
    assert saved.saved_cents > 0
    assert saved.plain_out >= saved.with_out


def test_page_stands_alone_and_says_every_picture_in_words(survey: Survey) -> None:
    page = survey_page(survey)
    pictures = svgs(page)
    assert len(pictures) == 4
    for picture in pictures:
        title, desc = picture.find(f"{SVG}title"), picture.find(f"{SVG}desc")
        assert title is not None
        assert title.text
        assert desc is not None
        assert len(desc.text or "") > 40
        assert picture.get("aria-labelledby") == f"{title.get('id')} {desc.get('id')}"
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    assert all(one[1:] in ids for one in re.findall(r'href="(#[^"]+)"', page))
    links = set(re.findall(r'(?:href|src|url\()="?([^#")][^")]*)', page))
    assert not links, "nothing is fetched"
    assert "<script" not in page
    assert "<b>" not in page.replace("<b></b>", "")
    assert "&lt;b&gt; &amp; $x_1$" in page
    assert "cut.xml" in page
    assert page.count('class="care"') == 1


def test_the_same_survey_gives_the_same_bytes(survey: Survey) -> None:
    assert survey_page(survey) == survey_page(survey)


def test_purchase_stands_on_the_page(survey: Survey, tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text('[[player]]\nname = "First <1>"\nhorns = ["tenor"]\nhigh = "Eb3"\n')
    page = survey_page(survey, purchase(survey, read_section(tmp_path / "s.toml")))
    assert "What would open more music" in page
    assert "First &lt;1&gt; reaches up to F3" in page
    assert "buy tenor-f" in page


def test_a_library_without_low_brass_has_a_page_too(tmp_path: Path) -> None:
    (tmp_path / "a.xml").write_bytes(score_of("C4", name="Soprano"))
    page = survey_page(surveyed(tmp_path))
    assert "No line to plan was found." in page
    assert not svgs(page)


def luminance(color: str) -> float:
    parts = [int(color[k:k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_words_and_marks_stand_out_from_white() -> None:
    # WCAG 2.2, 1.4.3 (text, 4.5 to 1) and 1.4.11 (graphics, 3 to 1); rules only help the eye along.
    for color in (INK, USUAL, FAINT):
        assert 1.05 / (luminance(color) + 0.05) >= 4.5
    assert RULE not in (INK, USUAL, FAINT)


def test_a_line_stands_on_the_horn_that_misses_fewest_of_its_notes(tmp_path: Path) -> None:
    # Both lack G0; B1 is on both valves alone (common practice, no source). To lack less is to suit better.
    (tmp_path / "deep.xml").write_bytes(score_of("G0", "Bb2", "B1", name="Bass Trombone"))
    row, = easiest(surveyed(tmp_path))
    assert (row["horn"], row["unplayable"]) == ("bass-independent", 1)
