"""The map as data: the JSON document of the contract, rows for tables, and marks."""

from collections.abc import Iterable
from itertools import islice
from typing import Any

from analyzer.analysis import Analysis, Planned
from analyzer.horns.candidate import Candidate
from analyzer.intonation.targets import Target
from analyzer.plan.axes import axes
from analyzer.plan.plan import Plan, PlannedNote
from analyzer.plan.slurs import slurs_of
from analyzer.plan.variants import Variant, pins_of, variants, walks
from analyzer.report.typical import basis, slide_json
from analyzer.words import shown

SCHEMA = "lowbrass.map/1"
MOST_VARIANTS = 5
"""More plans of other patterns than this are no help in choosing, and take long to find."""


def map_document(analysis: Analysis, *, plans: int = 0) -> dict[str, Any]:
    """Return the JSON document of a map; with `plans`, that many best plans of each line."""
    document = analysis.document
    return {
        "schema": SCHEMA,
        "score": {"file": document.name, "title": document.title},
        "lines": [line_json(one, plans) for one in analysis.lines],
        "problems": [problem.as_json() for problem in analysis.problems],
        "cautions": list(analysis.cautions),
    }


def line_json(one: Planned, plans: int = 0) -> dict[str, Any]:
    """Return one line with its notes and totals.

    With `plans`, that many best plans, and up to `MOST_VARIANTS` of them that follow another pattern each.
    """
    plan, totals = one.plan, one.plan.totals
    result: dict[str, Any] = {
        "part": {"id": one.part.id, "name": one.part.name},
        "line": plan.line.number, "of": plan.line.of, "horn": plan.horn.name, "horn_assumed": one.assumed,
        "cents_from": basis(plan.horn), "slide": slide_json(plan.horn),
        "assumptions": [found.as_json() for found in one.assumptions],
        "notes": [note_json(note, one.targets[note.index] if one.targets else None) | {"slur": kind}
                  for note, kind in zip(plan.notes, slurs_of(plan), strict=True)],
        "groups": [
            {"first": group.first, "last": group.last, "measures": list(group.measures), "labels": list(group.labels),
             "chart_labels": list(group.chart_labels), "saves_mm": _rounded(group.saves_mm), "why": group.why}
            for group in plan.groups
        ],
        "totals": {
            "notes": totals.notes, "unplayable": totals.unplayable, "travel_mm": _rounded(totals.travel_mm),
            "chart_travel_mm": _rounded(totals.chart_travel_mm), "valve_changes": totals.valve_changes,
            "peak_speed_mm_s": _rounded(totals.peak_speed_mm_s),
            "tempo_ceiling_bpm": _rounded(totals.tempo_ceiling_bpm), "ceiling_by": totals.ceiling_by,
            "beat": beat_json(plan),
        },
        "cost": round(plan.cost, 3), "axes": axes_json(one),
    }
    if plans:
        pins = pins_of(plan)
        result["plans"] = [{"cost": round(cost, 3), "labels": _labels(choices)}
                           for cost, choices in islice(walks(one.planner, pins), plans)]
        result["variants"] = [
            {"cost": round(other.cost, 3), "labels": _labels(other.choices), "travel_mm": _rounded(other.travel_mm),
             "valve_changes": other.valve_changes, "differs": list(other.differs), "what": what_differs(plan, other)}
            for other in variants(one.planner, min(plans, MOST_VARIANTS), pins)]
    return result


def axes_json(one: Planned) -> list[dict[str, Any]]:
    """Return what makes a line hard, axis by axis, never as one grade."""
    return [{"axis": axis.axis, "share": axis.share, "measure": axis.measure, "index": axis.index,
             "reason": axis.reason} for axis in axes(one.planner, one.plan)]


def beat_json(plan: Plan) -> dict[str, Any]:
    """Return the tempo ceiling in the beat that is printed where it is reached."""
    beat, bpm = plan.ceiling_in_beats
    return {"unit": beat.unit, "dots": beat.dots, "bpm": _rounded(bpm)}


def _labels(choices: Iterable[Candidate | None]) -> list[str | None]:
    return [choice.label if choice else None for choice in choices]


def _rounded(value: float | None, digits: int = 1) -> float | None:
    return None if value is None else round(value, digits)


def choice_json(choice: Candidate | None) -> dict[str, Any]:
    """Return the contract's fields of a choice."""
    if choice is None:
        return {"label": None, "valves": [], "position": None, "shade": "", "partial": None, "extension_mm": None,
                "off_cents": None}
    return {
        "label": choice.label, "valves": list(choice.valves), "position": choice.position, "shade": choice.shade,
        "partial": choice.partial, "extension_mm": _rounded(choice.extension_mm, 2),
        "off_cents": round(choice.off_cents, 2) + 0.0,
    }


def target_json(choice: Candidate | None, target: Target | None) -> dict[str, Any]:
    """Return where a note belongs in its chord, and how far that moves the slide."""
    if target is None:
        return {"chord": None, "target_cents": 0, "root_cents": 0, "shift_mm": 0}
    return {
        "chord": {"root": target.chord.root, "kind": target.chord.kind.name, "member": target.member},
        "target_cents": round(target.cents, 2), "root_cents": round(target.root_cents, 2),
        "shift_mm": None if choice is None or choice.extension_mm is None else round(choice.shift_mm, 2),
    }


def note_json(one: PlannedNote, target: Target | None = None) -> dict[str, Any]:
    """Return one note of the map; `target` is its place in the chord, where chords are tuned."""
    note = one.note
    return {
        "index": one.index, "measure": note.measure, "onset": str(note.onset), "duration": str(note.duration),
        "written": note.written.name, "sounding": note.sounding.name, "midi": note.midi, "grace": note.grace,
        **choice_json(one.choice),
        "chart_label": one.usual.label if one.usual else None, "familiarity": one.rank, "toss_up": one.toss_up,
        "pinned": one.pinned, "why": list(one.why), **target_json(one.choice, target),
        "alternatives": [
            {"label": other.choice.label, "valves": list(other.choice.valves), "position": other.choice.position,
             "extra_cost": round(other.extra_cost, 3)}
            for other in one.alternatives
        ],
        "problem": one.problem.as_json() if one.problem else None,
    }


ROW_COLUMNS = ("part", "line", "horn", "measure", "onset", "written", "sounding", "label", "usual", "partial",
               "extension_mm", "off_cents", "why", "problem")


def rows(analysis: Analysis) -> list[dict[str, Any]]:
    """Return one flat row a note, with `ROW_COLUMNS`, for tables."""
    result = []
    for one in analysis.lines:
        for note in one.plan.notes:
            data = note_json(note)
            result.append({
                "part": one.part.name, "line": one.plan.line.number, "horn": one.plan.horn.name,
                "measure": data["measure"], "onset": data["onset"], "written": data["written"],
                "sounding": data["sounding"], "label": data["label"], "usual": data["chart_label"],
                "partial": data["partial"], "extension_mm": data["extension_mm"], "off_cents": data["off_cents"],
                "why": " ".join(note.why), "problem": note.problem.what if note.problem else None,
            })
    return result


def what_differs(plan: Plan, other: Variant, most: int = 6) -> str:
    """Say in a sentence what another plan does otherwise, by measure."""
    said = []
    for k in other.differs:
        note, choice = plan.notes[k], other.choices[k]
        if choice and note.choice:
            how = "in" if choice.position is not None else "with"
            said.append(f"measure {note.note.measure} {note.note.written.pretty} {how} {shown(choice.label)} "
                        f"(not {shown(note.choice.label)})")
    if not said:
        return "The plan itself."
    more = f", and {len(said) - most} more notes" if len(said) > most else ""
    return f"Differs: {', '.join(said[:most])}{more}."
