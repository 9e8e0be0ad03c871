"""A long part engraved in lengths: every measure and note stands once, nothing is cut that need not be."""

import re
from itertools import pairwise

import pytest

from analyzer.engrave.copy import engraving_copy
from analyzer.engrave.lengths import MOST_NOTES, end_of_length, spanned
from analyzer.score.document import Document, read_document
from analyzer.web.engraver import Length, engrave_length
from tests.benchmarks import making

pytest.importorskip("verovio", reason="the engraver is not installed (pip install lowbrass[engrave])")


def lengths(document: Document, width_px: int = 900) -> list[tuple[str, list[int]]]:
    """The pictures of a part, one below the other, and the measures with which their shown systems begin."""
    last = len(document.part_measures("P1")) - 1
    found, at = [], 0
    while at is not None:
        end = end_of_length(document, "P1", at, last)
        length = Length(copy=engraving_copy(document, "P1", measures=(at, end), continued=at > 0), prefix=f"m{at}-",
                        following=None if end == last else end + 1, cut=spanned(document, "P1"))
        svg, places, shown, following = engrave_length(length, width_px)
        systems = places.sheets[0].systems
        assert [measure for system in systems[:shown] for measure in system.indices] == list(
            range(at, last + 1 if following is None else following)) or any(any(one.rests) for one in systems)
        found.append((svg, [system.indices[0] for system in systems[:shown]]))
        assert following is None or following > at
        at = following
    return found


def test_lengths_follow_on_each_other_and_print_the_meter_once() -> None:
    document = read_document(making.study(150), "study.musicxml")
    found = lengths(document)
    assert len(found) > 2
    starts = [start for _, begun in found for start in begun]
    assert starts == sorted(set(starts))
    # SMuFL: timeSig4 is U+E084; four four is printed at the beginning alone.
    assert [len(re.findall(r'href="#[^"]*E084', svg)) for svg, _ in found] == [2, *[0] * (len(found) - 1)]
    # The lines are as full as in one piece: about as many of them.
    whole = engrave_length(Length(copy=engraving_copy(document, "P1")), 900)[1].sheets[0].systems
    assert len(starts) <= len(whole) + len(found)


def tied(measures: int, *, every: bool) -> bytes:
    """Half notes, tied from measure to measure: each to the next, or all but every fifth."""
    out = []
    for number in range(1, measures + 1):
        stop = number > 1 and (every or (number - 1) % 5)
        start = number < measures and (every or number % 5)
        kinds = [kind for kind, there in (("stop", stop), ("start", start)) if there]
        notes = "".join(
            f"<note><pitch><step>B</step><octave>2</octave></pitch><duration>1</duration>"
            f"{''.join(f'<tie type={chr(34)}{kind}{chr(34)}/>' for kind in ties)}<type>quarter</type>"
            f"<notations>{''.join(f'<tied type={chr(34)}{kind}{chr(34)}/>' for kind in ties)}</notations></note>"
            for ties in ([kind for kind in kinds if kind == "stop"], [], [],
                         [kind for kind in kinds if kind == "start"]))
        head = ("<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
                "<clef><sign>F</sign><line>4</line></clef></attributes>" if number == 1 else "")
        out.append(f'<measure number="{number}">{head}{notes}</measure>')
    return ('<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Trombone</part-name></score-part>'
            f'</part-list><part id="P1">{"".join(out)}</part></score-partwise>').encode()


def test_a_length_ends_where_no_tie_is_cut() -> None:
    document = read_document(tied(300, every=False), "tied.musicxml")
    cut = spanned(document, "P1")
    assert cut == {measure for measure in range(1, 300) if measure % 5}
    # Lines of four or six measures end at a fifth now and then: within three lines of the length's end one does.
    begins = [begun[0] for _, begun in lengths(document, 1000)]
    assert len(begins) > 2
    assert sum(begin in cut for begin in begins) < len(begins) - 1
    assert spanned(read_document(tied(20, every=True), "tied.musicxml"), "P1") == set(range(1, 20))


def test_a_long_rest_is_not_cut() -> None:
    notes = "<note><pitch><step>B</step><octave>2</octave></pitch><duration>1</duration><type>quarter</type></note>"
    rest = '<note><rest measure="yes"/><duration>4</duration></note>'
    played = [notes * 4] * 90 + [rest] * 200 + [notes * 4] * 90
    head = ("<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time><clef>"
            "<sign>F</sign><line>4</line></clef></attributes>")
    music = "".join(f'<measure number="{k + 1}">{"" if k else head}{one}</measure>' for k, one in enumerate(played))
    data = ('<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Trombone</part-name></score-part>'
            f'</part-list><part id="P1">{music}</part></score-partwise>').encode()
    document = read_document(data, "rests.musicxml")
    last = len(played) - 1
    assert MOST_NOTES < 4 * 90
    assert end_of_length(document, "P1", 0, last) < 90
    pictures = lengths(document)
    assert sum(svg.count("91–290") for svg, _ in pictures) == 1
    for (_, one), (_, two) in pairwise(pictures):
        assert not (90 < two[0] < 290), (one, two)
