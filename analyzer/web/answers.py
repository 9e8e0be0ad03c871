"""What the page is told: documents made of an open score and a question, by the domain and by `report`."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from time import perf_counter
from typing import Any

from analyzer import cautions
from analyzer.analysis import Planned, cautions_for
from analyzer.engrave.copy import engraving_copy
from analyzer.horns.candidates import candidates
from analyzer.horns.horn import Horn
from analyzer.horns.profiles import horn_names, load_horn
from analyzer.marking.mark import Mark
from analyzer.marking.which import aim_said, marks
from analyzer.picture.picture import NARROW, WIDE, key_of, pictures_of
from analyzer.pitch import pitch_of
from analyzer.plain import json_text
from analyzer.plan.difficulty import difficulties, hardest
from analyzer.plan.plan import Plan, PlannedNote
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner, allowed_choices
from analyzer.plan.summary import ample, sentences
from analyzer.problem import unreadable
from analyzer.report.heading import heading
from analyzer.report.page_answers import against_choice, choice_said, review_answer
from analyzer.report.plain import in_short, plain, plain_line
from analyzer.report.playing import playing_of
from analyzer.report.typical import slide_supposed
from analyzer.review.harmony import Harmony
from analyzer.review.line import review
from analyzer.review.ossia import ossia
from analyzer.score.document import Document, read_score
from analyzer.score.parts import find_parts
from analyzer.selection import no_low_brass
from analyzer.web.asked import Asked, Standing
from analyzer.web.engraver import ID_PREFIX, Length
from analyzer.web.forms import pins_text, read_pins
from analyzer.web.scores import Facts
from analyzer.web.state import PlannedPart, Session, analysis_for, nths, part_planned, request_pins, wake
from analyzer.words import shown


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """A score that was opened: its facts, what the page says of it, and its `xml` where that is kept in its place.

    `source_ending` is that of a file in another form that takes marks.
    """

    facts: Facts
    ending: str
    told: dict[str, Any]
    xml: bytes | None
    source_ending: str = ""


def open_score(score_id: str, data: bytes, name: str) -> Opened:
    """Read a score that was given to the page, and keep it here.

    Raises
    ------
    Unreadable
        As for `read_score`.
    """
    document = read_score(data, name)
    wake(score_id, document)
    return Opened(
        facts=Facts(id=score_id, name=document.name, problems=document.problems, lost=document.lost),
        ending=document.ending,
        told={"title": document.title, "parts": parts_of(document), "notice": notice_of(document),
              "compressed": document.archive is not None},
        # A score of another form is kept as the MusicXML that it became, so that it is turned only once.
        xml=None if document.xml == data or document.archive else document.xml,
        source_ending=document.source.ending if document.source else "")


def parts_of(document: Document) -> list[dict[str, Any]]:
    """Return the parts for the page's list, low brass first in score order."""
    parts, _ = find_parts(document)
    return [{"id": part.id, "name": part.full_name or part.name or part.id, "low_brass": part.low_brass,
             "horn": part.horn or ""} for part in sorted(parts, key=lambda part: not part.low_brass)]


def notice_of(document: Document) -> str:
    """Return what the page says in place of a plan where nothing is recognised as low brass; else nothing."""
    if any(part.low_brass for part in find_parts(document)[0]):
        return ""
    return plain_line(no_low_brass(document))


def horns() -> list[dict[str, Any]]:
    """Return the horns for the page's list."""
    return [{"name": name, "description": in_short(load_horn(name).description), "family": load_horn(name).family,
             "own": False} for name in horn_names()]


@dataclass(frozen=True, slots=True, kw_only=True)
class Earlier:
    """What was answered before of the same line, for the same horn and player: notes that stay are not said anew.

    `marks` are those of all players of the part.
    """

    part: PlannedPart
    marks: tuple[Mark, ...]
    notes: list[dict[str, Any]]
    candidates: dict[str, Any]


def answer(session: Session, asked: Asked, earlier: Earlier | None = None) -> dict[str, Any]:
    """Return what the page says of a line: notes with their choices, totals, tempo, problems, cautions.

    Notes that are as in the `earlier` answer are the same objects in the answer.
    """
    part = part_planned(session, asked)
    planned, plan = part.line, part.line.plan
    measures = plan.line.measures
    counted = nths(plan.line)
    totals = plan.totals
    found = difficulties(planned.planner, plan)
    return {
        "part": asked.part, "line": plan.line.number, "heading": heading(replace(planned, assumed=False)),
        "lines": [{"line": line.plan.line.number, "of": line.plan.line.of} for line in part.analysis.lines],
        "others": _others(part), "horn": plan.horn.name, "assumed": planned.assumed, "family": plan.horn.family,
        "supposed": [*(plain(assumption.line()) for assumption in planned.assumptions),
                     *filter(None, [slide_supposed(plan.horn)])],
        "treble": planned.part.low_brass and any(note.clef == "treble" for note in plan.line.notes),
        "notes": [earlier.notes[k] if earlier and _stays(plan, earlier.part.line.plan, k) else
                  _note(planned, k, counted[k], part.held, asked.chosen) for k in range(len(plan.notes))],
        "candidates": earlier.candidates if earlier else {
            str(midi): candidates_of(plan.horn, plan.player, midi)
            for midi in {note.midi for note in plan.line.notes}},
        "summary": plain(" ".join(sentences(plan, found))),
        # What the horn does not have is no matter of practice.
        "practice_first": [one.measure for one in hardest(tuple(one for one in found if one.kind != "unplayable"), 1)],
        "unplayable": totals.unplayable,
        "tempo": {"asked": asked.tempo_bpm, "marked": sorted({round(time.bpm) for time in planned.planner.times}),
                  "ceiling": totals.tempo_ceiling_bpm, "ample": ample(plan),
                  "hardest": [f"measure {plan.notes[k].note.measure}, note {counted[k]}" for k in plan.hardest]},
        "measures": {"first": measures[0].number if measures else "", "last": measures[-1].number if measures else ""},
        "misfits": [{"part": pin.part, "line": pin.line, "ref": pin.ref, "label": pin.label} for pin in part.misfits],
        "problems": [plain_line(problem) for problem in part.analysis.problems],
        "cautions": list(cautions_for([plan])),
    }


def _stays(plan: Plan, before: Plan, k: int) -> bool:
    """Tell whether all that is said of a note still holds; its prices hold on the choices beside it too."""
    return plan.notes[k] is before.notes[k] and not plan.notes[k].pinned and all(
        plan.notes[beside].choice is before.notes[beside].choice
        for beside in (k - 1, k + 1) if 0 <= beside < len(plan.notes))


def _others(part: PlannedPart) -> dict[str, int]:
    """Return whose the notes are that the asked line does not play: the place of the note to the line."""
    mine = {ref for note in part.line.plan.line.notes for ref in note.refs}
    return {str(ref): other.plan.line.number for other in part.others for note in other.plan.line.notes
            for ref in note.refs if ref not in mine}


def length_for(session: Session, asked: Asked, at: int | None) -> Length:
    """Return what to engrave at once of the part, or of the asked measures of it, with the marks of all its lines.

    `at` is the measure with which it begins, None at the beginning.

    Raises
    ------
    Unreadable
        If there is no such measure.
    """
    from analyzer.engrave.lengths import end_of_length, spanned

    document = session.document
    part = part_planned(session, asked)
    measures = part.line.plan.line.measures
    whole = not measures or len(measures) == len(document.part_measures(asked.part))
    first, last = (0, len(document.part_measures(asked.part)) - 1) if whole else (measures[0].index, measures[-1].index)
    begin = first if at is None else at
    if not first <= begin <= last:
        raise unreadable("bad-question", where="the music", what="there is no such measure",
                         try_="Load the page again.")
    end = end_of_length(document, asked.part, begin, last)
    copy = engraving_copy(document, asked.part, marks_of(part), measures=(begin, end), continued=begin > first)
    if end == last and begin == first:
        return Length(copy=copy)
    key = f"web.spanned {asked.part}"
    if key not in document.memo:
        document.memo[key] = spanned(document, asked.part)
    return Length(copy=copy, prefix=f"{ID_PREFIX}{begin}-" if begin > first else ID_PREFIX,
                  following=None if end == last else end + 1, cut=document.memo[key])


def marks_of(part: PlannedPart) -> tuple[Mark, ...]:
    """Return the marks of a planned part, the first player's first."""
    return tuple(marks(sorted((part.line, *part.others), key=lambda line: line.plan.line.number)))


def pictures_for(session: Session, asked: Asked) -> dict[str, list[str]]:
    """Draw how slide or valves move: the key first."""
    planned = part_planned(session, asked).line
    width = NARROW if asked.width_px < (NARROW + WIDE) / 2 else WIDE
    drawn = (key_of(planned, width=width), *pictures_of(planned, width=width))
    return {"pictures": [picture.svg(f"picture-{place}") for place, picture in enumerate(drawn)]}


def _note(planned: Planned, index: int, nth: int, held: dict[int, str], chosen: int | None) -> dict[str, Any]:
    """Return one note. To price a pinned note takes a plan of its own: only the `chosen` one is (by its place)."""
    found = planned.plan.notes[index]
    note = found.note
    looked_at = note.refs[0] == chosen
    prices = priced(planned.planner, held, index, found, planned.plan.cost) if found.pinned and looked_at \
        else prices_of(found)
    label = found.choice.label if found.choice else None
    return {
        "refs": list(note.refs), "measure": note.measure, "nth": nth, "written": note.written.pretty,
        "sounding": note.sounding.pretty, "midi": note.midi, "label": label, "shown": shown(label) if label else "×",
        "aim": aim_said(found), "usual": shown(found.usual.label) if found.usual else None, "changed": found.changed,
        "pinned": found.pinned, "priced": not found.pinned or looked_at, "why": [plain(text) for text in found.why],
        "prices": [[name, round(price, 1)] for name, price in prices],
        "travel_mm": _travel_mm(planned, index, prices),
        "problem": f"{plain(found.problem.what)}. {plain(found.problem.try_)}" if found.problem else None,
    }


def _travel_mm(planned: Planned, index: int, prices: Sequence[tuple[str, float]]) -> list[float | None]:
    """Return the slide's travel to a note and on from it, for each priced choice between the same neighbours. [mm]"""
    if planned.plan.horn.family != "slide":
        return [None] * len(prices)
    notes = planned.plan.notes
    beside = [notes[k].choice for k in (index - 1, index + 1) if 0 <= k < len(notes)]
    places = [choice.out_mm for choice in beside if choice is not None]
    where = _out_mm(planned.plan.horn, notes[index].note.midi)
    return [round(sum(abs(where[label] - place) for place in places)) for label, _ in prices]


@lru_cache(maxsize=256)
def _out_mm(horn: Horn, midi: int) -> dict[str, float]:
    """Return how far the slide is out for each way to sound a pitch. [mm]"""
    return {candidate.label: candidate.out_mm for candidate in candidates(horn, midi)}


def ceilings() -> list[dict[str, str]]:
    """Return the choices for the attachment's ceiling: C3 as usual, a few above, none."""
    return [{"value": pitch_of(midi).name, "text": f"{pitch_of(midi).pretty}" + (" (usual)" if midi == 48 else "")}
            for midi in (48, 50, 51, 53, 55, 58)] + [{"value": "none", "text": "no limit"}]


def answer_since(session: Session, asked: Asked, standing: Standing) -> tuple[dict[str, Any], str]:
    """Return the answer to a question less what stands on the page already, and how long its pieces took.

    Over `answer` it has ``name``, by which the page says what stands. Where the answer that stands is of the same line,
    horn and player, ``notes`` and ``candidates`` are left out, and ``differs`` has the notes that differ, by index.
    ``groups`` are those of `new_layers` for the pictures that stand, each to go in the place of the one with its id;
    None where one of them is not known or the marks do not fit into it, so that they must be engraved anew.

    The times are the value of a Server-Timing header: ``solve`` and ``marks``. [ms]

    Raises
    ------
    Unreadable
        As for `part_planned`.
    """
    start_s = perf_counter()
    part = part_planned(session, asked)
    before = session.answers.get(standing.answer)
    earlier = before if isinstance(before, Earlier) and before.part.line.planner is part.line.planner else None
    found = answer(session, asked, earlier)
    kept = Earlier(part=part, marks=marks_of(part), notes=found["notes"], candidates=found["candidates"])
    if earlier:
        del found["notes"], found["candidates"]
        found["differs"] = {k: note for k, (note, old) in enumerate(zip(kept.notes, earlier.notes, strict=True))
                            if note is not old and note != old}
    solved_s = perf_counter()
    groups = _groups(session, kept.marks, standing)
    times = f"solve;dur={1000 * (solved_s - start_s):.1f}, marks;dur={1000 * (perf_counter() - solved_s):.1f}"
    return {**found, "name": session.answered(kept), "groups": groups}, times


def _groups(session: Session, marks: tuple[Mark, ...], standing: Standing) -> tuple[str, ...] | None:
    places = [session.pictures.get(name) for name in standing.pictures]
    if not places or None in places:
        return None
    from analyzer.engrave.engrave import new_layers

    drawn = session.answers.get(standing.marks)
    before = drawn.marks if isinstance(drawn, Earlier) else None
    groups: list[str] = []
    for engraving in places:
        assert engraving is not None
        heads = {ref for sheet in engraving.sheets for system in sheet.systems for ref in system.heads}
        fresh = new_layers(engraving, [mark for mark in marks if mark.ref in heads],
                           None if before is None else [mark for mark in before if mark.ref in heads])
        if fresh is None:
            return None
        groups += fresh
    return tuple(groups)


def candidates_of(horn: Horn, player: Player, midi: int) -> list[dict[str, Any]]:
    """Return every way to sound a pitch, with one line on each; `against` says why the plan itself leaves it out."""
    allowed = allowed_choices(horn, player, midi)
    return [{"label": candidate.label, "shown": shown(candidate.label), "detail": choice_said(candidate),
             "against": "" if candidate in allowed else plain(against_choice(horn, player, candidate))}
            for candidate in candidates(horn, midi)]


def priced(planner: Planner, pins: Mapping[int, str], index: int, pinned: PlannedNote, cost: float,
           ) -> list[tuple[str, float]]:
    """Price the choices of a pinned note as if its own pin were not there: (label, extra cost), best first."""
    free = planner.plan({k: label for k, label in pins.items() if k != index})
    prices = dict(prices_of(free.notes[index]))
    if pinned.choice is not None:
        prices.setdefault(pinned.choice.label, max(0.0, cost - free.cost))
    return sorted(prices.items(), key=lambda item: item[1])


def prices_of(note: PlannedNote) -> list[tuple[str, float]]:
    """Return (label, extra cost) of the choices that the plan weighed, best first."""
    if note.choice is None:
        return []
    return [(note.choice.label, 0.0), *((other.choice.label, other.extra_cost) for other in note.alternatives)]


def sound_for(session: Session, asked: Asked) -> dict[str, Any]:
    """Return tones, beats and movements of the asked line with its pins, as `playing_of` tells them."""
    return {**playing_of(part_planned(session, asked).line), "caution": cautions.HEARING}


def review_for(session: Session, asked: Asked) -> dict[str, Any]:
    """Review the asked part."""
    analysis = analysis_for(session, asked)
    found = review(analysis)
    beyond = any(finding.severity == "stop" for line in found for finding in line.findings)
    return review_answer(analysis, found, ossia(found, Harmony(session.document)) if beyond else None)


def pins_for(session: Session, asked: Asked) -> tuple[dict[tuple[int | None, str, int], str], str]:
    """Return the pins of the asked part as a request has them, and the horn of its first line."""
    analysis = analysis_for(session, asked)
    return request_pins(analysis, asked.pins), analysis.lines[0].plan.horn.name if analysis.lines else ""


def told(session: Session, work: Callable[..., dict[str, Any]], *arguments: Any) -> bytes:
    """Return what `work` answers as the JSON that is sent, so that the server has no work with it."""
    return json_text(work(session, *arguments), indent=None).encode()


def plan_told(session: Session, asked: Asked, standing: Standing) -> tuple[bytes, str]:
    """Return `answer_since` as the JSON that is sent, and how long its pieces took."""
    found, times = answer_since(session, asked, standing)
    return json_text(found, indent=None).encode(), times


def pins_read_for(session: Session, text: str, name: str) -> dict[str, Any]:
    """Find the notes of a pins file. Raises as `read_pins`."""
    return read_pins(session.document, text, name)


def pins_text_for(session: Session, asked: Asked) -> str:
    """Return the pins as a file. Raises as `pins_text`."""
    return pins_text(session.document, asked.pins)
