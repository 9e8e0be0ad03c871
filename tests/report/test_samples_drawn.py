"""Every sample, every line of it, engraved for phone, laptop and paper and looked at in a real browser."""

from pathlib import Path

import pytest

from analyzer.analysis import Request, analyse
from analyzer.engrave.copy import engraving_copy
from analyzer.engrave.engrave import PageOptions, engraved_pages
from analyzer.marking.which import marks
from analyzer.report.map.printed import part_copy
from analyzer.score.document import open_document
from tests.engrave.test_engrave import measured

pytest.importorskip("verovio", reason="the engraver is not installed (pip install lowbrass[engrave])")

SAMPLES = sorted((Path(__file__).parents[2] / "sample_scores").glob("*.m*l"))
FORMS = {
    "phone": PageOptions(paper="screen", width_px=360), "small-phone": PageOptions(paper="screen", width_px=320),
    "laptop": PageOptions(paper="screen", width_px=900), "a4": PageOptions(), "letter": PageOptions(paper="letter"),
    "a4-large": PageOptions(large_print=True),
    "phone-large": PageOptions(paper="screen", width_px=360, large_print=True),
}


def look(form: str, paths: list[Path], folder: Path) -> None:
    svgs: list[str] = []
    wanted = 0
    for path in paths:
        analysis = analyse(open_document(path), Request())
        # Each line alone, and for a part of several players all its lines under one staff.
        shown = [[one] for one in analysis.lines]
        shown += [same for part in dict.fromkeys(one.part.id for one in analysis.lines)
                  if len(same := [one for one in analysis.lines if one.part.id == part]) > 1]
        for lines in shown:
            found = marks(lines)
            wanted += len(found)
            svgs += engraved_pages(engraving_copy(analysis.document, lines[0].part.id, found, title=path.stem,
                                                  subtitle=lines[0].plan.horn.description), FORMS[form])
    assert svgs
    result = measured(svgs, folder)
    assert result["marks"] == wanted
    assert result["touching"] == []
    assert result["cut"] == []


def test_nothing_touches_a_mark_on_a_phone(tmp_path: Path) -> None:
    look("phone", [path for path in SAMPLES if path.stem == "quiet-chorale-trombones"], tmp_path)


@pytest.mark.parametrize("name", [
    "harbour-march-trio", pytest.param("attachment-etude", marks=pytest.mark.whole),
    pytest.param("brass-band-hymn", marks=pytest.mark.whole), pytest.param("deep-water-bass-trombone",
                                                                           marks=pytest.mark.whole)])
def test_nothing_touches_a_mark_on_a_printed_part(name: str, tmp_path: Path) -> None:
    analysis = analyse(open_document(next(path for path in SAMPLES if path.stem == name)), Request(tempo_bpm=72.0))
    svgs = [page for one in analysis.lines for page in engraved_pages(part_copy(analysis, one, "all"))]
    result = measured(svgs, tmp_path)
    assert result["marks"] == sum(len(one.plan.notes) for one in analysis.lines)
    assert result["touching"] == []
    assert result["cut"] == []


@pytest.mark.whole
@pytest.mark.parametrize("form", FORMS)
def test_nothing_touches_a_mark_in_any_sample(form: str, tmp_path: Path) -> None:
    look(form, SAMPLES, tmp_path)
