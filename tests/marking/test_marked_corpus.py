"""Marked scores read by others: music21 and verovio find the same notes as before, and our labels.

The scores come with music21 (its corpus); lines are the lowest part of each. The plain run takes a seeded sample, the
whole takes a hundred.
"""

import random
from collections import Counter
from pathlib import Path

import pytest
from lxml import etree

from analyzer.analysis import Request, analyse
from analyzer.marking.annotate import annotated, cleared
from analyzer.marking.which import marks
from analyzer.score.document import Document, open_document, read_document
from analyzer.score.parts import find_parts
from tests.marking.test_annotate import schema as schema  # the fixture
from tests.score.known import UNREADABLE
from tests.score.suites import every_file

music21 = pytest.importorskip("music21", reason="the corpus comes with music21")
verovio = pytest.importorskip("verovio", reason="verovio is an extra")
CORPUS = Path(music21.__file__).parent / "corpus"
FILES = sorted(path for path in CORPUS.rglob("*") if path.suffix in (".mxl", ".xml", ".musicxml")
               and path.stat().st_size < 200_000)


def chosen(count: int) -> list[Path]:
    return random.Random(20).sample(FILES, count)


def heard(data: bytes) -> list[tuple[float, tuple[int, ...], float]]:
    stream = music21.converter.parseData(data, format="musicxml")
    return [(float(one.getOffsetInHierarchy(stream)), tuple(pitch.midi for pitch in one.pitches),
             float(one.quarterLength)) for one in stream.flatten().notes]


def drawn(data: str) -> int:
    toolkit = verovio.toolkit(False)
    toolkit.setResourcePath(str(Path(verovio.__file__).parent / "data"))
    toolkit.setOptions({"xmlIdSeed": 1, "breaks": "none"})
    assert toolkit.loadData(data)
    return sum(len(entry.get("on", ())) for entry in toolkit.renderToTimemap())


def check(path: Path) -> str:
    document: Document = open_document(path)
    if document.root.find(".//note/pitch") is None:
        return "no pitches"
    analysis = analyse(document, Request(parts=(document.part_ids[-1],)))
    wanted = marks(analysis.lines)
    out = annotated(document, wanted)
    after = read_document(out, path.name)
    back = read_document(cleared(after), path.name)
    assert etree.tostring(back.root, method="c14n") == etree.tostring(document.root, method="c14n")
    before_text = etree.tostring(document.root).decode()
    after_text = etree.tostring(after.root).decode()
    assert heard(before_text.encode()) == heard(after_text.encode())
    assert drawn(before_text) == drawn(after_text)
    # Players who share a note share its mark where they agree.
    labels = Counter(text for _, text in {(mark.ref, mark.text) for mark in wanted})
    stream = music21.converter.parseData(after_text.encode(), format="musicxml")
    seen = Counter(str(art.fingerNumber) for one in stream.flatten().notes for art in one.articulations
                   if isinstance(art, music21.articulations.Fingering))
    read = Counter(one.text for one in after.root.iter("fingering"))
    assert all(read[label] >= count for label, count in labels.items())
    assert sum(seen.values()) >= len({(mark.ref, mark.text) for mark in wanted if mark.playable}) * 0.99
    return "same"


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("path", chosen(6), ids=lambda path: path.name)
def test_a_sample_of_the_corpus_is_read_by_others(path: Path) -> None:
    assert check(path) in ("same", "no pitches")


@pytest.mark.whole
@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("path", chosen(100), ids=lambda path: path.name)
def test_a_hundred_of_the_corpus_are_read_by_others(path: Path) -> None:
    assert check(path) in ("same", "no pitches")


def valid_stays_valid(paths: list[Path], schema: etree.XMLSchema) -> tuple[int, list[str]]:
    """Mark the low brass of each file, else its lowest part; return how many were valid, and which are no longer."""
    before, broken = 0, []
    for path in paths:
        document = open_document(path)
        ours = tuple(part.id for part in find_parts(document)[0] if part.low_brass and document.part_measures(part.id))
        out = annotated(document, marks(analyse(document, Request(parts=ours or (document.part_ids[-1],))).lines))
        if schema.validate(document.root):
            before += 1
            if not schema.validate(read_document(out, path.name).root):
                broken.append(f"{path.name}: {schema.error_log[0]}")
    return before, broken


EVERY = [path for path in every_file() if path.name not in UNREADABLE]


def test_a_sample_stays_valid(schema: etree.XMLSchema) -> None:
    before, broken = valid_stays_valid(random.Random(8).sample([one for one in EVERY if one in FILES], 30), schema)
    assert before > 20
    assert broken == []


@pytest.mark.whole
def test_every_file_stays_valid(schema: etree.XMLSchema) -> None:
    before, broken = valid_stays_valid(EVERY, schema)
    print(f"{before} of {len(EVERY)} files valid before, {len(broken)} of them not after")
    assert before > 700
    assert broken == []
