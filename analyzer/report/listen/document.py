"""`lowbrass listen` as data: a recording, and a class of them."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import Any

from analyzer.hearing.advice import advice_of, well_of
from analyzer.hearing.hear import HeardNote, Hearing
from analyzer.plan.heard import Heard
from analyzer.problem import Problem

SCHEMA, CLASS_SCHEMA = "lowbrass.listen/1", "lowbrass.listen-class/1"
_SHARE, _MOST_STUMBLES = 1 / 3, 3
"""Of a class, from which share on a measure is everybody's, and how many of those are told. Judged."""
NO_GRADE = "A recording is not a grade: microphone, room and nerves are heard, too. The teacher who listens decides."
NO_KEEPING = "The recording stays where it is; no sound is kept or sent."


@dataclass(frozen=True, slots=True, kw_only=True)
class Student:
    """One recording of a class: the name of its file, and what was heard, or why nothing was."""

    file: str
    hearing: Hearing | None
    problem: Problem | None


def cautions_of(hearing: Hearing, cautions: Sequence[str]) -> tuple[str, ...]:
    """Return what goes with every answer: a recording is no grade, and the cautions of practising."""
    return (NO_GRADE, NO_KEEPING, *cautions)


def listen_document(hearing: Hearing, cautions: Sequence[str], problems: Sequence[Problem] = ()) -> dict[str, Any]:
    """Return the JSON document of a recording."""
    planned = hearing.planned
    plan, timing = planned.plan, hearing.timing
    heard = [note for note in hearing.notes if note.cause.heard]
    missed = [note for note in hearing.notes if note.sound is None or note.sound.midi is None]
    return {
        "schema": SCHEMA, "recording": hearing.sound_name,
        "part": {"id": planned.part.id, "name": planned.part.name}, "line": plan.line.number, "of": plan.line.of,
        "horn": plan.horn.name, "horn_assumed": planned.assumed,
        "assumptions": [found.as_json() for found in planned.assumptions],
        "reference_hz": round(hearing.reference_hz, 2), "reference_told": hearing.told,
        "tempo_bpm": _rounded(tempo_bpm(hearing)),
        "notes": [_note_json(hearing, note) for note in hearing.notes],
        "totals": {
            "heard": len(heard), "missed": len(missed), "wrong": len(hearing.notes) - len(heard) - len(missed),
            "extra": hearing.extra, "median_off_cents": _rounded(leaning_cents(hearing), 2),
            "median_abs_off_cents": _rounded(median_off_cents(hearing), 2),
            "tempo_steadiness": _rounded(timing.steadiness, 3)},
        "passes": [
            {"first": one.first, "last": one.last,
             "measures": [plan.notes[one.first].note.measure, plan.notes[one.last].note.measure],
             "start_s": round(one.start_s, 3), "end_s": round(one.end_s, 3), "heard": one.heard,
             "median_abs_off_cents": _rounded(one.median_off_cents, 2)} for one in hearing.passes],
        "well": list(well_of(hearing)),
        "advice": [{"what": one.what, "where": list(one.where), "try": one.try_} for one in advice_of(hearing)],
        "problems": [problem.as_json() for problem in (*problems, *hearing.problems)],
        "cautions": list(cautions_of(hearing, cautions)),
    }


def tempo_bpm(hearing: Hearing) -> float | None:
    """Return the beat that fits the recording, in quarter notes a minute at the first note; None with too few notes."""
    scale = hearing.timing.scale
    return hearing.planned.plan.notes[0].time.bpm / scale if scale else None


def median_off_cents(hearing: Hearing) -> float | None:
    """Return how far off the notes are, whichever way, in the middle; None where none can be read."""
    offs = [abs(note.cause.off_cents) for note in hearing.notes if note.cause.off_cents is not None]
    return median(offs) if offs else None


def leaning_cents(hearing: Hearing) -> float | None:
    """Return the middle of heard minus target (+ the whole leans sharp); None where nothing can be read. [cents]"""
    offs = [note.cause.off_cents for note in hearing.notes if note.cause.off_cents is not None]
    return median(offs) if offs else None


def _rounded(value: float | None, digits: int = 1) -> float | None:
    return None if value is None else round(value, digits) + 0.0


def _note_json(hearing: Hearing, note: HeardNote) -> dict[str, Any]:
    wanted = hearing.planned.plan.notes[note.index]
    sound = note.sound if note.sound is not None and note.sound.midi is not None else None
    cause = note.cause
    readable = sound is not None and cause.heard and not sound.short
    return {
        "index": note.index, "measure": wanted.note.measure, "sounding": wanted.note.sounding.name,
        "label": wanted.choice.label if wanted.choice else None, "heard": cause.heard,
        "start_s": _rounded(sound.start_s if sound else None, 3), "end_s": _rounded(sound.end_s if sound else None, 3),
        "late_s": _rounded(note.late_s, 3), "off_cents": _rounded(cause.off_cents, 2),
        "spread_cents": _rounded(sound.spread_cents, 2) if sound and readable else None,
        "slide_mm": _rounded(cause.slide_mm, 1), "heard_as": cause.heard_as.name if cause.heard_as else None,
        "settle_ms": _rounded(sound.settle_ms, 0) if sound and readable else None,
        "attack": cause.attack, "what": cause.what,
        "played": None if note.place is None else {
            "label": note.place.choice.label if note.place.choice else None,
            "confidence": round(note.place.confidence, 3), "why": note.place.why},
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class Stumble:
    """A measure where several had something to work on, and the files of those who had."""

    measure: str
    files: tuple[str, ...]


def stumbles(students: Sequence[Student]) -> tuple[Stumble, ...]:
    """Return the measures where at least two and a third of those heard stumble, the most first; at most three.

    It is what a teacher works on with all of them. A note counts where something is said of it, between the first and
    the last that was heard of that player.
    """
    heard = [(one.file, one.hearing) for one in students if one.hearing is not None]
    files: dict[str, list[str]] = {}
    for file, hearing in heard:
        there = [note.index for note in hearing.notes if note.sound is not None and note.sound.midi is not None]
        notes = hearing.planned.plan.notes
        for measure in dict.fromkeys(notes[note.index].note.measure
                                     for note in hearing.notes[min(there, default=0):max(there, default=-1) + 1]
                                     if note.cause.what):
            files.setdefault(measure, []).append(file)
    found = [Stumble(measure=measure, files=tuple(names)) for measure, names in files.items()
             if len(names) >= max(2, _SHARE * len(heard))]
    return tuple(sorted(found, key=lambda one: -len(one.files))[:_MOST_STUMBLES])


def together_said(students: Sequence[Student]) -> str:
    """Say in a sentence where several stumble, empty where nobody shares anything."""
    heard = sum(one.hearing is not None for one in students)
    told = "; ".join(f"measure {one.measure} ({len(one.files)} of {heard}: "
                     f"{', '.join(Path(file).stem for file in one.files)})" for one in stumbles(students))
    return f"Where several stumble: {told}." if told else ""


def class_document(students: Sequence[Student], cautions: Sequence[str]) -> dict[str, Any]:
    """Return the JSON document of a class."""
    return {"schema": CLASS_SCHEMA, "students": [
        {"file": one.file, "document": listen_document(one.hearing, cautions) if one.hearing else None,
         "problem": one.problem.as_json() if one.problem else None} for one in students],
        "together": [{"measure": one.measure, "files": list(one.files)} for one in stumbles(students)],
        "cautions": [NO_GRADE, NO_KEEPING, *cautions]}


def heard_once(hearing: Hearing, score: str, day: str) -> Heard:
    """Return what a recording came to, as the player file keeps it."""
    planned = hearing.planned
    notes = planned.plan.notes
    return Heard(score=score, part=planned.part.full_name or planned.part.name or planned.part.id,
                 measures=(notes[0].note.measure, notes[-1].note.measure), day=day, notes=len(notes),
                 right=sum(note.cause.heard for note in hearing.notes),
                 late=sum(note.cause.attack in ("late slide", "smear") for note in hearing.notes),
                 median_off_cents=median_off_cents(hearing))
