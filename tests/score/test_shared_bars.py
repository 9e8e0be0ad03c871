"""Repeats and endings that a file has in its first part only hold for all parts.

MusicXML 4.0, ending: "The print-object attribute is used to indicate when an ending is present but not printed, as is
often the case for many parts in a full score"; so a whole file has them in every part, and the same file without them
in the others must be played as the whole one.
"""

import re
from pathlib import Path

import pytest

from analyzer.analysis import Request, analyse
from analyzer.marking.annotate import annotated, cleared
from analyzer.marking.which import marks
from analyzer.score.document import Document, read_document
from analyzer.score.reader import read_part
from analyzer.writing.alone import line_alone

MARCH = Path("sample_scores/harbour-march-trio.musicxml").read_bytes()
PART = re.compile(rb'<part id="[^"]*">.*?</part>', re.DOTALL)


def stripped(xml: bytes, *kinds: bytes, parts: slice = slice(1, None)) -> bytes:
    """Return the score without these elements in all parts but the first."""
    inner = b"|".join(kinds)
    for music in PART.findall(xml)[parts]:
        without = re.sub(rb"<(?:%s)\b[^>]*?(?:/>|>[^<]*</(?:%s)>)" % (inner, inner), b"", music)
        xml = xml.replace(music, re.sub(rb"<barline[^>]*>\s*</barline>", b"", without))
    return xml


def timewise(xml: bytes) -> bytes:
    """Return the score turned: measures outside, parts inside."""
    names = re.findall(rb'<part id="([^"]*)">', xml)
    measures = [re.findall(rb'<measure number="([^"]*)"[^>]*>(.*?)</measure>', music, re.DOTALL)
                for music in PART.findall(xml)]
    body = b"".join(b'<measure number="%s">%s</measure>' % (column[0][0], b"".join(
        b'<part id="%s">%s</part>' % (name, inner) for name, (_, inner) in zip(names, column, strict=True)))
        for column in zip(*measures, strict=True))
    head = xml[:xml.index(b"<part id=")].replace(b"score-partwise", b"score-timewise")
    return re.sub(rb"<!DOCTYPE[^>]*>", b"", head) + body + b"</score-timewise>"


def jumps(document: Document) -> list[object]:
    return [read_part(document, part_id)[0].jumps for part_id in document.part_ids]


@pytest.mark.parametrize("kinds", [(b"repeat", b"ending"), (b"ending",), (b"repeat",)])
@pytest.mark.parametrize("turned", [False, True], ids=["partwise", "timewise"])
def test_every_part_is_played_as_in_the_whole_file(kinds: tuple[bytes, ...], turned: bool) -> None:
    whole, poor = read_document(MARCH, "a.xml"), stripped(MARCH, *kinds)
    assert all(poor.count(b"<" + kind) < MARCH.count(b"<" + kind) for kind in kinds)
    read = read_document(timewise(poor) if turned else poor, "a.xml")
    assert jumps(read) == jumps(whole)
    assert len(jumps(read)[-1]) > 1
    assert read.bars_from == dict.fromkeys(whole.part_ids[1:], whole.part_ids[0])
    assert whole.bars_from == {}


def test_it_is_said_beside_the_answer() -> None:
    found = analyse(read_document(stripped(MARCH, b"repeat", b"ending"), "a.xml"), Request())
    said = [[one.line() for one in line.assumptions if "lacks them" in one.source] for line in found.lines]
    assert said
    assert all(len(one) == 1 and one[0].startswith("Repeats: those of ") for one in said)
    whole = analyse(read_document(MARCH, "a.xml"), Request())
    assert marks(found.lines) == marks(whole.lines)
    assert not any("lacks them" in one.source for line in whole.lines for one in line.assumptions)


def test_the_printed_part_has_them_and_the_file_does_not_change() -> None:
    poor = stripped(MARCH, b"repeat", b"ending")
    document = read_document(poor, "a.xml")
    planned = analyse(document, Request()).lines[0]
    part = read_part(document, planned.part.id)[0]
    printed = line_alone(document, part, planned.planner.line)
    whole = line_alone(read_document(MARCH, "a.xml"), part, planned.planner.line)
    for kind in ("repeat", "ending", "bar-style"):
        assert [dict(one.attrib) for one in printed.iter(kind)] == [dict(one.attrib) for one in whole.iter(kind)]
    marked = annotated(document, marks([planned]))
    assert marked.count(b"<repeat") == poor.count(b"<repeat")
    assert cleared(read_document(marked, "a.xml")) == poor


def test_a_part_of_other_measures_or_a_sign_inside_a_measure_is_left_alone() -> None:
    parts = PART.findall(MARCH)
    poor = stripped(MARCH, b"repeat", b"ending")
    last = PART.findall(poor)[-1]
    shorter = poor.replace(last, re.sub(rb"(?s)<measure (?!.*<measure ).*</measure>", b"", last))
    assert len(PART.findall(shorter)) == len(parts)
    document = read_document(shorter, "a.xml")
    assert set(document.bars_from) == set(document.part_ids[1:-1])
    middle = re.sub(rb'<barline location="(?:left|right)">(\s*(?:<bar-style>[^<]*</bar-style>)?\s*<repeat)',
                    rb'<barline location="middle">\1', stripped(MARCH, b"repeat", b"ending"))
    assert b'"middle"' in middle
    assert all(jump == () for jump in jumps(read_document(stripped(middle, b"ending", parts=slice(None)), "a.xml"))[1:])
