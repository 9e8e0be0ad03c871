"""What the running page keeps, in memory only: open scores, their last plans, pictures and answers; and the samples."""

import asyncio
import secrets
import sys
import zlib
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from analyzer.analysis import Analysis, Planned, analyse
from analyzer.horns.candidates import candidates
from analyzer.problem import unreadable
from analyzer.score.document import SCORE_ENDINGS, Document, read_document
from analyzer.score.lines import Line
from analyzer.score.parts import find_parts
from analyzer.selection import between, part_lines
from analyzer.web.asked import MOST_PICTURES, Asked, PinnedNote

if TYPE_CHECKING:
    from analyzer.engrave.layout import Engraving

_Thing = TypeVar("_Thing")
MAX_SESSIONS = 60
MAX_PACKED_BYTES = 64 * 2**20
"""Most that the open scores take, packed; judged: a school score has below 100 KiB so, sixty a tenth of this."""
MAX_AWAKE_BYTES = 8 * 2**20
"""Most XML whose trees and plans are kept; measured: they take 23 times as much. The one used last is always awake."""
MOST_NOTES = 20_000
"""Notes of a part that are planned at once; measured: 4,000 a second, 13 KB each. An opera's trombone has half."""
_MAX_ANALYSES = 8
_MAX_ANSWERS = 4


class Session:
    """One open score and the last analyses of it, so that a pin needs no new reading.

    Only its packed file is kept for as long as it is open: `rest` lets go of the rest, and `document` reads it anew.
    """

    def __init__(self, document: Document, data: bytes) -> None:
        self.id = secrets.token_urlsafe(12)
        self.name, self.ending = document.name, document.ending
        self.packed = zlib.compress(data, 1)
        self.xml_bytes = len(document.xml)
        self.lock = asyncio.Lock()
        self.analyses: OrderedDict[object, Analysis] = OrderedDict()
        self.last: tuple[object, object] | None = None      # the last question and its plan
        self.pictures: OrderedDict[str, Engraving] = OrderedDict()
        self.answers: OrderedDict[str, object] = OrderedDict()
        self._document: Document | None = document
        self._problems = document.problems

    @property
    def awake(self) -> bool:
        """Whether the score's tree is in memory."""
        return self._document is not None

    @property
    def document(self) -> Document:
        """The score; where it rested, it is read anew, which may take a second."""
        if self._document is None:
            self._document = replace(read_document(self.data, self.name), problems=self._problems)
        return self._document

    @property
    def data(self) -> bytes:
        """The score's file."""
        return zlib.decompress(self.packed)

    def rest(self) -> None:
        """Keep the packed file alone."""
        self._document = self.last = None
        for kept in (self.analyses, self.pictures, self.answers):
            kept.clear()

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


class Sessions:
    """Open scores by id, bounded in number and size."""

    def __init__(self, *, most: int = MAX_SESSIONS, most_bytes: int = MAX_PACKED_BYTES,
                 most_awake_bytes: int = MAX_AWAKE_BYTES) -> None:
        self._most = most
        self._most_bytes = most_bytes
        self._most_awake_bytes = most_awake_bytes
        self._open: OrderedDict[str, Session] = OrderedDict()

    def __len__(self) -> int:
        """How many scores are open."""
        return len(self._open)

    def add(self, document: Document, data: bytes) -> Session:
        """Open a score."""
        session = Session(document, data)
        self._open[session.id] = session
        while len(self._open) > 1 and (len(self._open) > self._most or self._bytes() > self._most_bytes):
            self._open.popitem(last=False)
        self._let_rest(session)
        return session

    def get(self, session_id: object) -> Session | None:
        """Return an open score, None if it is not (or no longer) open."""
        if not isinstance(session_id, str) or session_id not in self._open:
            return None
        self._open.move_to_end(session_id)
        session = self._open[session_id]
        self._let_rest(session)
        return session

    def _let_rest(self, used: Session) -> None:
        """Let the scores rest that were not used for longest, so that those awake stay within their bound."""
        awake_bytes = used.xml_bytes
        for session in reversed(self._open.values()):
            if session is used or not session.awake:
                continue
            awake_bytes += session.xml_bytes
            if awake_bytes > self._most_awake_bytes and not session.lock.locked():
                session.rest()

    def _bytes(self) -> int:
        return sum(len(session.packed) for session in self._open.values())


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


def samples_folder() -> Path | None:
    """Return the folder of sample scores, None where there is none."""
    import analyzer

    beside = Path(analyzer.__file__).resolve().parent.parent / "sample_scores"
    folders = (beside, Path(sys.prefix) / "share" / "lowbrass" / "sample_scores")
    return next((folder for folder in folders if folder.is_dir()), None)


_SUITS = {
    "attachment-etude": ("passage", "a student with an F attachment"),
    "brass-band-hymn": ("section", "a brass band"),
    "deep-water-bass-trombone": ("bass", "a bass trombonist"),
    "evening-song-euphonium": ("passage", "a euphonium student"),
    "harbour-march-trio": ("section", "a director with a school section"),
    "quiet-chorale-trombones": ("section", "an orchestra's section of three"),
}
"""Which door a sample opens, and whom it suits."""


def sample_names(folder: Path | None) -> list[dict[str, str]]:
    """Return file and spoken name of each sample, whom it suits, and the way in which it opens."""
    if folder is None:
        return []
    return [{"file": path.name, "name": path.stem.replace("-", " ").capitalize(),
             **dict(zip(("way", "suits"), _SUITS.get(path.stem, ("passage", "anybody")), strict=True))}
            for path in sorted(folder.iterdir()) if path.suffix in SCORE_ENDINGS and path.is_file()]


def sample_path(folder: Path | None, name: str) -> Path:
    """Return the path of a listed sample.

    Raises
    ------
    Unreadable
        If the name is not in the list; nothing else is looked up on the disk.
    """
    if folder is None or name not in {sample["file"] for sample in sample_names(folder)}:
        raise unreadable("no-sample", where="samples", what="there is no sample of that name",
                         try_="Choose one of the list.")
    return folder / name
