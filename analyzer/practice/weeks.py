"""A calendar of practice: which exercise on which day, how fast, and what comes back from memory.

Days go to exercises by need, which is the need of the moves that they hold: frequency × difficulty × not yet learned
(`moves`). What is learned or secure in the player file needs less, so the calendar follows it.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from analyzer.practice.builder import Exercise
from analyzer.practice.drills import Drills

DAYS = (0, 2, 4)
"""Practice days of a week, from its first day. Judged: a day between two days of hard work rests the lips."""
PER_DAY = 4
"""Exercises a day; judged: about ten minutes beside the band's own music."""
MINUTES = 10
"""What such a day takes, as the calendar says it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """One day of practice: `day` counts from 0, `tempi` are the metronome goals of the exercises (None without).

    `places` are the exercises' numbers on the sheet, from 1.
    """

    week: int
    day: int
    places: tuple[int, ...]
    titles: tuple[str, ...]
    tempi: tuple[int | None, ...]
    recall: tuple[str, ...]


def practice_days(drills: Drills, weeks: int) -> tuple[Day, ...]:
    """Spread the exercises over some weeks: more days where there is more need, begun in the graded order.

    Each exercise climbs its metronome steps over its own days; hard moves come back from memory.

    Raises
    ------
    ValueError
        If `weeks` is not from 1 to 12.
    """
    if not 1 <= weeks <= 12:
        raise ValueError(f"weeks is {weeks}; it goes from 1 to 12")
    total = weeks * len(DAYS)
    plan = _spread(shares(needs(drills), total), total)
    done: Counter[int] = Counter()
    times = Counter(place for today in plan for place in today)
    days = []
    for number, today in enumerate(plan):
        day = 7 * (number // len(DAYS)) + DAYS[number % len(DAYS)]
        tempi = []
        for place in today:
            tempi.append(_step(drills.exercises[place], done[place], times[place]))
            done[place] += 1
        days.append(Day(
            week=number // len(DAYS) + 1, day=day, places=tuple(place + 1 for place in today),
            titles=tuple(drills.exercises[place].title for place in today),
            tempi=tuple(tempi), recall=_recall(drills, day, number)))
    return tuple(days)


WEEKS_SAID = f"Exercise numbers, with the tempo to reach in brackets; about {MINUTES} minutes a day."
"""What stands above the weeks on a sheet."""


def by_week(days: Sequence[Day]) -> list[tuple[str, ...]]:
    """Return a row a week: its name, then what each of its days holds, as in ``1, 3 (72), 4``."""
    rows: dict[int, list[str]] = {}
    for day in days:
        rows.setdefault(day.week, [f"Week {day.week}"]).append(", ".join(
            f"{place} ({goal})" if goal else str(place) for place, goal in zip(day.places, day.tempi, strict=True)))
    return [tuple(row) for row in rows.values()]


def needs(drills: Drills) -> tuple[float, ...]:
    """Return the need of each exercise: that of the neediest move it holds; of the mixed one, the mean of its moves.

    A way, a scale or a tuning exercise answers for the moves that end where it plays; the pitches and the rhythm of a
    passage for those of the passage.
    """
    by_pair: dict[frozenset[tuple[int, str]], float] = {}
    for move in drills.moves:
        by_pair[move.pair] = by_pair.get(move.pair, 0.0) + move.score
    by_name = {move.name: by_pair[move.pair] for move in drills.moves}
    whole = {one.covers: one for one in drills.exercises if one.kind == "passage"}
    result = []
    for exercise in drills.exercises:
        played = _ends(whole.get(exercise.covers, exercise))
        loose = exercise.kind in ("two-ways", "scale", "tuning")
        if exercise.kind == "mixed":
            result.append(sum(by_name[name] for name in exercise.covers) / len(exercise.covers))
        else:
            result.append(max((need for pair, need in by_pair.items() if (pair & played if loose else pair <= played)),
                              default=0.0))
    return tuple(result)


def _ends(exercise: Exercise) -> set[tuple[int, str]]:
    return {(one.choice.midi, one.choice.label) for row in exercise.measures for one in row if one.choice is not None}


def shares(need: Sequence[float], total: int) -> tuple[int, ...]:
    """Return how many of `total` days each exercise gets: one at least, the rest by need, none more than all days.

    The rest is given out a day at a time to the greatest need over days so far (greatest divisors, as Jefferson gave
    out seats), so more need never means fewer days.

    Examples
    --------
    >>> shares((6.0, 3.0, 0.0, 3.0, 0.0), 6)
    (6, 6, 3, 6, 3)
    >>> shares((9.0, 6.0, 3.0, 3.0, 1.0, 1.0, 1.0), 6)
    (6, 6, 3, 3, 2, 2, 2)
    """
    days = [1] * len(need)
    for _ in range(min(total * PER_DAY, total * len(need)) - len(need)):
        # Equal needs take turns, from the first exercise on.
        open_ = [k for k in range(len(need)) if days[k] < total]
        days[max(open_, key=lambda k: (need[k] / days[k], -days[k], -k))] += 1
    return tuple(days)


def _spread(days: Sequence[int], total: int) -> list[list[int]]:
    """Return the places of the exercises of each day.

    An exercise begins the later, the later its place on the sheet and the fewer days it has, but not after one that
    follows it on the sheet; then it comes back at even distances to the end.
    """
    starts = [(total - count) * place / max(1, len(days) - 1) for place, count in enumerate(days)]
    wanted = []
    for place, count in enumerate(days):
        start = min(starts[place:])
        step = (total - 1 - start) / max(1, count - 1)
        wanted += [(start + k * step, place) for k in range(count)]
    wanted.sort()
    plan: list[list[int]] = []
    for _ in range(total):
        today: list[tuple[float, int]] = []
        for one in wanted:
            if len(today) < PER_DAY and all(place != one[1] for _, place in today):
                today.append(one)
        wanted = [one for one in wanted if one not in today]
        plan.append(sorted(place for _, place in today))
    return plan


def _recall(drills: Drills, day: int, number: int) -> tuple[str, ...]:
    """Two of what is due, another two each day."""
    due = [one.ask for one in drills.recall if any(_due(day, after) for after in one.after_days)]
    turn = 2 * number % max(1, len(due))
    return tuple((*due[turn:], *due[:turn])[:2])


def _step(exercise: Exercise, done: int, times: int) -> int | None:
    """Return the metronome step for the day after `done` of `times` days: the first at first, the goal at last."""
    if not exercise.steps:
        return None
    last = len(exercise.steps) - 1
    return exercise.steps[round(last * done / (times - 1)) if times > 1 else last]


def _due(day: int, after: int) -> bool:
    """A recall falls on the first practice day at or after it is due."""
    due = next((7 * (after // 7) + one for one in DAYS if one >= after % 7), 7 * (after // 7 + 1))
    return day == due
