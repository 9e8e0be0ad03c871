"""Damaged scores: never a traceback, never a hang, and what is read holds together.

``python -m tests.score.test_fuzz`` reads ten thousand of them, and mutations of other projects' scores, and prints the
longest time and the most memory.
"""

import random
import re
import time
from collections.abc import Callable, Iterable
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from analyzer.marking.annotate import annotated, cleared
from analyzer.marking.mark import Mark
from analyzer.problem import Unreadable
from analyzer.score.document import open_document, read_document
from analyzer.score.lines import lines_of
from analyzer.score.parts import find_parts
from analyzer.score.reader import read_part
from tests.score.build import attributes, backup, chord, forward, lines, note, score, words
from tests.score.suites import every_file

BASE = score(
    '<barline location="left"><repeat direction="forward"/></barline>' + words("Allegro") + '<sound tempo="96"/>'
    + note("C3", 4, '<tie type="start"/>') + note("C3", 4, '<tie type="stop"/>')
    + note("E3", 4, after='<notations><slur type="start" number="1"/><technical><fingering>3</fingering></technical>'
           "</notations>") + note("F3", None, before="<grace/>")
    + note("G3", 4, after='<notations><slur type="stop" number="1"/><fermata/></notations>'),
    chord("C3", "E3", "G3") + forward(4) + note("B2", 8) + backup(16) + note("A2", 16, voice="2") + words("a2"),
    attributes(6, "C4", "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>")
    + note("D4", 12) + note("", 12)
    + '<barline><ending number="1" type="start"/><repeat direction="backward"/></barline>',
    name="Trombones 1 &amp; 2", entry='<score-instrument id="I"><instrument-name>Trombone</instrument-name>'
    "</score-instrument>", head="<work><work-title>March</work-title></work>")
_TAG = re.compile(rb"<[^<>]+>")
_TEXT = re.compile(rb">([^<>]+)<")
_VALUES = (b"", b"-1", b"0", b"99999999999999999999", b"1e9", b"0.333", b"NaN", b"x", b"\xe2\x99\xad", b"&amp;", b"1/0",
           b" 4 ")


def _flip(data: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(data))
    return data[:at] + bytes([chance.randrange(256)]) + data[at + 1:]


def _cut(data: bytes, chance: random.Random) -> bytes:
    return data[:chance.randrange(len(data))]


def _drop(data: bytes, chance: random.Random) -> bytes:
    """Take out a whole element (from a start tag to the next end tag of that name)."""
    match = chance.choice(list(_TAG.finditer(data)))
    name = match.group()[1:].split(b" ")[0].strip(b"/>")
    end = data.find(b"</" + name + b">", match.end())
    return data[:match.start()] + (data[end + len(name) + 3:] if end >= 0 else data[match.end():])


def _again(data: bytes, chance: random.Random) -> bytes:
    """Write an element a second time, somewhere else."""
    match = chance.choice(list(_TAG.finditer(data)))
    name = match.group()[1:].split(b" ")[0].strip(b"/>")
    end = data.find(b"</" + name + b">", match.end())
    piece = data[match.start():end + len(name) + 3] if end >= 0 else match.group()
    other = chance.choice(list(_TAG.finditer(data))).end()
    return data[:other] + piece + data[other:]


def _value(data: bytes, chance: random.Random) -> bytes:
    match = chance.choice(list(_TEXT.finditer(data)))
    return data[:match.start(1)] + chance.choice(_VALUES) + data[match.end(1):]


def _rename(data: bytes, chance: random.Random) -> bytes:
    names = [match.group()[1:].split(b" ")[0].strip(b"/>") for match in _TAG.finditer(data)]
    return data.replace(b"<" + chance.choice(names), b"<" + chance.choice(names), 1)


def _comment(data: bytes, chance: random.Random) -> bytes:
    at = chance.choice(list(_TAG.finditer(data))).end()
    return data[:at] + chance.choice((b"<!-- <note> -->", b"<?x <part> ?>", b"<![CDATA[<note>]]>")) + data[at:]


CHANGES: tuple[Callable[[bytes, random.Random], bytes], ...] = (
    _flip, _cut, _drop, _drop, _again, _again, _value, _value, _value, _rename, _comment)


def _mutated(seed: int, data: bytes = BASE) -> bytes:
    chance = random.Random(seed)
    for _ in range(chance.choice((1, 1, 2, 3, 6))):
        if len(_TAG.findall(data)) > 3 and _TEXT.search(data):
            data = chance.choice(CHANGES)(data, chance)
    return data


def _holds_together(data: bytes) -> bool:
    """Read all that can be read, check it, and tell whether the score was readable."""
    try:
        document = read_document(data, "fuzz.xml")
    except Unreadable as refused:
        line = str(refused)
    else:
        line = ""
    if line:
        assert "\n" not in line
        return False
    parts, _ = find_parts(document)
    for info in parts:
        try:
            part, problems = read_part(document, info.id)
        except Unreadable:
            continue
        assert all("\n" not in problem.line() for problem in problems)
        assert all(note.duration >= 0 and note.onset >= part.measures[note.measure].onset for note in part.notes)
        assert all(0 <= note.sounding.midi <= 127 for note in part.notes)
        starts = [measure.onset for measure in part.measures]
        assert starts == sorted(starts)
        refs = list(document.notes(info.id))
        assert all(refs[note.ref].find("pitch") is not None for note in part.notes)
        found, _ = lines_of(part, info.family)
        for line in found:
            end = Fraction(0)
            for each in line.notes:
                assert each.onset >= end
                end = each.onset + each.duration
            assert all(0 <= leave < len(line.notes) and 0 <= reach < len(line.notes) for leave, reach in line.jumps)
        marks = [Mark(part_id=info.id, ref=each.refs[0], line=line.number, text="2♯")
                 for line in found for each in line.notes]
        try:
            once = annotated(document, marks)
        except Unreadable:
            continue
        again = read_document(once, "fuzz.xml")
        assert annotated(again, marks) == once
        assert cleared(again) == cleared(document)
        marked = {ref for ref, element in enumerate(again.notes(info.id)) if b"<?lowbrass" in etree.tostring(element)}
        assert marked == {mark.ref for mark in marks}
    return True


class _Longest(NamedTuple):
    """What reading many damaged scores took: how many were read all the same, the longest time [s], and its score."""

    readable: int = 0
    seconds: float = 0.0
    which: str = ""

    def after(self, data: bytes, which: str) -> "_Longest":
        """Read one score more."""
        print(which, data[:4000])               # shown by pytest where the check fails
        begin = time.process_time()
        readable = self.readable + _holds_together(data)
        seconds = time.process_time() - begin
        assert seconds < 5
        return _Longest(readable, *max((self.seconds, self.which), (seconds, which)))


def _run(seeds: range) -> _Longest:
    longest = _Longest()
    for seed in seeds:
        longest = longest.after(_mutated(seed), f"seed {seed}")
    assert longest.readable > len(seeds) // 5, "the changes are so rough that hardly anything is read"
    return longest


def _plain(path: Path) -> bytes:
    """Return a score's XML as UTF-8 without a declaration, as the mutations want it."""
    return etree.tostring(open_document(path).root, encoding="UTF-8")


def _run_real(files: Iterable[Path], times: int) -> tuple[int, _Longest]:
    """Damage scores of other projects, each `times` times; return how many that were, and the longest."""
    longest, count = _Longest(), 0
    for path in files:
        data = _plain(path)
        for seed in range(times):
            longest = longest.after(_mutated(seed, data), f"{path.name}, seed {seed}")
            count += 1
    return count, longest


def test_base_is_read() -> None:
    assert _holds_together(BASE)


@pytest.mark.parametrize("block", range(4))
def test_changed_scores(block: int) -> None:
    _run(range(block * 100, block * 100 + 100))


@pytest.mark.whole
@pytest.mark.parametrize("block", range(20))
def test_changed_scores_whole(block: int) -> None:
    _run(range(1000 + block * 500, 1500 + block * 500))


def _real(most_bytes: int) -> list[Path]:
    return [path for path in every_file() if 200 < path.stat().st_size < most_bytes]


@pytest.mark.skipif(not every_file(), reason="no package that ships scores is installed")
def test_changed_scores_of_others() -> None:
    count, longest = _run_real(random.Random(5).sample(_real(20_000), 12), 2)
    assert count == 24
    assert longest.readable


@pytest.mark.whole
def test_changed_scores_of_others_whole() -> None:
    count, longest = _run_real(_real(60_000), 3)
    assert count > 1000
    assert longest.readable > count // 10, "most changes to a real file cut it off"


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.binary(max_size=300))
def test_any_bytes(data: bytes) -> None:
    _holds_together(data)
    _holds_together(b"<score-partwise>" + data + b"</score-partwise>")


_PITCHES = st.sampled_from(("C3", "D3", "E3", "F3", "G3", "A3", "Bb2", "B2"))
_EVENTS = st.lists(st.tuples(st.lists(_PITCHES, min_size=0, max_size=3, unique=True), st.integers(1, 8)), min_size=1,
                   max_size=8)


@settings(max_examples=80, deadline=None, derandomize=True)
@given(_EVENTS, _EVENTS)
def test_two_voices_lose_no_note_and_no_player_plays_two(first: list[tuple[list[str], int]],
                                                         second: list[tuple[list[str], int]]) -> None:
    def voice(events: list[tuple[list[str], int]], number: str) -> str:
        return "".join(chord(*pitches, ticks=ticks, voice=number) if pitches else note("", ticks, voice=number)
                       for pitches, ticks in events)
    data = score(voice(first, "1") + backup(sum(ticks for _, ticks in first)) + voice(second, "2"))
    found = lines(data)
    written = {(name, onset) for events in (first, second) for name, onset in _attacks(events)}
    assert {(text.split("@")[0], Fraction(text.split("@")[1])) for line in found for text in line} == written
    for line in found:
        onsets = [text.split("@")[1] for text in line]
        assert len(onsets) == len(set(onsets))


def _attacks(events: list[tuple[list[str], int]]) -> list[tuple[str, Fraction]]:
    result: list[tuple[str, Fraction]] = []
    at = 0
    for pitches, ticks in events:
        result += [(pitch, Fraction(at, 4)) for pitch in pitches]
        at += ticks
    return result


def _printed() -> None:
    import resource
    from contextlib import redirect_stdout
    from io import StringIO

    def megabytes() -> float:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024

    before = megabytes()
    with redirect_stdout(StringIO()):
        own = _run(range(1000, 11_000))
    middle = megabytes()
    with redirect_stdout(StringIO()):
        count, real = _run_real(_real(60_000), 3)
    for name, number, longest, start, end in (("our score", 10_000, own, before, middle),
                                              ("other projects' scores", count, real, middle, megabytes())):
        print(f"{number} mutations of {name}: {longest.readable} read all the same, the others refused in one line; "
              f"longest {longest.seconds:.3f} s ({longest.which}); peak memory {end:.0f} MB, {end - start:.0f} more "
              "than before")


if __name__ == "__main__":
    _printed()
