"""What pages take against bare verovio engraving the same music.

Print the tables (Markdown; three minutes)::

    python -m tests.benchmarks.test_bench_report

The rows of pages are whole commands: processor time of all processes, the engraver's among them, on top of what the
plan alone takes, and beyond what both sides take for a score of two measures. Bare verovio gets the score as it is, in
the same face and in lines of the same width: a screen's for .svg and .html, A4 for .pdf. It puts no mark under a note,
draws no slide, and engraves once where the .html has the part twice, for a phone and for a laptop or paper; so it is
nobody's peer, but what it takes is the least that a page can. The fair peer of a marked part is verovio with the labels
as lyrics.
"""

import json
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path

import pytest
from lxml import etree

from analyzer import serving
from analyzer.analysis import Analysis, Request, analyse
from analyzer.engrave.copy import engraving_copy
from analyzer.engrave.engrave import PageOptions, engraved_pages, pages_with, systems_with
from analyzer.engrave.fonts import style_sheet
from analyzer.engrave.layout import laid_out
from analyzer.engrave.pdf import pdf_of
from analyzer.marking.which import marks
from analyzer.picture.picture import NARROW, WIDE, pictures_of
from analyzer.report.map.pages import sheets_of
from analyzer.score.document import read_document
from tests.benchmarks import making
from tests.benchmarks.measuring import Figure, shown_s, table
from tests.benchmarks.test_bench_command import least_s

REPEATS, ROUNDS = 5, 5
BOUNDS = {".svg": 2.4, ".pdf": 3.0, ".html": 4.5}
"""What is held on a busy machine, too; aimed at is 1.5 for each."""
SHORT_BOUNDS = {".svg": 3.5, ".pdf": 5.5, ".html": 3.5}
"""A page of two measures, on top of its plan, against a process that does nothing but load verovio and engrave them."""
LYRICS_BOUND = 1.3
_SCREEN = {"pageWidth": 1800, "pageHeight": 60000, "adjustPageHeight": True}
LINES: dict[str, dict[str, float]] = {".svg": _SCREEN, ".pdf": {}, ".html": _SCREEN}
"""Width of the lines of each form in verovio's options; its own pages are A4."""
BARE = """
import json, sys, verovio
from pathlib import Path
toolkit = verovio.toolkit(False)
toolkit.setResourcePath(str(Path(verovio.__file__).parent / "data"))
toolkit.setOptions(json.loads(sys.argv[2]))
assert toolkit.loadData(Path(sys.argv[1]).read_text(encoding="utf-8"))
for page in range(1, toolkit.getPageCount() + 1):
    Path(sys.argv[1] + ".bare.svg").write_text(toolkit.renderToSVG(page), encoding="utf-8")
"""


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
    before = serving.active
    serving.active = True
    try:
        yield
    finally:
        serving.active = before


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


@cache
def figures() -> tuple[Figure, ...]:
    """Rows of the table: long pages beyond everybody's start, pages of two measures, marks against lyrics."""
    with tempfile.TemporaryDirectory() as folder:
        scores = [Path(folder) / "study.musicxml", Path(folder) / "start.musicxml"]
        for score, measures in zip(scores, (200, 2), strict=True):
            score.write_bytes(making.study(measures))
        forms = [json.dumps(options) for options in (_SCREEN, {})]
        found = least_s([command for score in map(str, scores) for command in (
            ("-m", "analyzer", "map", score), *(("-c", BARE, score, form) for form in forms),
            *(("-m", "analyzer", "map", score, "-o", f"{score}{ending}") for ending in BOUNDS))], ROUNDS)
    (plan, *long), (start_plan, *start) = found[:6], found[6:]
    rows = []
    for nth, (ending, limit) in enumerate(BOUNDS.items(), 2):
        peer = forms.index(json.dumps(LINES[ending]))
        ours, theirs = long[nth] - plan - (start[nth] - start_plan), long[peer] - start[peer]
        rows.append(Figure(what=f"page of 1,600 notes, {ending}, on top of its plan, beyond the start / bare verovio, "
                           f"beyond {shown_s(start[peer])}", ours=shown_s(ours), theirs=shown_s(theirs),
                           value=ours / theirs, limit=limit))
    for nth, (ending, limit) in enumerate(SHORT_BOUNDS.items(), 2):
        ours, theirs = start[nth] - start_plan, start[forms.index(json.dumps(LINES[ending]))]
        rows.append(Figure(what=f"page of two measures, {ending}, on top of its plan of {shown_s(start_plan)} / "
                           "verovio loaded, two measures engraved", ours=shown_s(ours), theirs=shown_s(theirs),
                           value=ours / theirs, limit=limit))
    marked, labelled = lyrics()
    return (*rows, Figure(what="the part with our marks, .svg / verovio with the same labels as lyrics",
                          ours=shown_s(marked), theirs=shown_s(labelled), value=marked / labelled, limit=LYRICS_BOUND))


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


def shares() -> str:
    """Return where the time goes as a table, against bare verovio."""
    found = parts()
    return "\n".join(["| part of it | time | ratio |", "| --- | ---: | ---: |", *(
        f"| {name} | {shown_s(took)} | {took / found[0][1]:.2f} |" for name, took in found)])


@pytest.mark.benchmark_suite
def test_pages_stay_near_their_engraver() -> None:
    assert [figure.row() for figure in figures() if figure.value > figure.limit] == []


if __name__ == "__main__":
    print(f"{table(figures())}\n\n{shares()}")
