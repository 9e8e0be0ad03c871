"""A calendar of practice: which exercise on which day, how fast, and what comes back from memory."""

from collections.abc import Sequence
from dataclasses import dataclass

from analyzer.practice.drills import Drills
from analyzer.practice.kit import Exercise

DAYS = (0, 2, 4)
"""Practice days of a week, from its first day. Judged: a day between two days of hard work rests the lips."""
PER_DAY = 4
"""Exercises a day; judged: about ten minutes beside the band's own music."""
MINUTES = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """One day of practice: `day` counts from 0, `tempi` are the metronome goals of the exercises (None without)."""

    week: int
    day: int
    titles: tuple[str, ...]
    tempi: tuple[int | None, ...]
    recall: tuple[str, ...]


def practice_days(drills: Drills, weeks: int) -> tuple[Day, ...]:
    """Spread the exercises over some weeks: graded order first, tempo up step by step, hard moves back from memory.

    Raises
    ------
    ValueError
        If `weeks` is not from 1 to 12.
    """
    if not 1 <= weeks <= 12:
        raise ValueError(f"weeks is {weeks}; it goes from 1 to 12")
    exercises = drills.exercises
    total = weeks * len(DAYS)
    days = []
    last_day = 7 * (weeks - 1) + DAYS[-1]
    for number in range(total):
        day = 7 * (number // len(DAYS)) + DAYS[number % len(DAYS)]
        share = day / last_day if last_day else 1.0
        today = _window(exercises, number, total)
        days.append(Day(
            week=number // len(DAYS) + 1, day=day, titles=tuple(one.title for one in today),
            tempi=tuple(_step(one, share) for one in today),
            recall=_recall(drills, day, number)))
    return tuple(days)


def _recall(drills: Drills, day: int, number: int) -> tuple[str, ...]:
    """Two of what is due, another two each day."""
    due = [one.ask for one in drills.recall if any(_due(day, after) for after in one.after_days)]
    turn = 2 * number % max(1, len(due))
    return tuple((*due[turn:], *due[:turn])[:2])


def _window(exercises: Sequence[Exercise], number: int, total: int) -> Sequence[Exercise]:
    """A window that goes from the first exercises to the last over the whole time."""
    room = max(0, len(exercises) - PER_DAY)
    start = round(room * number / max(1, total - 1))
    return exercises[start:start + PER_DAY]


def _step(exercise: Exercise, share: float) -> int | None:
    if not exercise.steps:
        return None
    return exercise.steps[min(len(exercise.steps) - 1, int(share * len(exercise.steps)))]


def _due(day: int, after: int) -> bool:
    """A recall falls on the first practice day at or after it is due."""
    due = next((7 * (after // 7) + one for one in DAYS if one >= after % 7), 7 * (after // 7 + 1))
    return day == due
