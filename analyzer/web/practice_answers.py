"""What the page shows of practicing: a sheet of drills over weeks, and a recording held against the plan."""

import datetime as dt
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from analyzer.analysis import Request, analyse, with_notes
from analyzer.practice.drills import Drills, drills_for
from analyzer.practice.weeks import Day, practice_days
from analyzer.problem import unreadable
from analyzer.report.drill.file import sheet_content
from analyzer.report.drill.sound import Drone, listening_wav, sheet_midi, tones
from analyzer.report.drill.text import calendar_ics, drill_blocks
from analyzer.report.page_blocks import page_blocks
from analyzer.report.plain import plain_line
from analyzer.score.document import read_document
from analyzer.web.asked import Asked
from analyzer.web.engraver import no_picture
from analyzer.web.state import request_pins
from analyzer.web.sweeps import Tell

Paper = Literal["a4", "letter"]
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
                reference_hz: float | None) -> tuple[dict[str, Any], None]:
    """Hold a recording against the plan of a line; return what `listen` says, with the music and its deviations.

    The recording lies in a file that goes with this function.

    Raises
    ------
    Unreadable
        As for `listen_view`, or if the line has no notes.
    """
    from analyzer.hearing.hear import hear
    from analyzer.hearing.sound import read_sound
    from analyzer.report.listen.page import ABOUT, heard_pictures
    from analyzer.report.listen.view import view_of

    tell({"doing": "Planning the part", "done": 0, "of": None, "name": ""})
    document = read_document(data, name)
    analysis = analyse(document, asked.request())
    if asked.pins:
        analysis = analyse(document, asked.request(request_pins(analysis, asked.pins)))
    analysis = with_notes(analysis)
    planned = next((one for one in analysis.lines if one.plan.line.number == asked.line), None)
    if planned is None:
        raise unreadable("no-line", where=name, what="this player has no notes here", try_="Choose another.")

    def share(done: float) -> None:
        tell({"doing": "Listening", "done": round(100 * done), "of": 100, "name": ""})

    with tempfile.TemporaryDirectory(prefix="lowbrass-") as folder:
        path = Path(folder) / f"recording{Path(called).suffix[:8]}"
        path.write_bytes(recording)
        sound = read_sound(path, name=called)
        hearing = hear(sound, planned, reference_hz=reference_hz, told_share=share)
    tell({"doing": "Drawing what was heard", "done": 0, "of": None, "name": ""})
    found = view_of(analysis, sound, hearing)
    systems = [{"svg": svg, "strip": strip, "places": {str(index): round(x, 1) for index, x in places.items()}}
               for svg, strip, places in heard_pictures(analysis, hearing, float(asked.width_px), "heard-")]
    return {"heard": found["page"], "totals": found["totals"], "cautions": found["cautions"], "systems": systems,
            "about": ABOUT, "reference_hz": found["reference_hz"]}, None
