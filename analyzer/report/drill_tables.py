"""A practice sheet as data and words: JSON, text, calendar."""

import datetime as dt
from collections.abc import Sequence
from typing import Any

from analyzer.horns.candidate import shown
from analyzer.pitch import Pitch
from analyzer.plan.progress import move_text
from analyzer.practice.drills import RECALL_OFFER, WARM_UP, Drills
from analyzer.practice.kit import BEATS, Exercise
from analyzer.practice.moves import Move, hard_moves
from analyzer.practice.weeks import MINUTES, Day
from analyzer.report.drill_sheet import part_name, sheet_title
from analyzer.report.drill_sound import Drone, tones

SCHEMA = "lowbrass.drill/1"


def drill_document(drills: Drills, days: Sequence[Day] = (), *, moves: int = 12,
                   drone: Drone | None = None) -> dict[str, Any]:
    """Return the JSON document: the `moves` hardest moves, the exercises with their notes, recall, cautions."""
    plan = drills.planned.plan
    number = 0
    exercises = []
    for exercise in drills.exercises:
        labels = [str(number + k) for k in range(1, len(exercise.measures) + 1)]
        number += len(exercise.measures)
        exercises.append(_exercise_json(exercise, labels, drills))
    result: dict[str, Any] = {
        "schema": SCHEMA,
        "score": {"file": drills.document.name, "title": drills.document.title},
        "part": {"id": drills.planned.part.id, "name": drills.planned.part.name},
        "line": plan.line.number, "of": plan.line.of, "horn": plan.horn.name, "horn_assumed": drills.planned.assumed,
        "assumptions": [found.as_json() for found in drills.planned.assumptions],
        "moves": [_move_json(move) for move in drills.moves[:moves]],
        "secure": [move_text(pair) for pair in drills.secure],
        "exercises": exercises,
        "recall": [{"ask": one.ask, "covers": one.covers, "after_days": list(one.after_days)}
                   for one in drills.recall],
        "recall_offer": RECALL_OFFER,
        "remarks": list(drills.remarks),
        "listening": [{"start_s": tone.start_s, "midi": tone.midi, "cents": round(tone.cents, 2), "what": tone.what,
                       "drone_midi": tone.drone_midi} for tone in tones(drills, drone)],
        "problems": [problem.as_json() for problem in drills.problems],
        "cautions": list(drills.cautions),
    }
    if days:
        result["weeks"] = [
            {"week": day.week, "day": day.day,
             "exercises": [{"place": place, "title": title, "metronome": goal}
                           for place, title, goal in zip(day.places, day.titles, day.tempi, strict=True)],
             "recall": list(day.recall)}
            for day in days]
    return result


def _move_json(move: Move) -> dict[str, Any]:
    def end(pitch: Pitch, midi: int, label: str) -> dict[str, Any]:
        return {"sounding": pitch.name, "midi": midi, "label": label}

    def rounded(value: float | None) -> float | None:
        return None if value is None else round(value, 1)

    return {
        "from": end(move.before_pitch, move.before.midi, move.before.label),
        "to": end(move.after_pitch, move.after.midi, move.after.label), "kinds": list(move.kinds),
        "count": move.count, "measures": list(move.measures), "gap_s": round(move.gap_s, 3),
        "distance_mm": rounded(move.distance_mm), "peak_speed_mm_s": rounded(move.peak_speed_mm_s),
        "off_cents": rounded(move.off_cents), "far": round(move.far, 3), "fast": round(move.fast, 3),
        "tune": round(move.tune, 3), "difficulty": round(move.difficulty, 3), "score": round(move.score, 3),
    }


def _exercise_json(exercise: Exercise, labels: list[str], drills: Drills) -> dict[str, Any]:
    notes = [one for row in exercise.measures for one in row if one.choice and one.written and not one.tied]
    moved = drills.kit.transposition
    return {
        "title": exercise.title, "kind": exercise.kind, "measures": labels, "covers": list(exercise.covers),
        "words": exercise.words, "metronome": list(exercise.steps or (exercise.tempo_bpm,)),
        "beat": str(exercise.beat),
        "notes": [{"written": one.written.name, "sounding": moved.sounding(one.written).name,
                   "midi": one.choice.midi, "label": one.choice.label}
                  for one in notes if one.choice and one.written],
    }


def drill_text(drills: Drills, days: Sequence[Day] = ()) -> str:
    """Return the drills in words: the hard moves, the exercises, the weeks, the cautions."""
    plan = drills.planned.plan
    out = [f"{part_name(drills)}, {plan.horn.description}" + (" (assumed; choose another with --horn)"
                                                              if drills.planned.assumed else ""), "",
           "Hard moves" if any(move.kinds for move in drills.moves) else "No move is hard; these are the hardest"]
    out += [f"  {_said(move)}" for move in hard_moves(drills.moves)[:8]] or ["  none"]
    if drills.secure:
        out.append(f"  left out as secure: {', '.join(move_text(pair) for pair in drills.secure)}")
    out += ["", f"Exercises ({WARM_UP[:1].lower()}{WARM_UP[1:].rstrip('.')})"]
    for place, exercise in enumerate(drills.exercises, 1):
        goal = f" to {exercise.steps[-1]}" if len(exercise.steps) > 1 else ""
        out.append(f"  {place}. {exercise.title} ({len(exercise.measures)} measures, "
                   f"{BEATS.get(exercise.beat, 'beat')} = {exercise.tempo_bpm}{goal})")
    if drills.recall:
        after = ", ".join(str(day) for day in drills.recall[0].after_days)
        out += ["", f"From memory, after {after} days. {RECALL_OFFER}", *(f"  {one.ask}" for one in drills.recall)]
    for day in days:
        goals = "; ".join(title + (f" at {goal}" if goal else "")
                          for title, goal in zip(day.titles, day.tempi, strict=True))
        out += [*(["", "Weeks"] if day is days[0] else []), f"  week {day.week}, day {day.day % 7 + 1}: {goals}"]
        out += [f"      from memory, if you like: {ask}" for ask in day.recall]
    out += ["", *drills.remarks] if drills.remarks else []
    return "\n".join([*out, "", *(f"Caution: {line}" for line in drills.cautions)])


def _said(move: Move) -> str:
    facts = [f"{move.count}×", f"measure {move.measures[0]}" + (" and others" if len(move.measures) > 1 else "")]
    if move.distance_mm:
        facts.append(f"{move.distance_mm / 10:.0f} cm in {move.gap_s:.2f} s")
    if "tune" in move.kinds:
        facts.append(f"{abs(move.off_cents):.0f} cents {'sharp' if move.off_cents > 0 else 'flat'}")
    names = ", ".join({"tune": "out of tune"}.get(kind, kind) for kind in move.kinds)
    return (f"{move.before_pitch.pretty} ({shown(move.before.label)}) to {move.after_pitch.pretty} "
            f"({shown(move.after.label)}): {', '.join(facts)}{f' [{names}]' if names else ''}")


def calendar_ics(drills: Drills, days: Sequence[Day], start: dt.date) -> bytes:
    """Return the practice days from `start` on as a calendar; equal input gives equal bytes.

    Raises
    ------
    ImportError
        If icalendar (extra `build`) is not installed.
    """
    from icalendar import Calendar, Event

    calendar = Calendar()
    calendar.add("prodid", "-//lowbrass//drill//EN")
    calendar.add("version", "2.0")
    # The format wants the moment of making; there is no clock here, so the first day stands for it.
    stamp = dt.datetime(start.year, start.month, start.day, tzinfo=dt.UTC)
    for number, day in enumerate(days, 1):
        date = start + dt.timedelta(days=day.day)
        goals = [title + (f" (metronome {goal})" if goal else "")
                 for title, goal in zip(day.titles, day.tempi, strict=True)]
        event = Event()
        event.add("uid", f"{start:%Y%m%d}-{number}-{drills.planned.part.id}@lowbrass")
        event.add("dtstamp", stamp)
        event.add("dtstart", date)
        event.add("dtend", date + dt.timedelta(days=1))
        event.add("summary", f"{sheet_title(drills)}: week {day.week}, about {MINUTES} minutes")
        event.add("description", "\n".join([*goals, *(f"From memory, if you like: {ask}" for ask in day.recall),
                                            *drills.cautions]))
        calendar.add_component(event)
    return bytes(calendar.to_ical())
