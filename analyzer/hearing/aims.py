"""What a plan wants to hear: each note's pitch with its aim, and when."""

from analyzer.analysis import Planned
from analyzer.hearing.follow import Wanted


def wanted_of(planned: Planned) -> list[Wanted]:
    """Return the notes of a plan as they are followed: pitch with its aim, and times. [s]"""
    return [Wanted(midi=note.note.midi + target_cents(planned, note.index) / 100, start_s=note.time.start_s,
                   sounds_s=note.time.sounds_s) for note in planned.plan.notes]


def target_cents(planned: Planned, index: int) -> float:
    """Return how far above equal temperament a note is aimed. [cents]"""
    target = planned.targets[index] if planned.targets else None
    return target.cents if target is not None else 0.0
