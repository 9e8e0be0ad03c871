"""What a planner's process keeps of the open scores: trees, last plans, pictures and answers, within bounds.

All that is asked of a score goes to the same process by `at_work`. It may be stopped at any moment: what it kept is
made anew from the score's file.
"""

import secrets
import zlib
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, TypeVar

from analyzer.analysis import Analysis, Planned, analyse
from analyzer.horns.candidates import candidates
from analyzer.problem import unreadable
from analyzer.score.document import Document, read_document
from analyzer.score.lines import Line
from analyzer.score.parts import find_parts
from analyzer.selection import between, part_lines
from analyzer.web.asked import MOST_PICTURES, Asked, PinnedNote
from analyzer.web.scores import Facts

if TYPE_CHECKING:
    from analyzer.engrave.layout import Engraving

_Thing = TypeVar("_Thing")
MAX_AWAKE_BYTES = 4 * 2**20
"""Most XML whose trees and plans a process keeps; measured: they take 23 times as much. The one used last stays."""
MOST_NOTES = 20_000
"""Notes of a part that are planned at once; measured: 4,000 a second, 13 KB each. An opera's trombone has half."""
_MAX_ANALYSES = 8
_MAX_ANSWERS = 4


class Session:
    """One open score and the last analyses of it, so that a pin needs no new reading."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.name = document.name
        self.xml_bytes = len(document.xml)
        self.analyses: OrderedDict[object, Analysis] = OrderedDict()
        self.last: tuple[object, object] | None = None      # the last question and its plan
        self.pictures: OrderedDict[str, Engraving] = OrderedDict()
        self.answers: OrderedDict[str, object] = OrderedDict()

    def known(self, key: object) -> Analysis | None:
        """Return the analysis kept under a key, and count it as used."""
        if key in self.analyses:
            self.analyses.move_to_end(key)
        return self.analyses.get(key)

    def keep(self, key: object, analysis: Analysis) -> None:
        """Keep an analysis; the oldest gives way."""
        self.analyses[key] = analysis
        while len(self.analyses) > _MAX_ANALYSES:
            self.analyses.popitem(last=False)

    def drawn(self, places: "Engraving") -> str:
        """Remember where the notes of a picture stand, so that it can get other marks; return a name for it."""
        return _kept(self.pictures, places, MOST_PICTURES)

    def answered(self, answer: object) -> str:
        """Remember an answer, so that the next one says only what is new in it; return a name for it."""
        return _kept(self.answers, answer, _MAX_ANSWERS)


def _kept(store: OrderedDict[str, _Thing], thing: _Thing, most: int) -> str:
    name = secrets.token_urlsafe(6)
    store[name] = thing
    while len(store) > most:
        store.popitem(last=False)
    return name


_awake: OrderedDict[str, Session] = OrderedDict()


def wake(score_id: str, document: Document) -> Session:
    """Keep a score; those that were not used for longest give way."""
    session = _awake[score_id] = Session(document)
    while len(_awake) > 1 and sum(each.xml_bytes for each in _awake.values()) > MAX_AWAKE_BYTES:
        _awake.popitem(last=False)
    return session


def at_work(facts: Facts, packed: bytes | None, work: Callable[..., _Thing], *arguments: Any,
            ) -> tuple[bool, _Thing | None]:
    """Do `work` with a score that is open; what a planner's process is asked.

    Returns
    -------
    tuple
        True and what it returns; False where the score is not known here, and has to be given `packed`.
    """
    session = _awake.get(facts.id)
    if session is None:
        if packed is None:
            return False, None
        document = read_document(zlib.decompress(packed), facts.name)
        session = wake(facts.id, replace(document, problems=facts.problems, lost=facts.lost))
    _awake.move_to_end(facts.id)
    return True, work(session, *arguments)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedPart:
    """A part planned with its pins: the line that is asked for, and the others, whose marks stand on the same staff.

    `held` are the pins of the line that hold, by note index; `misfits` those that do not fit the horn.
    """

    analysis: Analysis
    line: Planned
    held: dict[int, str]
    misfits: tuple[PinnedNote, ...]
    others: tuple[Planned, ...]


def analysis_for(session: Session, asked: Asked) -> Analysis:
    """Return the analysis of the asked part without pins, from memory where the same was asked before."""
    known = session.known(asked.key)
    if known is None:
        _refuse_too_many(session.document, asked)
        known = analyse(session.document, asked.request())
        session.keep(asked.key, known)
    return known


def _refuse_too_many(document: Document, asked: Asked) -> None:
    """Refuse to plan more notes at once than take seconds.

    Raises
    ------
    Unreadable
        If the part, or the asked measures of it, have more.
    """
    # What is printed bounds what is played, and is counted without reading the part.
    counts = [(document.measure_element(music).get("number"), sum(1 for _ in music.iterchildren("note")))
              for music in document.part_measures(asked.part)]
    count = sum(notes for _, notes in counts)
    if count > MOST_NOTES and asked.measures:
        first, last = asked.measures
        numbers = [number for number, _ in counts]
        if first in numbers and last in numbers:
            end = len(numbers) - numbers[::-1].index(last)
            count = sum(notes for _, notes in counts[numbers.index(first):end])
        else:
            part = next(part for part in find_parts(document)[0] if part.id == asked.part)
            count = sum(len(between(line, *asked.measures, name=document.name).notes)
                        for line in part_lines(document, part)[0])
    if count > MOST_NOTES:
        raise unreadable("too-many-notes", where=f"{document.name}, {asked.part}",
                         what=f"{count:,} notes are more than are planned at once ({MOST_NOTES:,})",
                         try_="Choose some of its measures.")


def pins_of(planned: Planned, pins: Sequence[PinnedNote]) -> tuple[dict[int, str], list[PinnedNote]]:
    """Sort the pins of one line into those that hold here (by note index) and those that do not fit this horn.

    Pins of notes outside the asked measures are in neither: they wait.
    """
    places = {note.refs[0]: index for index, note in enumerate(planned.plan.line.notes)}
    held: dict[int, str] = {}
    misfits: list[PinnedNote] = []
    for pin in pins:
        if (pin.part, pin.line) != (planned.part.id, planned.plan.line.number) or pin.ref not in places:
            continue
        index = places[pin.ref]
        playable = candidates(planned.plan.horn, planned.plan.line.notes[index].midi)
        if any(candidate.label == pin.label for candidate in playable):
            held[index] = pin.label
        else:
            misfits.append(pin)
    return held, misfits


def request_pins(analysis: Analysis, pins: Sequence[PinnedNote]) -> dict[tuple[int | None, str, int], str]:
    """Return the pins in the form of a `Request`: (line, measure, nth attack) to label."""
    result: dict[tuple[int | None, str, int], str] = {}
    for number, planned in enumerate(analysis.lines, 1):
        held, _ = pins_of(planned, pins)
        counted = nths(planned.plan.line)
        for index, label in held.items():
            result[number, planned.plan.line.notes[index].measure, counted[index]] = label
    return result


def nths(line: Line) -> list[int]:
    """Return which attack of its measure each note is, from 1."""
    seen: dict[str, int] = {}
    result = []
    for note in line.notes:
        seen[note.measure] = seen.get(note.measure, 0) + 1
        result.append(seen[note.measure])
    return result


def with_pins(planned: Planned, held: dict[int, str]) -> Planned:
    """Return a line planned with pins; as it is where it has none."""
    return replace(planned, plan=planned.planner.plan(held)) if held else planned


def part_planned(session: Session, asked: Asked) -> PlannedPart:
    """Plan the asked line with its pins; the answer to the question just asked is kept.

    Raises
    ------
    Unreadable
        If part, line, horn or measures are not there.
    """
    key = (asked.key, asked.line, asked.pins)
    if session.last is not None and session.last[0] == key:
        assert isinstance(session.last[1], PlannedPart)
        return session.last[1]
    analysis = analysis_for(session, asked)
    found = [planned for planned in analysis.lines if planned.plan.line.number == asked.line]
    where = f"{session.document.name}, {asked.part}"
    if not found:
        raise unreadable("no-such-line", where=where,
                         what="this part has no notes" if not analysis.lines else f"it has no line {asked.line}",
                         try_="Choose another part.")
    held, misfits = pins_of(found[0], asked.pins)
    line = with_pins(found[0], held)
    others = tuple(with_pins(other, pins_of(other, asked.pins)[0]) for other in analysis.lines
                   if other is not found[0])
    if not line.plan.notes:
        raise unreadable("no-notes", where=f"{session.document.name}, {line.plan.line.part_name}",
                         what="there are no notes in these measures" if asked.measures else "this part has no notes",
                         try_="Choose other measures or another part.")
    result = PlannedPart(analysis=analysis, line=line, held=held, misfits=tuple(misfits), others=others)
    session.last = (key, result)
    return result
