"""The printed part: its head, the tempo that was asked for, and the one sheet of hard spots behind it."""

import importlib.util
import io
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from analyzer.analysis import Analysis, Request, analyse
from analyzer.engrave.fonts import FIGURE_EM
from analyzer.engrave.marks import MARK_SIZE
from analyzer.report.map.hard_spots import hard_sheet, spots_of
from analyzer.report.map.pages import PageChoices, page_file
from analyzer.report.map.printed import head_of, tempo_of
from analyzer.score.document import open_document

SAMPLES = sorted((Path(__file__).parents[2] / "sample_scores").glob("*.m*l"))
ETUDE = next(path for path in SAMPLES if "etude" in path.name)
pytestmark = pytest.mark.skipif(
    any(importlib.util.find_spec(name) is None for name in ("verovio", "fontTools", "reportlab", "pypdf")),
    reason="the engraver or pypdf is not installed (pip install lowbrass[test])")


def planned(path: Path, **more: object) -> Analysis:
    return analyse(open_document(path), Request(**more))  # type: ignore[arg-type]


def pages_of(pdf: bytes) -> list[str]:
    from pypdf import PdfReader

    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages]


def test_figures_are_high_enough_to_be_read_from_a_stand() -> None:
    """0.003 radians at 75 cm, 2.25 mm: "Letter Size and Legibility", Human Factors 21(6), 1979. A staff is 7.2 mm."""
    assert pytest.approx(2.6, abs=0.02) == MARK_SIZE * FIGURE_EM / 720 * 7.2


def test_the_tempo_asked_for_is_printed_beside_that_of_the_score() -> None:
    (one,) = planned(ETUDE, tempo_bpm=84.0).lines
    assert tempo_of(one) == ("\ueca5 = 84 (score: 56)", True)
    assert tempo_of(planned(ETUDE).lines[0]) == ("", False)
    first = pages_of(page_file(planned(ETUDE, tempo_bpm=84.0), ".pdf"))[0]
    # Later metronome marks do not hold, their words stay.
    assert "= 84 (score: 56)" in first
    assert "Con moto" in first
    assert "= 66" not in first


def test_a_tempo_that_the_score_has_too_is_told_only_where_later_marks_do_not_hold() -> None:
    (one,) = planned(ETUDE, tempo_bpm=56.0).lines
    assert tempo_of(one) == ("\ueca5 = 56 throughout", True)
    assert "= 66" not in "".join(pages_of(page_file(planned(ETUDE, tempo_bpm=56.0), ".pdf")))


def test_a_tempo_that_was_supposed_says_so(tmp_path: Path) -> None:
    text = ETUDE.read_text(encoding="utf-8")
    bare = re.sub(r"<metronome.*?</metronome>", "<words>.</words>", re.sub(r"<sound[^>]*tempo[^>]*/>", "", text),
                  flags=re.DOTALL)
    bare = bare.replace("Adagio", "x").replace("Con moto", "y")
    path = tmp_path / "silent.musicxml"
    path.write_text(bare, encoding="utf-8")
    (one,) = planned(path).lines
    words, throughout = tempo_of(one)
    assert re.fullmatch("\\(\ueca5 = \\d+ supposed\\)", words)
    assert not throughout


def test_a_part_without_a_title_has_the_name_of_its_file_and_says_so(tmp_path: Path) -> None:
    path = tmp_path / "evening.musicxml"
    path.write_text(ETUDE.read_text(encoding="utf-8").replace("<work-title>Attachment Etude</work-title>", ""),
                    encoding="utf-8")
    analysis = planned(path)
    head = head_of(analysis.document, analysis.lines[0])
    assert head.title == "evening"
    assert "file's name" in head.below


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.name)
def test_a_part_is_its_music_and_one_sheet(path: Path) -> None:
    """At most 1.3 times the pages of the bare music, and one sheet; each sample is engraved bare beside it."""
    from dataclasses import replace

    from analyzer.engrave.layout import laid_out
    from analyzer.engrave.options import PageOptions
    from analyzer.report.map.printed import part_copy

    analysis = planned(path)
    pages = pages_of(page_file(analysis, ".pdf"))
    bare = [len(laid_out(replace(part_copy(analysis, one, "all"), marks=()), PageOptions(), 0).sheets)
            for one in analysis.lines]
    sheets = sum(page.startswith("Hard spots") for page in pages)
    assert sheets <= len(analysis.lines)
    assert len(pages) - sheets <= sum(max(count + 1 if count < 4 else 1.3 * count, count) for count in bare)
    assert len(pages_of(page_file(analysis, ".pdf", PageChoices(pictures="all")))) > len(pages)


def test_no_line_of_the_sheet_is_under_eight_points(tmp_path: Path) -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler-utils) is not installed")
    from analyzer.engrave.pdf import pdf_of

    analysis = planned(ETUDE)
    sheet = hard_sheet(analysis, analysis.lines[0], (210.0, 297.0))
    assert sheet is not None
    sizes = [float(size) * 72 / 25.4 / 3.5 for size in re.findall(r'font-size="([\d.]+)"', sheet)]
    assert min(sizes) >= 8
    path = tmp_path / "sheet.pdf"
    path.write_bytes(pdf_of([sheet]))
    said = subprocess.run(["pdftotext", str(path), "-"], capture_output=True, check=True).stdout.decode()
    for needed in ("Why:", "Try:", "Tempo:", "m. 13"):
        assert needed in said


def test_spots_tell_the_tempo_at_which_they_stop() -> None:
    """The étude's top tempo is told by the plan; the hardest spot stops there or a little above (its own step)."""
    (one,) = planned(ETUDE).lines
    spots = spots_of(one)
    assert 3 <= len(spots) <= 5
    assert all(spot.last - spot.first <= 1 for spot in spots)
    shown = [measure for spot in spots for measure in range(spot.first, spot.last + 1)]
    assert len(shown) == len(set(shown))
    worst = dict(spots[0].told)["Tempo"]
    stops = float(re.search(r"(?:up to|stops at) about \D*(\d+)", worst)[1])
    _, ceiling = one.plan.ceiling_in_beats
    assert ceiling is not None
    assert stops <= ceiling + 1
