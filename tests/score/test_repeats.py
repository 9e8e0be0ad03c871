"""Where playing leaves the printed order, against music21's expansion of the same scores.

A repeat that has no sign for its beginning goes back, by us, to the end of the repeat before it; music21 goes back to
the beginning of the piece. Both are read in print; the former is the rule of dances and marches in several strains
(common practice, no source). music21 follows D.C. and D.S. by their words alone, not by ``<sound>``.
"""

import warnings
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from analyzer.score.document import open_document, read_document
from analyzer.score.lines import lines_of
from analyzer.score.reader import read_part
from tests.score.build import note, part, score, words
from tests.score.suites import every_file

music21 = pytest.importorskip("music21", reason="music21, the second reading, is not installed")
N = note("C3", 16)
# Right bar lines with a forward sign, where print has both: a repeat begins there (MusicXML 4.0, repeat: "The start of
# the repeat has a forward direction"), and music21 also ends one.
UNLIKE = {"opus18no4.mxl": {(591, 583), (600, 0)}}


def theirs(source: Path | bytes) -> set[tuple[int, int]] | None:
    """Return the leaps between measures in music21's expansion; None where it cannot expand."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        stream: Any = music21.converter.parse(source, format="musicxml", forceSource=True) if isinstance(source, Path) \
            else music21.converter.parseData(source.decode(), format="musicxml")
        first = stream.parts[0]
        for place, measure in enumerate(first.getElementsByClass("Measure")):
            measure.editorial.place = place
        expander = music21.repeat.Expander(first)
        if not expander.isExpandable():
            return None
        try:
            played = [one.editorial.place for one in expander.process().getElementsByClass("Measure")]
        except music21.repeat.ExpanderException:
            return None
    return {(a, b) for a, b in pairwise(played) if b != a + 1}


def ours(source: Path | bytes) -> set[tuple[int, int]]:
    document = open_document(source) if isinstance(source, Path) else read_document(source, "a.xml")
    return {(jump.from_measure, jump.to_measure) for jump in read_part(document, document.part_ids[0])[0].jumps}


def unlike(path: Path) -> set[tuple[int, int]]:
    """Return their leaps that we do not have, but for those to a beginning which is not told."""
    found = theirs(path)
    mine = ours(path)
    return {leap for leap in found or () if leap not in mine and not (
        leap[1] == 0 and any(start == leap[0] for start, _ in mine))}


def _repeating(names: tuple[str, ...]) -> list[Path]:
    return [path for path in every_file() if path.name.startswith(names)]


@pytest.mark.parametrize("path", _repeating(("45a", "45b", "45c", "45d", "45e", "45f", "45g", "test_45")),
                         ids=lambda path: path.name)
def test_every_leap_of_music21_is_ours(path: Path) -> None:
    assert unlike(path) == set()


@pytest.mark.whole
def test_every_leap_of_every_file() -> None:
    compared, wrong = 0, {}
    for path in every_file():
        if path.stat().st_size > 1_500_000:
            continue
        raw = open_document(path).root if path.stat().st_size > 200 else None
        if raw is None or next(raw.iter("repeat"), None) is None:
            continue
        compared += 1
        different = unlike(path)
        if different:
            wrong[path.name] = different
    print(f"{compared} scores with repeats compared")
    assert compared > 200
    assert wrong == UNLIKE


def sign(tag: str) -> str:
    return f"<direction><direction-type><{tag}/></direction-type></direction>"


@pytest.mark.parametrize("data", [
    score(N, N, N + words("D.C.")),
    score(N, N + words("Fine"), N, N + words("D.C. al Fine")),
    score(N, sign("segno") + N, N, N + words("D.S.")),
    score(N, sign("segno") + N, N + words("Fine"), N + words("D.S. al Fine"), N),
    score(N, sign("segno") + N, N + words("To Coda"), N + words("D.S. al Coda"), sign("coda") + N),
    score(N, N + words("To Coda"), N + words("D.C. al Coda"), sign("coda") + N),
], ids=["dc", "dc al fine", "ds", "ds al fine", "ds al coda", "dc al coda"])
def test_da_capo_and_dal_segno_as_music21_plays_them(data: bytes) -> None:
    found = theirs(data)
    assert found
    assert ours(data) == found


def barline(direction: str, where: str) -> str:
    return f'<barline location="{where}"><repeat direction="{direction}"/></barline>'


def leaps(data: bytes) -> list[tuple[str, str]]:
    """Return the written notes before and after each leap of the only line."""
    line = lines_of(part(data), "trombone")[0][0]
    return [(line.notes[a].written.name, line.notes[b].written.name) for a, b in line.jumps]


HALVES = note("C3", 8), note("D3", 8), note("E3", 8), note("F3", 8), note("G3", 8), note("A3", 8)


def test_repeats_inside_measures() -> None:
    # MusicXML 4.0, barline: "The location attribute must match where the barline element occurs".
    c, d, e, f, g, a = HALVES
    begin, end = barline("forward", "middle"), barline("backward", "middle")
    assert leaps(score(c + begin + d, e + f, g + end + a)) == [("G3", "D3")]
    assert leaps(score(c + begin + d, e + f + barline("backward", "right"), g + a)) == [("F3", "D3")]
    assert leaps(score(c + d, e + end + begin + f, g + end + a)) == [("E3", "C3"), ("G3", "F3")]
    assert leaps(score(c + d, e + end + f, g + a + barline("backward", "right"))) == [("E3", "C3"), ("A3", "F3")]


def test_bar_lines_told_by_the_neighbouring_measure() -> None:
    c, d, e, f, g, a = HALVES
    assert leaps(score(c + d, barline("backward", "left") + e + f, g + a)) == [("D3", "C3")]
    assert leaps(score(c + d + barline("forward", "right"), e + f + barline("backward", "right"), g + a)) == [
        ("F3", "E3")]


def test_a_second_ending_that_begins_a_repeat() -> None:
    # as in Beethoven, opus 18 no. 4, first movement, measure 79 of music21's corpus
    def ending(number: str) -> str:
        return f'<barline location="left"><ending number="{number}" type="start"/>{{}}</barline>'
    data = score(N, ending("1").format("") + N + barline("backward", "right"),
                 ending("2").format('<repeat direction="forward"/>') + N, N + barline("backward", "right"))
    assert ours(data) == {(0, 2), (1, 0), (3, 2)}


def test_a_repeat_whose_beginning_is_not_printed() -> None:
    # MusicXML 4.0, sound: "The forward-repeat attribute indicates that a forward repeat sign is implied".
    data = score(N, N, '<sound forward-repeat="yes"/>' + N, N + barline("backward", "right"))
    assert ours(data) == {(3, 2)}
