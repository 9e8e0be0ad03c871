"""A planned line as the page plays it: tones in seconds, and where slide or valves are at each moment."""

from typing import Any

from analyzer import cautions
from analyzer.horns.candidates import position_place_mm, positions
from analyzer.horns.horn import Horn, Valves
from analyzer.plan.plan import Plan, PlannedNote
from analyzer.web.asked import Asked
from analyzer.web.sessions import Session
from analyzer.web.work import pinned_for


def sound_for(session: Session, asked: Asked) -> dict[str, Any]:
    """Return tones and movements of the asked line with its pins, in the order of the print (no repeats).

    A note's `start_s` and `sounds_s` [s] are those of the plan, its pitch with the `off_cents` of the choice;
    `move_s` [s] before the next note, slide or fingers leave for it. A note that cannot be played has no `label`.
    """
    plan = pinned_for(session, asked).one.plan
    begin_s = plan.notes[0].time.start_s
    return {
        "notes": [_note(one, begin_s) for one in plan.notes],
        "measures": list(dict.fromkeys(one.note.measure for one in plan.notes)),
        "slide": _slide(plan), "valves": list(plan.horn.loop_names), "caution": cautions.HEARING,
    }


def _note(one: PlannedNote, begin_s: float) -> dict[str, Any]:
    choice = one.choice
    return {
        "start_s": round(one.time.start_s - begin_s, 4), "sounds_s": one.time.sounds_s, "move_s": one.time.move_s,
        "midi": one.note.midi, "measure": one.note.measure, "gliss": one.note.gliss_after,
        "label": choice.label if choice else None, "valves": list(choice.valves) if choice else [],
        "off_cents": round(choice.off_cents, 2) if choice else 0.0,
        "extension_mm": None if choice is None or choice.extension_mm is None else round(choice.extension_mm, 1),
    }


def _slide(plan: Plan) -> dict[str, Any] | None:
    """Return the slide's end and the places of its positions in each valve state of the plan. [mm from the stop]"""
    horn = plan.horn
    if horn.family != "slide":
        return None
    states: list[Valves] = list(dict.fromkeys(one.choice.valves for one in plan.notes if one.choice is not None))
    return {"end_mm": round(horn.slide_end_mm), "reach_mm": round(plan.player.reach_on(horn)),
            "places": {"".join(valves): _places(horn, valves) for valves in states or [()]}}


def _places(horn: Horn, valves: Valves) -> list[float]:
    return [round(position_place_mm(horn, valves, place + 1), 1) for place in range(positions(horn, valves))]
