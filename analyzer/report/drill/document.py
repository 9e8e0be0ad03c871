"""A practice sheet as data and words: JSON, text, calendar."""

from collections.abc import Sequence
from typing import Any

from analyzer.pitch import Pitch
from analyzer.plan.progress import move_text
from analyzer.practice.builder import Exercise
from analyzer.practice.drills import RECALL_OFFER, Drills
from analyzer.practice.moves import PracticeMove
from analyzer.practice.weeks import Day
from analyzer.report.drill.sound import Drone, tones

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


def _move_json(move: PracticeMove) -> dict[str, Any]:
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
