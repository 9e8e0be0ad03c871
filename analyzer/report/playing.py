"""A planned line as something to play along with: tones, beats, and where slide or valves stand when."""

from bisect import bisect_right
from fractions import Fraction
from typing import Any

from analyzer.analysis import Planned
from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import position_place_mm, positions
from analyzer.horns.horn import Horn, Valves
from analyzer.horns.tubing import state
from analyzer.plan.plan import Plan, PlannedNote
from analyzer.plan.timing import clock_of


def playing_of(planned: Planned) -> dict[str, Any]:
    """Return tones, beats and movements of a line, in the order of the print (no repeats).

    A note's `start_s` and `sounds_s` [s] are those of the plan; it sounds `target_cents` + `off_cents` beside equal
    temperament. `move_s` [s] before the next note, slide or fingers leave for it. A note that cannot be played has no
    `label`. `beats` are [seconds, first of its measure], `end_s` is where the last measure ends.
    """
    plan = planned.plan
    begin_s = plan.notes[0].time.start_s if plan.notes else 0.0
    beats, zero_s = _beats(planned)
    return {
        "notes": [_tone(note, zero_s, plan.horn) for note in plan.notes],
        "measures": list(dict.fromkeys(note.note.measure for note in plan.notes)),
        "beats": beats, "slide": slide_of(plan), "valves": list(plan.horn.loop_names), "begin_s": begin_s - zero_s,
    }


def _tone(note: PlannedNote, begin_s: float, horn: Horn) -> dict[str, Any]:
    choice = note.choice
    return {
        "start_s": round(note.time.start_s - begin_s, 4), "sounds_s": note.time.sounds_s, "move_s": note.time.move_s,
        "midi": note.note.midi, "measure": note.note.measure, "gliss": note.note.gliss_after,
        "label": choice.label if choice else None, "valves": list(choice.valves) if choice else [],
        "off_cents": round(choice.off_cents, 2) if choice else 0.0,
        "target_cents": round(choice.target_cents, 2) if choice else 0.0,
        "extension_mm": None if choice is None or choice.extension_mm is None else round(choice.extension_mm, 1),
        "half_mm": _half_mm(horn, choice),
    }


def _half_mm(horn: Horn, choice: Candidate | None) -> float | None:
    """Half the sounding tube at a choice's place: a slide has two legs, so that cents times this tell its move. [mm]"""
    if choice is None or choice.extension_mm is None:
        return None
    return round(state(horn, choice.valves).ratio * horn.tube_mm / 2 + choice.extension_mm, 1)


def slide_of(plan: Plan) -> dict[str, Any] | None:
    """Return the slide's end and the places of its positions in each valve state of the plan. [mm from the stop]"""
    horn = plan.horn
    if horn.family != "slide":
        return None
    states: list[Valves] = list(dict.fromkeys(note.choice.valves for note in plan.notes if note.choice))
    return {"end_mm": round(horn.slide_end_mm), "reach_mm": round(plan.player.reach_on(horn)),
            "places": {"".join(valves): [round(position_place_mm(horn, valves, place + 1), 1)
                                         for place in range(positions(horn, valves))] for valves in states or [()]}}


def _beats(planned: Planned) -> tuple[list[list[float | bool]], float]:
    """Return the printed beats of a line's measures and where the first measure begins. [s of the plan]

    Fermatas and breaths hold the beats up as they hold up the notes.
    """
    planner, line = planned.planner, planned.plan.line
    at = clock_of(line, planner.weights, planner.tempo_bpm)
    onsets = [float(note.onset) for note in line.notes]
    extra = [time.start_s - at(onset) if not note.grace else 0.0
             for note, time, onset in zip(line.notes, planner.times, onsets, strict=True)]
    for index, note in enumerate(line.notes):
        if note.grace:
            extra[index] = extra[index - 1] if index else 0.0

    def seconds(quarter: Fraction) -> float:
        before = bisect_right(onsets, float(quarter)) - 1
        return at(float(quarter)) + (extra[before] if before >= 0 else 0.0)

    beats: list[list[float | bool]] = []
    zero_s = seconds(line.measures[0].onset) if line.measures else 0.0
    for measure in line.measures:
        onset, step = measure.onset, Fraction(line.beat_at(measure.onset).quarters)
        # A pickup ends on the barline: its beats count back from there.
        pickup = measure is line.measures[0] and len(line.measures) > 1 and \
            measure.duration < line.measures[1].duration
        short = measure.duration % step if pickup else Fraction(0)
        places = [onset] if short else []
        place = onset + short
        while place < onset + measure.duration:
            places.append(place)
            place += step
        beats += [[round(seconds(place) - zero_s, 4), place == onset and not pickup] for place in places]
    return beats, zero_s
