"""What the page shows of practicing: a sheet of drills over weeks, and a recording held against the plan."""

import datetime as dt
import tempfile
import tomllib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from analyzer.analysis import Analysis, Request, analyse, with_notes
from analyzer.paper_here import Paper
from analyzer.plan.heard import KEY, heard_of, trend, with_heard
from analyzer.plan.progress import with_limits
from analyzer.practice.drills import Drills, drills_for
from analyzer.practice.weeks import Day, practice_days
from analyzer.problem import unreadable
from analyzer.report.drill.file import sheet_content
from analyzer.report.drill.sound import Drone, listening_wav, sheet_midi, tones
from analyzer.report.drill.text import calendar_ics, drill_blocks
from analyzer.report.listen.document import Student, heard_once
from analyzer.report.moves import moves_page
from analyzer.report.page_blocks import page_blocks
from analyzer.report.plain import plain, plain_line
from analyzer.score.document import read_document
from analyzer.web.asked import Asked
from analyzer.web.engraver import no_picture
from analyzer.web.forms import read_player_file
from analyzer.web.state import request_pins
from analyzer.web.sweeps import Tell

SHEET_ENDINGS = (".pdf", ".musicxml", ".mid", ".wav", ".ics")


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetAsked:
    """A practice sheet as it is asked for: `seed` makes the patterns, `weeks` spreads them (None: not spread)."""

    request: Request
    seed: int
    weeks: int | None
    paper: Paper
    start: dt.date | None
    drone: Drone | None


def _drills(data: bytes, name: str, asked: SheetAsked) -> tuple[Drills, tuple[Day, ...]]:
    drills = drills_for(read_document(data, name), asked.request, seed=asked.seed)
    return drills, practice_days(drills, asked.weeks) if asked.weeks else ()


def drill_answer(data: bytes, name: str, asked: SheetAsked) -> dict[str, Any]:
    """Return the hard moves, the exercises and the weeks in words. Raises as `drills_for`."""
    drills, days = _drills(data, name, asked)
    line = drills.planned.plan.line
    return {"blocks": page_blocks(drill_blocks(drills, days)), "exercises": len(drills.exercises), "line": line.number,
            "of": line.of, "problems": [plain_line(problem) for problem in drills.problems]}


def drill_pages(data: bytes, name: str, asked: SheetAsked) -> dict[str, Any]:
    """Return the sheet as it is printed, a picture a page.

    Raises
    ------
    Unreadable
        As for `drills_for`, or if what engraves it is not installed.
    """
    from analyzer.report.drill.page import sheet_pages

    drills, days = _drills(data, name, asked)
    try:
        return {"pages": list(sheet_pages(drills, days, paper=asked.paper, embed_fonts=False))}
    except (ValueError, ModuleNotFoundError) as error:
        raise no_picture(error, name) from None


def drill_file(data: bytes, name: str, asked: SheetAsked, ending: str) -> bytes:
    """Return a file of the sheet: to print, to play from, to hear, its reference pitches, its calendar.

    Raises
    ------
    Unreadable
        As for `drills_for`; or if a calendar is asked for without weeks and a first day.
    """
    drills, days = _drills(data, name, asked)
    try:
        if ending == ".ics":
            if asked.start is None or not days:
                raise unreadable("bad-question", where="calendar", what="it needs weeks and a first day",
                                 try_="Choose both.")
            return calendar_ics(drills, days, asked.start)
        if ending == ".mid":
            return sheet_midi(drills)
        if ending == ".wav":
            return listening_wav(tones(drills, asked.drone))
        return sheet_content(drills, days, ending, asked.paper)
    except (ValueError, ModuleNotFoundError) as error:
        raise no_picture(error, name) from None


def hear_answer(tell: Tell, data: bytes, name: str, asked: Asked, recording: bytes, called: str,
                reference_hz: float | None) -> tuple[dict[str, Any], Student]:
    """Hold a recording against the plan of a line; return what `listen` says, with the music and its deviations.

    The recording lies in a file that goes with this function. `row` is what the teacher's table says of it.

    Raises
    ------
    Unreadable
        As for `listen_view`, or if the line has no notes.
    """
    from analyzer.hearing.hear import hear
    from analyzer.hearing.sound import read_sound
    from analyzer.report.listen.page import ABOUT, class_row, heard_pictures
    from analyzer.report.listen.view import view_of

    tell({"doing": "Planning the part", "done": 0, "of": None, "name": ""})
    analysis = _analysis(data, name, asked)
    planned = next((one for one in analysis.lines if one.plan.line.number == asked.line), None)
    if planned is None:
        raise unreadable("no-line", where=name, what="this player has no notes here", try_="Choose another.")

    def share(done: float) -> None:
        tell({"doing": "Listening", "done": round(100 * done), "of": 100, "name": ""})

    with _lent(recording, called) as path:
        sound = read_sound(path, name=called)
        hearing = hear(sound, planned, reference_hz=reference_hz, told_share=share)
    tell({"doing": "Drawing what was heard", "done": 0, "of": None, "name": ""})
    found = view_of(analysis, sound, hearing)
    systems = [{"svg": svg, "strip": strip, "places": {str(index): round(x, 1) for index, x in places.items()}}
               for svg, strip, places in heard_pictures(analysis, hearing, float(asked.width_px), "heard-")]
    student = Student(file=called, hearing=hearing, problem=None)
    return {"heard": found["page"], "totals": found["totals"], "cautions": found["cautions"], "systems": systems,
            "about": ABOUT, "reference_hz": found["reference_hz"], "row": [plain(text) for text in class_row(student)],
            }, student


def _analysis(data: bytes, name: str, asked: Asked) -> Analysis:
    """Return the lines that have notes, planned as asked, with what is pinned."""
    document = read_document(data, name)
    analysis = analyse(document, asked.request())
    if asked.pins:
        analysis = analyse(document, asked.request(request_pins(analysis, asked.pins)))
    return with_notes(analysis)


def heard_file(data: bytes, name: str, asked: Asked, students: Sequence[Student], ending: str) -> bytes:
    """Return what was heard as a page, ``.html`` or ``.pdf``: one student's, or a class with the teacher's table.

    Raises
    ------
    Unreadable
        If none of them was heard, or the music cannot be engraved.
    """
    from analyzer.report.listen.files import listen_file

    return listen_file(read_document(data, name), _analysis(data, name, asked), students, Path(f"heard{ending}"))


def moves_answer(tell: Tell, data: bytes, name: str, asked: Asked, recording: bytes, called: str, text: str,
                 player: str) -> tuple[dict[str, Any], None]:
    """Return what to play in turn on the horn of a line; with a recording of it, how fast the player moves.

    ``{"sheet": [line], "found": null or {"said", "rows", "cautions", "text"}}``: `text` is the player file (if empty a
    new one) with the limit that was found.

    Raises
    ------
    Unreadable
        As for `measure_moves`, or if the text is no player file.
    """
    from analyzer.hearing.moves import measure_moves, sheet_text
    from analyzer.hearing.sound import read_sound

    tell({"doing": "Listening", "done": 0, "of": None, "name": ""})
    horn = next(one.plan.horn for one in _analysis(data, name, asked).lines if one.plan.line.number == asked.line)
    sheet = [line for line in sheet_text(horn).splitlines() if line]
    if not recording:
        return {"sheet": sheet, "found": None}, None
    if text.strip():
        read_player_file(text, player)
    with _lent(recording, called) as path:
        moves = measure_moves(read_sound(path, name=called), horn)
    found = moves_page(moves)
    found["text"] = with_limits(text, {moves.key: round(moves.value, 1)})
    return {"sheet": sheet, "found": found}, None


@contextmanager
def _lent(recording: bytes, called: str) -> Iterator[Path]:
    """Lay a recording into a file that goes with the block."""
    with tempfile.TemporaryDirectory(prefix="lowbrass-") as folder:
        # The browser has made a WAV of what only it can read, under the name that the player knows.
        path = Path(folder) / f"recording{'.wav' if recording.startswith(b'RIFF') else Path(called).suffix[:8]}"
        path.write_bytes(recording)
        yield path


def kept_answer(data: bytes, score: str, student: Student, text: str, name: str, day: str) -> dict[str, Any]:
    """Return a player file with what a recording came to, and how recordings of its passage went so far.

    ``{"text": the file, "said": the trend, empty with one recording, "rows": [a line a recording]}``; an empty `text`
    begins a file.

    Raises
    ------
    Unreadable
        If the text is no player file, or nothing was heard.
    """
    if student.hearing is None:
        raise unreadable("nothing-heard", where=student.file, what="nothing was heard of it, so nothing is kept",
                         try_="Choose another recording.")
    if text.strip():
        read_player_file(text, name)
    new = heard_once(student.hearing, read_document(data, score).title or score, day)
    with_it = with_heard(text if text.strip() else "[player]\n", new)
    kept = heard_of(tomllib.loads(with_it).get(KEY), new.passage)
    return {"text": with_it, "said": trend(kept), "rows": [one.said() for one in kept]}
