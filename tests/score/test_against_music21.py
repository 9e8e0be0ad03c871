"""Files of other projects read by two libraries; a seeded sample here, all of them with the marker `whole`.

`python -m tests.score.suites` prints what the whole amounts to.
"""

from importlib.util import find_spec
from pathlib import Path

import pytest
from lxml import etree

from analyzer.problem import Unreadable
from tests.score.known import DIFFERENT, UNREADABLE
from tests.score.second_reading import compare
from tests.score.suites import Suite, sample, suites

music21 = pytest.importorskip("music21", reason="music21, the second reading, is not installed")

SUITES = suites()
LILYPOND, CORPUS, *OTHERS = SUITES


def test_there_are_files() -> None:
    assert len(CORPUS.files) > 550
    assert len(LILYPOND.files) > 130


def _check(path: Path) -> None:
    if path.name in UNREADABLE:
        with pytest.raises(Unreadable):
            compare(path)
        return
    found = compare(path)
    assert not found.peer_error
    if path.name in DIFFERENT:
        assert found.where, f"{path.name} no longer differs; take it off the list"
    else:
        assert found.where == ()


@pytest.mark.parametrize("path", LILYPOND.files, ids=lambda path: path.name)
def test_lilypond_suite(path: Path) -> None:
    _check(path)


@pytest.mark.parametrize("path", sample(CORPUS.files, 12, 20261125), ids=lambda path: f"{path.parent.name}/{path.name}")
def test_sample_of_the_corpus(path: Path) -> None:
    _check(path)


@pytest.mark.parametrize("suite", OTHERS, ids=lambda suite: suite.name)
def test_sample_of_the_others(suite: Suite) -> None:
    if not suite.files:
        pytest.skip(f"the package {suite.package}, which ships these scores, is not installed")
    for path in sample(suite.files, 6, 4, most_bytes=60_000):
        _check(path)


@pytest.mark.whole
@pytest.mark.parametrize("path", [path for suite in SUITES[1:] for path in suite.files],
                         ids=lambda path: f"{path.parent.name}/{path.name}")
def test_every_file(path: Path) -> None:
    _check(path)


def test_what_decides_a_difference_stands_in_the_standard() -> None:
    package = find_spec("musicxml")
    if package is None or package.origin is None:
        pytest.skip("the package musicxml, which carries the MusicXML 4.0 schema, is not installed")
    schema = etree.parse(Path(package.origin).parent / "generate_classes" / "musicxml_4_0.xsd")
    space = "{http://www.w3.org/2001/XMLSchema}"
    said: dict[str, str] = {}
    for element in schema.iter(f"{space}element", f"{space}complexType", f"{space}group"):
        text = element.findtext(f"{space}annotation/{space}documentation") or ""
        said[element.get("name", "")] = said.get(element.get("name", ""), "") + " ".join(text.split())
    for name, known in DIFFERENT.items():
        assert known.says.lower() in said[known.element].lower(), name
