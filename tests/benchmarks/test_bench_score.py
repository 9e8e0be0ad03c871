"""How long reading and writing scores takes, against parsers and toolkits that read the same bytes.

Print the table (Markdown)::

    python -m tests.benchmarks score
"""

import importlib.util
import tempfile
import zipfile
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from lxml import etree

from analyzer.analysis import Request, analyse
from analyzer.marking.annotate import annotated
from analyzer.marking.which import marks
from analyzer.score.document import read_document, read_score
from analyzer.score.parts import find_parts
from analyzer.selection import part_lines
from tests.benchmarks import making
from tests.benchmarks.measuring import Figure, compared, grown, process, shown_s, side_by_side

FORMS = Path(__file__).parents[1] / "score" / "forms"
MEASURES = 60
SIZES = (26, 50, 100, 200, 400)
PARTS = (4, 8, 16, 32)


def other_forms() -> Iterator[tuple[str, bytes, float]]:
    """Yield name, bytes and limit of one score in the other forms that have a reader of their own.

    They are read as what they become, so each is parsed twice and written once; notes are few beside the names here.
    """
    with zipfile.ZipFile(FORMS / "brass-band-hymn-3.mscz") as archive:
        yield ".mscx", archive.read("brass-band-hymn.mscx"), 75
    if importlib.util.find_spec("verovio"):
        import verovio

        toolkit = verovio.toolkit()
        toolkit.setInputFrom("musicxml")
        toolkit.loadData((FORMS.parents[2] / "sample_scores" / "brass-band-hymn.musicxml").read_text(encoding="utf-8"))
        yield ".mei", str(toolkit.getMEI({"scoreBased": True, "pageNo": 0})).encode(), 50


def read_all(data: bytes, name: str = "score.musicxml") -> int:
    """Read every part of a score into its players' lines; return how many notes there are."""
    document = read_score(data, name)
    return sum(len(line.notes) for part in find_parts(document)[0] for line in part_lines(document, part)[0])


# Each in a process of its own, timed when all is loaded: beside the peers' many objects in one process Python looks
# for rubbish among theirs while we work, and among ours while they do.
TIMED = ("import sys, time, warnings; warnings.simplefilter('ignore'); {}; t = time.process_time(); {}; "
         "print(time.process_time() - t)")
OURS = TIMED.format("from pathlib import Path; from tests.benchmarks.test_bench_score import read_all",
                    "read_all(Path(sys.argv[1]).read_bytes())")
PEERS = {"music21 parse": ("music21", TIMED.format("import music21",
                                                   "music21.converter.parse(sys.argv[1], forceSource=True)")),
         "partitura load": ("partitura", TIMED.format("import partitura", "partitura.load_musicxml(sys.argv[1])"))}


def against_readers(what: str, data: bytes, limit: float) -> Iterator[Figure]:
    """Compare reading a file with what else reads it, as far as it is installed."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "score.musicxml"
        path.write_bytes(data)
        for name, (module, theirs) in PEERS.items():
            if importlib.util.find_spec(module):
                mine, other, ratio = side_by_side(lambda: float(process("-c", OURS, str(path)).split()[-1]),
                                                  lambda code=theirs: float(process("-c", code, str(path)).split()[-1]),
                                                  repeats=3)
                yield Figure(what=f"{what} / {name}, each in a process of its own", ours=shown_s(mine),
                             theirs=shown_s(other), value=ratio, limit=limit)


@cache
def figures() -> tuple[Figure, ...]:
    data = making.orchestra(MEASURES)
    what = f"read all 17 parts, {MEASURES} measures, {len(data) / 1e6:.1f} MB"
    found = [compared(f"{what} / lxml parse", lambda: read_all(data), lambda: etree.fromstring(data), 20)]
    found += against_readers(what, data, 1 / 3)
    study = analyse(read_document(making.study(), "study.musicxml"), Request())
    wanted = marks(study.lines)
    found.append(compared(
        "mark 1,600 notes in their file / lxml parse and write of the same file",
        lambda: annotated(study.document, wanted),
        lambda: etree.tostring(etree.fromstring(study.document.xml)), 4))
    found += [compared(f"read a hymn of eight parts from {name} / lxml parse",
                       lambda data=data, name=name: read_all(data, name),
                       lambda data=data: etree.fromstring(data), limit)
              for name, data, limit in other_forms()]
    studies = [making.study(measures) for measures in SIZES]
    scores = [making.score(tuple(f"Trombone {k}" for k in range(1, parts + 1)), 10) for parts in PARTS]
    found += [grown("reading ~ notes ^ x", [8 * one for one in SIZES],
                    [lambda one=one: read_all(one) for one in studies], 1.15),
              grown("reading ~ parts ^ x", PARTS, [lambda one=one: read_all(one) for one in scores], 1.2)]
    return tuple(found)


def test_every_note_is_read() -> None:
    assert read_all(making.study(20)) == 160
    assert len({read_all(data, name) for name, data, _ in other_forms()}) == 1


@pytest.mark.benchmark_suite
def test_ratios_are_within_their_limits() -> None:
    for figure in figures():
        print(f"\n{figure.row()}")
    assert [figure.what for figure in figures() if figure.value > figure.limit] == []
