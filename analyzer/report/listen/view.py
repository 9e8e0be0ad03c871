"""What the local page shows of a recording: its document, and what is drawn and played along for each note."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from analyzer.analysis import Analysis, Planned
from analyzer.hearing.hear import HeardNote, Hearing, hear
from analyzer.hearing.sound import Sound, read_sound
from analyzer.report.heading import supposed_text
from analyzer.report.listen.document import listen_document
from analyzer.report.listen.text import heard_said, place_of, short_finding
from analyzer.report.plain import plain, plain_line

SCALE_CENTS = 40.0
"""A deviation line reaches so far on either side; what is farther off is drawn there with its number."""


def listen_view(analysis: Analysis, planned: Planned, recording: Path, *, name: str = "",
                reference_hz: float | None = None, told_share: Callable[[float], None] | None = None,
                ) -> dict[str, Any]:
    """Hear a recording against a planned line, and return what a page needs of it.

    Parameters
    ----------
    analysis, planned : Analysis, Planned
        The score as it was asked for, and the line of it that was played; the line has notes.
    recording : Path
        The sound file. It is read, and neither kept nor changed.
    name : str
        What the player calls it, where the file at hand is a copy under another name.
    reference_hz : float, optional
        The A that was tuned to, 380 to 480; estimated where it is None.
    told_share : function, optional
        Is called again and again with the share of the work that is done, 0 to 1.

    Returns
    -------
    dict
        The document of `listen` with ``page``: ``{"said", "supposed" (what the score did not say), "well": [text],
        "advice": [{"what", "where": [measure], "try"}], "notes": [...], "stays": [...], "scale_cents", "seconds",
        "problems": [text]}``.

        ``notes`` has one entry a note of the plan, in its order: ``{"index", "ref" (of the written note), "state":
        "right" | "off" | "wrong" | "missed" | "short", "off_cents": number or null, "short" (two or three words to
        stand under the note, empty where all is well), "said" (a sentence with its place, or empty)}``; a note that is
        `short` was right, but too short for cents.

        ``stays`` is for playing along: every note as it sounds in the recording, those of earlier tries too, in the
        order of time: ``{"start_s", "end_s", "index", "label", "out_mm" (where the slide was; null on valves and where
        nothing is known), "counts" (whether this try is the one that is told)}``.

    Raises
    ------
    Unreadable
        If the file holds no sound that can be read, nobody plays in it, or something else than this line.
    ImportError
        If numpy or soundfile (extra ``listen``) is not installed.
    """
    sound = read_sound(recording, name=name)
    return view_of(analysis, sound, hear(sound, planned, reference_hz=reference_hz, told_share=told_share))


def view_of(analysis: Analysis, sound: Sound, hearing: Hearing) -> dict[str, Any]:
    """Return what `listen_view` returns, of what was heard already."""
    document = listen_document(hearing, analysis.cautions, analysis.problems)
    document["page"] = {
        "said": plain(heard_said(hearing)), "supposed": plain(supposed_text(hearing.planned)),
        "well": [plain(text) for text in document["well"]],
        "advice": [{"what": plain(one["what"]), "where": one["where"], "try": plain(one["try"])}
                   for one in document["advice"]],
        "notes": [_note(hearing, note) for note in hearing.notes], "stays": _stays(hearing),
        "scale_cents": SCALE_CENTS, "seconds": round(sound.seconds, 3),
        "problems": [plain_line(problem) for problem in hearing.problems],
    }
    return document


def _note(hearing: Hearing, note: HeardNote) -> dict[str, Any]:
    cause = note.cause
    short = short_finding(note)
    state = ("missed" if cause.kind == "missed" else "wrong" if not cause.heard else
             "short" if cause.off_cents is None else "off" if short else "right")
    return {"index": note.index, "ref": hearing.planned.plan.notes[note.index].note.refs[0], "state": state,
            "off_cents": None if cause.off_cents is None else round(cause.off_cents, 1), "short": short,
            "said": plain(f"{place_of(hearing, note)} {cause.what}") if cause.what else ""}


def _stays(hearing: Hearing) -> list[dict[str, Any]]:
    told = {id(note.sound): note for note in hearing.notes if note.sound is not None}
    found = []
    for stay in hearing.stays:
        if stay.midi is None:
            continue
        choice = hearing.planned.plan.notes[stay.index].choice
        note = told.get(id(stay))
        out_mm = choice.extension_mm if choice is not None and stay.near else None
        if out_mm is not None and note is not None and note.cause.slide_mm is not None:
            out_mm = max(0.0, out_mm + note.cause.slide_mm)
        found.append({"start_s": round(stay.start_s, 3), "end_s": round(stay.end_s, 3), "index": stay.index,
                      "label": choice.label if choice is not None else "", "counts": note is not None,
                      "out_mm": None if out_mm is None else round(out_mm, 1)})
    return found
