"""A part of a hundred measures in three players' sizes, measured by poppler: as a picture, and by its words' boxes."""

import re
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

from analyzer.engrave.engrave import PageOptions, engraved_pages, engraving_copy, pages_with
from analyzer.engrave.engrave import engraved as engraved_music
from analyzer.engrave.pdf import pdf_of
from analyzer.marking.mark import Mark
from analyzer.score.document import Document
from analyzer.stave import USUAL_MM, Stave
from tests.engrave.hundred import PROFILES, hundred
from tests.engrave.scores import START, marks, note, part, score

pytest.importorskip("verovio", reason="the engraver is not installed")
pytest.importorskip("reportlab", reason="the PDF writer is not installed")
numpy = pytest.importorskip("numpy", reason="numpy is not installed")
Image = pytest.importorskip("PIL.Image", reason="pillow, which reads the picture, is not installed")
pytestmark = pytest.mark.skipif(shutil.which("pdftotext") is None or shutil.which("pdftocairo") is None,
                                reason="poppler, which measures the PDF, is not installed")
SVG = "{http://www.w3.org/2000/svg}"
DOTS = 400 / 25.4                     # a millimetre
BASE = Stave(systems=1.001)
"""The usual page, but for what is done to it alone: a little smaller, where that saves a page."""
LABELS = ("4", "1", "3", "T1", "6", "2")
ALL = [pytest.param(name, marks=() if name.startswith("dynamics") else pytest.mark.whole) for name in PROFILES]


def labelled(document: Document) -> list[Mark]:
    """A mark for every note, of the length that positions have."""
    return [replace(mark, text=LABELS[place % len(LABELS)], playable=True)
            for place, mark in enumerate(marks(document))]


@cache
def engraved(stave: Stave) -> tuple[bytes, tuple[str, ...]]:
    document = hundred()
    options = PageOptions(stave=stave)
    copy = engraving_copy(document, "P1", labelled(document), title="Study", part="Bass Trombone")
    svgs = engraved_pages(copy, options)
    return pdf_of(svgs, options), svgs


def words_of(pdf: bytes, folder: Path) -> list[list[tuple[str, float, float, float, float]]]:
    """By page: words with left, right, and the top and bottom of their ink. [points]"""
    (folder / "part.pdf").write_bytes(pdf)
    said = subprocess.run(["pdftotext", "-bbox", folder / "part.pdf", "-"], check=True, capture_output=True).stdout
    pages = []
    for page in etree.HTML(said).findall(".//page"):
        found = []
        for word in page.iter("word"):
            if word.text and not re.search("[\ue000-\uf8ff]", word.text):
                left, right, top, bottom = (float(word.get(key)) for key in ("xmin", "xmax", "ymin", "ymax"))
                em = (bottom - top) / 1.15
                found.append((word.text, left, right, top + 0.22 * em, bottom - 0.24 * em))
        pages.append(found)
    return pages


def picture(pdf: bytes, page: int, folder: Path) -> Any:
    """How dark a page is, 0 to 1, by rows of dots."""
    (folder / "part.pdf").write_bytes(pdf)
    subprocess.run(["pdftocairo", "-png", "-gray", "-r", str(25.4 * DOTS), "-f", str(page), "-l", str(page),
                    "-singlefile", folder / "part.pdf", folder / "page"], check=True)
    return 1 - numpy.asarray(Image.open(folder / "page.png")).astype(float) / 255


def staves(dark: Any) -> Iterator[tuple[float, float]]:
    """Height of each staff and weight of its lines [mm], from dots alone: rows that are dark along most of a line."""
    # Between the outermost dark dots of the page only: a part has wide margins.
    across = numpy.flatnonzero((dark > 0.3).any(axis=0))
    rows = (dark[:, across[0]:across[-1]] > 0.3).mean(axis=1)
    wide = numpy.flatnonzero(rows > 0.5)
    lines = numpy.split(wide, numpy.flatnonzero(numpy.diff(wide) > 2) + 1)
    middles = [float(line.mean()) for line in lines if len(line) < 0.7 * DOTS]         # no block of a long rest
    while len(middles) >= 5:
        five, gaps = middles[:5], numpy.diff(middles[:5])
        if gaps.max() - gaps.min() > 2:                    # a bracket or a hairpin as long: no five lines evenly apart
            del middles[0]
            continue
        del middles[:5]
        around = [dark[round(y) - 10:round(y) + 11] for y in five]
        # In most columns only the line is dark; its darkness summed is its weight, finer than a dot.
        weight = float(numpy.median([numpy.median(strip[:, strip[10] > 0.3].sum(axis=0)) for strip in around]))
        yield (five[-1] - five[0]) / DOTS, weight / DOTS


@pytest.mark.parametrize("name", ALL)
def test_sizes_in_the_picture_are_those_asked(name: str, tmp_path: Path) -> None:
    """Height of staves within 3 %; weight of lines 13.5 of 720 units of it, times what was asked, within 3 %.

    Where no weight is asked it is the engraver's, who counts in whole units: 13.
    """
    stave = PROFILES[name]
    found = list(staves(picture(engraved(stave)[0], 2, tmp_path)))
    assert len(found) >= 4
    for height, weight in found:
        assert height == pytest.approx(stave.staff_mm, rel=0.03)
        units = 13 if stave.lines == 1 else 13.5 * stave.lines
        assert weight == pytest.approx(stave.staff_mm * units / 720, rel=0.03)


@pytest.mark.parametrize("name", ALL)
def test_words_and_marks_grow_as_asked(name: str, tmp_path: Path) -> None:
    """Width of the same words on the usual page and on this one: as staff and text together, within 3 %."""
    stave = PROFILES[name]
    asked = stave.staff_mm / USUAL_MM * stave.text
    sizes = []
    for form in (BASE, stave):
        found = [word for page in words_of(engraved(form)[0], tmp_path) for word in page]
        sizes.append({text: max(right - left for said, left, right, *_ in found if said == text)
                      for text in ("cantabile", "accelerando", "mosso", "T1")})
    for text, usual in sizes[0].items():
        assert sizes[1][text] == pytest.approx(usual * asked, rel=0.03), text


@pytest.mark.parametrize("name", ALL)
def test_no_word_stands_on_another_and_none_leaves_the_page(name: str, tmp_path: Path) -> None:
    for number, page in enumerate(words_of(engraved(PROFILES[name])[0], tmp_path), 1):
        assert len(page) > 10
        for text, left, right, top, bottom in page:
            assert left > 14, (number, text)
            assert right < 595 - 14, (number, text)
            assert 10 < top < bottom < 842 - 10, (number, text)
        for a, b in combinations(page, 2):
            # A hair: figures of neighbouring sixteenths may come as near as that.
            assert a[2] <= b[1] + 0.4 or b[2] <= a[1] + 0.4 or a[4] <= b[3] or b[4] <= a[3], (number, a, b)


@pytest.mark.parametrize("name", ALL)
def test_every_mark_is_there_and_no_measure_is_alone(name: str) -> None:
    _, svgs = engraved(PROFILES[name])
    assert sum(page.count('class="mark ') for page in svgs) == len(labelled(hundred()))
    last = [group for group in etree.fromstring(svgs[-1].encode()).iter(f"{SVG}g")
            if "system" in (group.get("class") or "").split()][-1]
    assert sum("measure" in (group.get("class") or "").split() for group in last.iter(f"{SVG}g")) > 1


def test_marks_too_long_for_a_measure_give_way_before_the_staff() -> None:
    """Sixteen sixteenths with long marks: the staff that was asked stays, and the page says what came of the words."""
    document = hundred()
    options = PageOptions(stave=PROFILES["dynamics above, large text"])
    long = [replace(mark, text="TS2" if place % 2 else "T1") for place, mark in enumerate(labelled(document))]
    done = engraved_music(engraving_copy(document, "P1", long), options)
    assert done.staff_mm == options.stave.staff_mm
    foot = " ".join(" ".join(etree.fromstring(pages_with(done, engraving_copy(document, "P1", long))[0].encode())
                             .itertext()).split())
    told = re.search(r"Words and marks ([\d.]+) times as large as usual, not 1.6:", foot)
    assert told is not None
    assert 1 <= float(told[1]) < 1.6


def test_a_long_rest_has_its_width_behind_a_change_of_key_and_time() -> None:
    """Each in an element of its own, as some programs write them; the engraver drew the rest without any width."""
    waltz = ("<attributes><key><fifths>2</fifths></key></attributes>"
             "<attributes><time><beats>3</beats><beat-type>4</beat-type></time></attributes>")
    bar = "".join(note("D3", 4, "quarter") for _ in range(3))
    empty = "<note><rest measure='yes'/><duration>12</duration><voice>1</voice></note>"
    document = score(part([START + bar + note("D3", 4, "quarter"), waltz + bar, *[empty] * 6, bar]))
    page = etree.fromstring(engraved_pages(engraving_copy(document, "P1", ()), PageOptions())[0].encode())
    widths = [float(rect.get("width")) for group in page.iter(f"{SVG}g") if "multiRest" in (group.get("class") or "")
              for rect in group.iter(f"{SVG}rect")]
    assert max(widths, default=0) > 540                    # three spaces of 180 units


def test_a_metronome_mark_keeps_off_the_words_before_it() -> None:
    tempo = ("<direction placement='above'><direction-type><words>Tempo I</words></direction-type><direction-type>"
             "<metronome><beat-unit>quarter</beat-unit><per-minute>96</per-minute></metronome></direction-type>"
             "</direction>")
    document = score(part([START + tempo + note("D3", 16, "whole")]))
    assert "Tempo I\u00a0\u00a0</words>" in engraving_copy(document, "P1", ()).musicxml


def test_a_part_without_marks_has_its_players_sizes_too(tmp_path: Path) -> None:
    """`write --no-marks`: the words are as much larger as the player file says."""
    from click.testing import CliRunner

    from analyzer.commands.write import command

    (tmp_path / "part.musicxml").write_bytes(hundred().xml)
    (tmp_path / "player.toml").write_text("[player]\n[stave]\nstaff_mm = 9\ntext = 1.5\n", encoding="utf-8")
    sizes = []
    for more in ((), ("--player", str(tmp_path / "player.toml"))):
        done = CliRunner().invoke(command, [
            str(tmp_path / "part.musicxml"), "--part", "P1", "--for", "tenor-f", "--no-marks", *more,
            "-o", str(tmp_path / "out.pdf")])
        assert (tmp_path / "out.pdf").exists(), done.output
        words = [word for page in words_of((tmp_path / "out.pdf").read_bytes(), tmp_path) for word in page]
        sizes.append(max(right - left for text, left, right, *_ in words if text == "accelerando"))
    # A little smaller may be what saves a page of the usual size.
    assert sizes[1] / sizes[0] == pytest.approx(9 / 7.2 * 1.5, rel=0.1)


def test_a_drill_sheet_has_its_players_staves(tmp_path: Path) -> None:
    from click.testing import CliRunner

    from analyzer.commands.drill import command

    pytest.importorskip("music21", reason="music21, which the drills are built with, is not installed")
    score_file = Path(__file__).parents[2] / "sample_scores" / "attachment-etude.musicxml"
    (tmp_path / "player.toml").write_text("[player]\n[stave]\nstaff_mm = 11\nlines = 1.5\n", encoding="utf-8")
    done = CliRunner().invoke(command, [str(score_file), "--player", str(tmp_path / "player.toml"),
                                        "-o", str(tmp_path / "drill.pdf")])
    assert (tmp_path / "drill.pdf").exists(), done.output
    found = list(staves(picture((tmp_path / "drill.pdf").read_bytes(), 1, tmp_path)))
    assert len(found) >= 2
    for height, weight in found:
        assert height == pytest.approx(11, rel=0.03)
        assert weight == pytest.approx(11 * 13.5 / 720 * 1.5, rel=0.03)
