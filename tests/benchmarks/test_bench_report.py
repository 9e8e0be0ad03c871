"""How long pages take against bare verovio engraving the same music.

Print the tables (Markdown)::

    python -m tests.benchmarks.test_bench_report

Ratios of one paired run; the bounds, asserted under the marker ``benchmark_suite``, say when something has gone wrong.
The report holds the part engraved twice, for a phone and for a laptop or paper, so that it cannot come near one bare
engraving; bare verovio puts no mark under a note. The fair peer of a marked part is verovio with the labels as lyrics.
"""

import statistics
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from lxml import etree

from analyzer import guard
from analyzer.analysis import Analysis, Request, analyse
from analyzer.engrave.copy import engraving_copy
from analyzer.engrave.engrave import PageOptions, engraved_pages, pages_with, systems_with
from analyzer.engrave.fonts import style_sheet
from analyzer.engrave.layout import laid_out
from analyzer.engrave.pdf import pdf_of
from analyzer.marking.which import marks
from analyzer.picture.picture import NARROW, WIDE, pictures_of
from analyzer.report.map.pages import page_file, sheets_of
from analyzer.score.document import read_document
from tests.benchmarks import making

REPEATS = 5
ENDINGS = (".svg", ".pdf", ".html")
BOUNDS = (4.0, 6.5, 8.5)
LYRICS_BOUND = 2.2
"""All with the engraver's own time on both sides."""


def seconds(work: Callable[[], object], before: Callable[[], object] = lambda: None) -> float:
    """Median processor time of some runs, each after `before`, which is not counted."""
    times = []
    for _ in range(REPEATS + 1):
        before()
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return statistics.median(times[1:])


@contextmanager
def engraved_here() -> Iterator[None]:
    """Let the engraver work in this process, as its peer does: a worker's processor time would not be counted."""
    before = guard._serving
    guard._serving = True
    try:
        yield
    finally:
        guard._serving = before


def bare(data: bytes, options: dict[str, float] | None = None) -> None:
    import verovio

    toolkit = verovio.toolkit(False)
    toolkit.setResourcePath(str(Path(verovio.__file__).parent / "data"))
    toolkit.setOptions(options or {})
    assert toolkit.loadData(data.decode())
    for page in range(1, toolkit.getPageCount() + 1):
        toolkit.renderToSVG(page)


def with_lyrics(data: bytes, analysis: Analysis) -> bytes:
    """Write the plan's labels below the notes as lyrics, the engraver's own way to a clear row under a staff."""
    root = etree.fromstring(data)
    notes = list(root.iter("note"))
    for mark in marks(analysis.lines):
        lyric = etree.SubElement(notes[mark.ref], "lyric")
        etree.SubElement(lyric, "syllabic").text = "single"
        etree.SubElement(lyric, "text").text = mark.text
    return etree.tostring(root)


def lyrics() -> tuple[float, float]:
    """Seconds of the part with our marks, and of the engraver with the same labels as lyrics."""
    data, analysis = study()
    one, document = analysis.lines[0], analysis.document
    labelled, sizes = with_lyrics(data, analysis), {"lyricSize": 3.6, "lyricWordSpace": 2.0}

    def ours() -> None:
        engraved_pages(engraving_copy(document, one.part.id, marks([one])), PageOptions(paper="screen"))

    with engraved_here():
        return seconds(ours, document.memo.clear), seconds(lambda: bare(labelled, sizes))


def study() -> tuple[bytes, Analysis]:
    data = making.study(200)
    return data, analyse(read_document(data, "study.musicxml"), Request())


def figures() -> list[tuple[str, float, float]]:
    """Ending, our seconds, the peer's in the same minute."""
    data, analysis = study()
    found = []
    for ending in ENDINGS:
        peer = seconds(lambda: bare(data))
        with engraved_here():
            ours = seconds(lambda ending=ending: page_file(analysis, ending), analysis.document.memo.clear)
        found.append((ending, ours, peer))
    return found


def parts() -> list[tuple[str, float]]:
    """Where the time of the three files goes. [s]"""
    data, analysis = study()
    one, document = analysis.lines[0], analysis.document
    copy = engraving_copy(document, one.part.id, marks([one]), title="Study")
    wide = PageOptions(paper="screen", embed_fonts=False)
    narrow, sheet = PageOptions(paper="screen", width_px=360, embed_fonts=False), PageOptions()
    made = {options: laid_out(copy, options, 1) for options in (wide, narrow, sheet)}
    pages = pages_with(made[sheet], copy)
    drawn = sheets_of(one, sheet.size_mm)
    return [
        ("bare verovio", seconds(lambda: bare(data))),
        ("copy of the part for the engraver", seconds(
            lambda: engraving_copy(document, one.part.id), document.memo.clear)),
        ("engraved for a laptop", seconds(lambda: laid_out(copy, wide, 1))),
        ("engraved for a phone", seconds(lambda: laid_out(copy, narrow, 1))),
        ("engraved for A4", seconds(lambda: laid_out(copy, sheet, 1))),
        ("marks drawn into it", seconds(lambda: systems_with(made[wide], copy))),
        ("faces, once a process", seconds(lambda: style_sheet({"bold": "12"}))),
        ("pictures for a laptop", seconds(lambda: pictures_of(one, width=WIDE))),
        ("pictures for a phone", seconds(lambda: pictures_of(one, width=NARROW))),
        ("music painted into the PDF", seconds(lambda: pdf_of(pages))),
        ("pictures painted into the PDF", seconds(lambda: pdf_of(drawn))),
    ]


def table() -> str:
    pages = [f"| {ending} | {ours * 1000:.0f} ms | {peer * 1000:.0f} ms | {ours / peer:.2f} |"
             for ending, ours, peer in figures()]
    shares = parts()
    shared = [f"| {name} | {took * 1000:.0f} ms | {took / shares[0][1]:.2f} |" for name, took in shares]
    return "\n".join([
        "| page of 1,600 notes | ours | bare verovio | ratio |", "| --- | ---: | ---: | ---: |", *pages, "",
        "| part of it | time | ratio |", "| --- | ---: | ---: |", *shared])


@pytest.mark.benchmark_suite
def test_pages_stay_near_their_engraver() -> None:
    for (ending, ours, peer), bound in zip(figures(), BOUNDS, strict=True):
        assert ours / peer < bound, ending


@pytest.mark.benchmark_suite
def test_our_marks_cost_no_more_than_lyrics() -> None:
    ours, theirs = lyrics()
    assert ours / theirs < LYRICS_BOUND


if __name__ == "__main__":
    print(table())
