"""From an open score and a question to what the page shows. No network here, and no engraving: see `engraver`."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from analyzer.analysis import Analysis, Planned, analyse, cautions_for
from analyzer.engrave.copy import Copy, engraving_copy
from analyzer.horns.candidates import candidates
from analyzer.horns.horn import Horn
from analyzer.horns.profiles import horn_names, load_horn
from analyzer.marking.mark import Mark
from analyzer.marking.which import marks
from analyzer.picture.picture import NARROW, WIDE, key_of, pictures_of
from analyzer.pitch import pitch_of
from analyzer.plan.difficulty import difficulties
from analyzer.plan.plan import Plan, PlannedNote
from analyzer.plan.summary import ample, sentences
from analyzer.problem import unreadable
from analyzer.report.heading import heading
from analyzer.score.document import Document
from analyzer.score.line import Line
from analyzer.score.parts import find_parts
from analyzer.selection import no_low_brass
from analyzer.web.asked import Asked, Pin
from analyzer.web.choices import of_note, priced, ways_of
from analyzer.web.sessions import Session
from analyzer.words import shown


@dataclass(frozen=True, slots=True, kw_only=True)
class Pinned:
    """One line planned with its pins: those that hold, by note index, and those that do not fit the horn.

    `others` are the part's other lines with their pins: their marks stand on the same staff.
    """

    analysis: Analysis
    one: Planned
    held: dict[int, str]
    misfits: tuple[Pin, ...]
    others: tuple[Planned, ...]


def parts_of(document: Document) -> list[dict[str, Any]]:
    """Return the parts for the page's list, low brass first in score order."""
    parts, _ = find_parts(document)
    return [{"id": one.id, "name": one.full_name or one.name or one.id, "low_brass": one.low_brass,
             "horn": one.horn or ""} for one in sorted(parts, key=lambda one: not one.low_brass)]


def notice_of(document: Document) -> str:
    """Return what the page says in place of a plan where nothing is recognised as low brass; else nothing."""
    if any(part.low_brass for part in find_parts(document)[0]):
        return ""
    return replace(no_low_brass(document), try_="Choose a part below to plan it all the same.").line()


def horns() -> list[dict[str, str]]:
    """Return the horns for the page's list."""
    return [{"name": name, "description": load_horn(name).description, "family": load_horn(name).family}
            for name in horn_names()]


def analysis_for(session: Session, asked: Asked) -> Analysis:
    """Return the analysis of the asked part without pins, from memory where the same was asked before."""
    known = session.known(asked.key)
    if known is None:
        known = analyse(session.document, asked.request())
        session.keep(asked.key, known)
    return known


def pins_of(one: Planned, pins: Sequence[Pin]) -> tuple[dict[int, str], list[Pin]]:
    """Sort the pins of one line into those that hold here (by note index) and those that do not fit this horn.

    Pins of notes outside the asked measures are in neither: they wait.
    """
    places = {note.refs[0]: index for index, note in enumerate(one.plan.line.notes)}
    held: dict[int, str] = {}
    misfits: list[Pin] = []
    for pin in pins:
        if (pin.part, pin.line) != (one.part.id, one.plan.line.number) or pin.ref not in places:
            continue
        index = places[pin.ref]
        ways = candidates(one.plan.horn, one.plan.line.notes[index].midi)
        if any(way.label == pin.label for way in ways):
            held[index] = pin.label
        else:
            misfits.append(pin)
    return held, misfits


def request_pins(analysis: Analysis, pins: Sequence[Pin]) -> dict[tuple[int | None, str, int], str]:
    """Return the pins in the form of a `Request`: (line, measure, nth attack) to label."""
    result: dict[tuple[int | None, str, int], str] = {}
    for number, one in enumerate(analysis.lines, 1):
        held, _ = pins_of(one, pins)
        counted = nths(one.plan.line)
        for index, label in held.items():
            result[number, one.plan.line.notes[index].measure, counted[index]] = label
    return result


def nths(line: Line) -> list[int]:
    """Return which attack of its measure each note is, from 1."""
    seen: dict[str, int] = {}
    result = []
    for note in line.notes:
        seen[note.measure] = seen.get(note.measure, 0) + 1
        result.append(seen[note.measure])
    return result


def with_pins(one: Planned, held: dict[int, str]) -> Planned:
    """Return a line planned with pins; as it is where it has none."""
    return replace(one, plan=one.planner.plan(held)) if held else one


def pinned_for(session: Session, asked: Asked) -> Pinned:
    """Plan the asked line with its pins; the answer to the question just asked is kept.

    Raises
    ------
    Unreadable
        If part, line, horn or measures are not there.
    """
    key = (asked.key, asked.line, asked.pins)
    if session.last is not None and session.last[0] == key:
        assert isinstance(session.last[1], Pinned)
        return session.last[1]
    analysis = analysis_for(session, asked)
    found = [one for one in analysis.lines if one.plan.line.number == asked.line]
    where = f"{session.document.name}, {asked.part}"
    if not found:
        raise unreadable("no-such-line", where=where,
                         what="this part has no notes" if not analysis.lines else f"it has no line {asked.line}",
                         try_="Choose another part.")
    held, misfits = pins_of(found[0], asked.pins)
    one = with_pins(found[0], held)
    others = tuple(with_pins(each, pins_of(each, asked.pins)[0]) for each in analysis.lines if each is not found[0])
    if not one.plan.notes:
        raise unreadable("no-notes", where=f"{session.document.name}, {one.plan.line.part_name}",
                         what="there are no notes in these measures" if asked.measures else "this part has no notes",
                         try_="Choose other measures or another part.")
    result = Pinned(analysis=analysis, one=one, held=held, misfits=tuple(misfits), others=others)
    session.last = (key, result)
    return result


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What was answered before of the same line, for the same horn and player: notes that stay are not said anew."""

    pinned: Pinned
    notes: list[dict[str, Any]]
    ways: dict[str, Any]


def answer(session: Session, asked: Asked, told: Told | None = None) -> dict[str, Any]:
    """Return what the page says of a line: notes with their choices, totals, tempo, problems, cautions.

    Notes that are as `told` are the same objects in the answer.
    """
    pinned = pinned_for(session, asked)
    one, plan, held = pinned.one, pinned.one.plan, pinned.held
    measures = plan.line.measures
    counted = nths(one.plan.line)
    totals = plan.totals
    return {
        "part": asked.part, "line": plan.line.number, "heading": heading(replace(one, assumed=False)),
        "lines": [{"line": each.plan.line.number, "of": each.plan.line.of} for each in pinned.analysis.lines],
        "others": _others(pinned), "horn": plan.horn.name, "assumed": one.assumed, "family": plan.horn.family,
        "supposed": [found.line() for found in one.assumptions],
        "treble": one.part.low_brass and any(note.clef == "treble" for note in plan.line.notes),
        "notes": [told.notes[k] if told and _stays(plan, told.pinned.one.plan, k) else
                  _note(one, k, counted[k], held, asked.chosen) for k in range(len(plan.notes))],
        "ways": told.ways if told else {
            str(midi): ways_of(plan.horn, plan.player, midi) for midi in {note.midi for note in plan.line.notes}},
        "summary": " ".join(sentences(plan, difficulties(one.planner, plan))), "unplayable": totals.unplayable,
        "tempo": {"asked": asked.tempo_bpm, "marked": sorted({round(time.bpm) for time in one.planner.times}),
                  "ceiling": totals.tempo_ceiling_bpm, "ample": ample(plan),
                  "hardest": [counted_name(plan.notes[k], counted[k]) for k in plan.hardest]},
        "measures": {"first": measures[0].number if measures else "", "last": measures[-1].number if measures else ""},
        "misfits": [{"part": pin.part, "line": pin.line, "ref": pin.ref, "label": pin.label}
                    for pin in pinned.misfits],
        "problems": [problem.line() for problem in pinned.analysis.problems],
        "cautions": list(cautions_for([plan])),
    }


def _stays(plan: Plan, before: Plan, k: int) -> bool:
    """Tell whether all that is said of a note still holds; its prices hold on the choices beside it too."""
    return plan.notes[k] is before.notes[k] and not plan.notes[k].pinned and all(
        plan.notes[beside].choice is before.notes[beside].choice
        for beside in (k - 1, k + 1) if 0 <= beside < len(plan.notes))


def _others(pinned: Pinned) -> dict[str, int]:
    """Return whose the notes are that the asked line does not play: the place of the note to the line."""
    mine = {ref for note in pinned.one.plan.line.notes for ref in note.refs}
    return {str(ref): each.plan.line.number for each in pinned.others for note in each.plan.line.notes
            for ref in note.refs if ref not in mine}


def copy_for(session: Session, asked: Asked) -> Copy:
    """Return the copy to engrave: the part, or the asked measures of it, with the marks of all its lines."""
    measures = pinned_for(session, asked).one.plan.line.measures
    whole = not measures or len(measures) == len(session.document.part_measures(asked.part))
    return engraving_copy(session.document, asked.part, marks_for(session, asked),
                          measures=None if whole else (measures[0].index, measures[-1].index))


def marks_for(session: Session, asked: Asked) -> tuple[Mark, ...]:
    """Return the marks of all lines of the asked part, the first player's first."""
    return marks_of(pinned_for(session, asked))


def marks_of(pinned: Pinned) -> tuple[Mark, ...]:
    """Return the marks of a planned part, the first player's first."""
    return tuple(marks(sorted((pinned.one, *pinned.others), key=lambda each: each.plan.line.number)))


def pictures_for(session: Session, asked: Asked) -> list[str]:
    """Return the pictures of slide or valves, the key first."""
    one = pinned_for(session, asked).one
    width = NARROW if asked.width_px < (NARROW + WIDE) / 2 else WIDE
    return [picture.svg(f"picture-{place}")
            for place, picture in enumerate((key_of(one, width=width), *pictures_of(one, width=width)))]


def counted_name(note: PlannedNote, nth: int) -> str:
    """Return the place of a note for a person."""
    return f"measure {note.note.measure}, note {nth}"


def _note(one: Planned, index: int, nth: int, held: dict[int, str], chosen: int | None) -> dict[str, Any]:
    """Return one note. To price a pinned note takes a plan of its own: only the `chosen` one is (by its place)."""
    planned = one.plan.notes[index]
    note = planned.note
    if planned.pinned and note.refs[0] == chosen:
        prices = priced(one.planner, held, index, planned, one.plan.cost)
    else:
        prices = of_note(planned)
    label = planned.choice.label if planned.choice else None
    return {
        "refs": list(note.refs), "measure": note.measure, "nth": nth, "written": note.written.pretty,
        "sounding": note.sounding.pretty, "midi": note.midi, "label": label, "shown": shown(label) if label else "×",
        "usual": shown(planned.usual.label) if planned.usual else None, "changed": planned.changed,
        "pinned": planned.pinned, "priced": not planned.pinned or note.refs[0] == chosen, "why": list(planned.why),
        "prices": [[name, round(price, 1)] for name, price in prices],
        "way": _ways_mm(one, index, prices),
        "problem": f"{planned.problem.what}. {planned.problem.try_}" if planned.problem else None,
    }


def _ways_mm(one: Planned, index: int, prices: Sequence[tuple[str, float]]) -> list[float | None]:
    """Return the slide's way to a note and on from it, for each priced choice between the same neighbours. [mm]"""
    horn: Horn = one.plan.horn
    if horn.family != "slide":
        return [None] * len(prices)
    notes = one.plan.notes
    beside = [notes[k].choice for k in (index - 1, index + 1) if 0 <= k < len(notes)]
    places = [choice.extension_mm or 0.0 for choice in beside if choice is not None]
    where = {way.label: way.extension_mm or 0.0 for way in candidates(horn, notes[index].note.midi)}
    return [round(sum(abs(where[label] - place) for place in places)) for label, _ in prices]


def ceilings() -> list[dict[str, str]]:
    """Return the choices for the attachment's ceiling: C3 as usual, a few above, none."""
    return [{"value": pitch_of(midi).name, "text": f"{pitch_of(midi).pretty}" + (" (usual)" if midi == 48 else "")}
            for midi in (48, 50, 51, 53, 55, 58)] + [{"value": "none", "text": "no limit"}]
