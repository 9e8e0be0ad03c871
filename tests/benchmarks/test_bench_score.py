"""How long reading and writing scores takes, against parsers and toolkits that read the same bytes.

Print the table (Markdown)::

    python -m tests.benchmarks score
"""

import importlib.util
import tempfile
import warnings
import zipfile
from collections.abc import Callable, Iterator
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
from tests.benchmarks.measuring import Figure, compared, grown

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


def peers(path: Path) -> dict[str, Callable[[], object]]:
    """Return what else reads a score, as far as it is installed."""
    found: dict[str, Callable[[], object]] = {}
    if importlib.util.find_spec("music21"):
        import music21

        found["music21 parse"] = lambda: music21.converter.parse(path, forceSource=True)
    if importlib.util.find_spec("partitura"):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            import partitura

        def load() -> object:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                return partitura.load_musicxml(path)

        found["partitura load"] = load
    return found


@cache
def figures() -> tuple[Figure, ...]:
    data = making.orchestra(MEASURES)
    what = f"read all 17 parts, {MEASURES} measures, {len(data) / 1e6:.1f} MB"
    found = [compared(f"{what} / lxml parse", lambda: read_all(data), lambda: etree.fromstring(data), 20)]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "score.musicxml"
        path.write_bytes(data)
        # Our own way to the file counts too, as theirs does.
        found += [compared(f"{what} / {name}", lambda: read_all(path.read_bytes()), peer, 1 / 3, repeats=3)
                  for name, peer in peers(path).items()]
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
