"""The same lines on several horns side by side."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import reduce
from itertools import pairwise
from operator import add
from typing import TypeVar

from analyzer.analysis import Request, cautions_for
from analyzer.assumption import Assumption
from analyzer.cautions import for_changing
from analyzer.horns.candidate import slide_mm
from analyzer.horns.candidates import candidates
from analyzer.horns.horn import Horn
from analyzer.plan.limits import peak_mm_s
from analyzer.plan.plan import Plan
from analyzer.plan.solve import Planner
from analyzer.problem import Problem, unreadable
from analyzer.score.document import Document
from analyzer.score.lines import Line
from analyzer.score.parts import PartInfo
from analyzer.selection import asked_lines, chosen_parts
from analyzer.supposed import doubts_of, of_line

_Number = TypeVar("_Number", int, float)
OFF_STEPS_CENTS = (10, 20, 30)
"""Deviations that a comparison counts. [cents] Judged: hardly heard, heard in a chord, heard at once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fastest:
    """The quickest move of a line: its peak speed [mm/s] from note `index` (from 0), in `measure`, between labels."""

    speed_mm_s: float
    index: int
    measure: str
    from_label: str
    to_label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One line on one horn.

    `beyond` notes no choice of the horn sounds, `unplayable` those that this player cannot play on it, `beyond`
    included. `sixth` and `seventh` count notes in these positions (of any valve state), `off` those more than each of
    `OFF_STEPS_CENTS` out of tune. What has no meaning for the horn is None.
    """

    horn: str
    notes: int
    beyond: int
    unplayable: int
    travel_mm: float | None
    fastest: Fastest | None
    sixth: int | None
    seventh: int | None
    off: tuple[int, ...]
    valve_changes: int
    tempo_ceiling_bpm: float | None
    cost: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedLine:
    """One line with a column for each horn, in the order asked for."""

    part: PartInfo
    number: int
    of: int
    columns: tuple[Column, ...]
    whose: str = ""                    # what tells the line from others of its part
    assumptions: tuple[Assumption, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Lines on horns, with the problems found on the way and the cautions that belong to a change of horn."""

    document: Document
    horns: tuple[Horn, ...]
    lines: tuple[ComparedLine, ...]
    problems: tuple[Problem, ...]
    cautions: tuple[str, ...]

    @property
    def totals(self) -> tuple[Column, ...]:
        """All lines together, a column a horn."""
        return summed([line.columns for line in self.lines])


def summed(rows: Sequence[Sequence[Column]]) -> tuple[Column, ...]:
    """Add columns of the same horns: counts and travel add up, the fastest move is the fastest, the ceiling the lowest.

    Returns nothing for no rows.
    """
    return tuple(_sum(columns) for columns in zip(*rows, strict=True))


def _sum(columns: Sequence[Column]) -> Column:
    def added(values: Iterable[_Number | None]) -> _Number | None:
        known = [one for one in values if one is not None]
        return reduce(add, known) if known else None

    fastest_moves = [one.fastest for one in columns if one.fastest is not None]
    ceilings = [one.tempo_ceiling_bpm for one in columns if one.tempo_ceiling_bpm is not None]
    return Column(
        horn=columns[0].horn, notes=sum(one.notes for one in columns), beyond=sum(one.beyond for one in columns),
        unplayable=sum(one.unplayable for one in columns), travel_mm=added(one.travel_mm for one in columns),
        fastest=max(fastest_moves, key=lambda one: one.speed_mm_s, default=None),
        sixth=added(one.sixth for one in columns), seventh=added(one.seventh for one in columns),
        off=tuple(sum(counts) for counts in zip(*(one.off for one in columns), strict=True)),
        valve_changes=sum(one.valve_changes for one in columns),
        tempo_ceiling_bpm=min(ceilings, default=None), cost=sum(one.cost for one in columns))


def column(plan: Plan) -> Column:
    """Return what a comparison shows of a plan."""
    totals, horn = plan.totals, plan.horn
    slide = horn.family == "slide"
    picked = [note.choice for note in plan.notes if note.choice is not None]
    return Column(
        horn=horn.name, notes=totals.notes, unplayable=totals.unplayable,
        beyond=sum(not candidates(horn, note.note.midi) for note in plan.notes),
        travel_mm=totals.travel_mm, fastest=fastest(plan),
        sixth=sum(one.position == 6 for one in picked) if slide else None,
        seventh=sum(one.position == 7 for one in picked) if slide else None,
        off=tuple(sum(abs(one.off_cents) > limit for one in picked) for limit in OFF_STEPS_CENTS),
        valve_changes=totals.valve_changes, tempo_ceiling_bpm=totals.tempo_ceiling_bpm, cost=plan.cost,
    )


def fastest(plan: Plan) -> Fastest | None:
    """Return the move with the greatest peak speed, the first of equals; None without a slide or a move."""
    if plan.horn.family != "slide":
        return None
    best: Fastest | None = None
    for a, b in pairwise(plan.notes):
        if a.choice is None or b.choice is None:
            continue
        distance_mm = slide_mm(a.choice, b.choice)
        speed = peak_mm_s(distance_mm, a.time.move_s)
        if speed > (best.speed_mm_s if best else 0.0):
            best = Fastest(speed_mm_s=speed, index=a.index, measure=a.note.measure, from_label=a.choice.label,
                           to_label=b.choice.label)
    return best


def compare(document: Document, horns: Sequence[Horn], request: Request, *, fitting: bool = False) -> Comparison:
    """Plan the asked parts (by default the low-brass parts of the horns' families) on each horn.

    Where no part is of these families every low-brass part is planned, unless only `fitting` ones are wanted.

    Raises
    ------
    Unreadable
        If a part or measure of the request is not there, or the score has no low brass (no fitting one).
    """
    parts, problems = chosen_parts(document, request.parts)
    lines, more = asked_lines(document, parts, measures=request.measures, reads=request.reads)
    problems += more
    if not request.parts:
        families = {horn.family for horn in horns}
        of_kind = [one for one in lines if one.horn([])[0].family in families]
        if fitting and not of_kind:
            raise unreadable("no-fitting-part", where=document.name, what="no part here is for horns of this kind",
                             try_="Name other horns, or a part with --part.")
        lines = of_kind or lines
    plans: list[Plan] = []
    compared = []
    for asked in lines:
        line = asked.line
        own = _planned(line, horns, request)
        plans += own
        compared.append(ComparedLine(part=asked.played, number=line.number, of=line.of, whose=line.whose,
                                     assumptions=of_line(line, request.tempo_bpm, request.weights),
                                     columns=tuple(column(plan) for plan in own)))
    doubts = dict.fromkeys(doubt for asked in lines for doubt in doubts_of(
        asked.line, document.name, request.tempo_bpm, request.weights))
    return Comparison(
        document=document, horns=tuple(horns), lines=tuple(compared), problems=(*problems, *doubts),
        cautions=tuple(dict.fromkeys((*changing(horns), *cautions_for(plans)))))


def changing(horns: Sequence[Horn]) -> tuple[str, ...]:
    """Return the cautions for a change between these horns."""
    return for_changing(slide=any(horn.family == "slide" for horn in horns),
                        valves=any(horn.family == "valves" for horn in horns))


def _planned(line: Line, horns: Sequence[Horn], request: Request) -> list[Plan]:
    return [Planner(line, horn, request.player, tempo_bpm=request.tempo_bpm, weights=request.weights).plan()
            for horn in horns]
