"""Where time lies across a picture: measures broken into rows, empty measures folded, one scale within a row."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil

from analyzer.plan.plan import Plan, PlannedNote

_LEAST_PER_QUARTER = 20.0           # [px] so that a measure's number and barlines keep apart
_NOTE_PX = 22.0                     # [px] room that the label of one note needs
_FOLDED_PX = 64.0
_LAST_STRETCH = 1.5                 # how much a short last row may be drawn out


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One measure, or several empty ones folded (`count` above 1). `x1`, `x2`: its place in the row. [px]"""

    number: str
    onset: float
    duration: float
    count: int
    x1: float = 0.0
    x2: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """Columns that stand side by side, and the notes whose attack falls in them (indices into the plan)."""

    columns: tuple[Column, ...]
    first: int
    last: int                          # one past the last note

    @property
    def left(self) -> float:
        """Where time begins. [px]"""
        return self.columns[0].x1

    @property
    def right(self) -> float:
        """Where time ends. [px]"""
        return self.columns[-1].x2

    def x(self, quarter: float) -> float:
        """Place of a moment in quarter notes, kept within the row. [px]"""
        for column in self.columns:
            if quarter < column.onset + column.duration:
                share = max(0.0, (quarter - column.onset) / column.duration) if column.duration else 0.0
                return column.x1 + share * (column.x2 - column.x1)
        return self.right


def starts_of(notes: Sequence[PlannedNote]) -> list[float]:
    """Where each note begins in the picture, in quarter notes.

    Grace notes take room from the note they lean on, so that they stand in its measure and can be read; in playing
    they come a little earlier.
    """
    onsets = [float(one.note.onset) for one in notes]
    starts = list(onsets)
    k = 0
    while k < len(notes):
        run = k
        while run < len(notes) and notes[run].note.grace and onsets[run] == onsets[k]:
            run += 1
        graces = run - k
        leans = run < len(notes) and onsets[run] == onsets[k]
        if graces:
            room = float(notes[run].note.duration) / 2 if leans else 0.5
            step = min(0.25, room / graces)
            for place in range(graces + leans):
                starts[k + place] += step * place
        k = run + leans if graces else k + 1
    return starts


def rows_of(plan: Plan, starts: Sequence[float], *, left: float, width: float) -> tuple[Row, ...]:
    """Break the measures of a plan into rows; `left` and `width` say where time lies in each. [px]

    `starts` are those of `starts_of`.
    """
    columns, counts, needs = _columns(plan, starts, width)
    rows: list[Row] = []
    start = note = 0
    scale = 0.0
    while start < len(columns):
        stop, scale_here = start + 1, needs[start]
        while stop < len(columns):
            wider = max(scale_here, needs[stop])
            if _wide(columns[start:stop + 1], wider) > width:
                break
            scale_here, stop = wider, stop + 1
        taken = columns[start:stop]
        fixed = sum(_FOLDED_PX for one in taken if one.count > 1)
        quarters = sum(one.duration for one in taken if one.count == 1)
        full = (width - fixed) / quarters if quarters else 0.0
        if stop == len(columns) and rows:
            full = min(full, max(scale, scale_here) * _LAST_STRETCH)
        elif stop == len(columns):
            full = min(full, scale_here * 3)
        scale = full
        placed, x = [], left
        for one in taken:
            wide = _FOLDED_PX if one.count > 1 else one.duration * full
            placed.append(Column(number=one.number, onset=one.onset, duration=one.duration, count=one.count,
                                 x1=x, x2=x + wide))
            x += wide
        many = sum(counts[start:stop])
        rows.append(Row(columns=tuple(placed), first=note, last=note + many))
        note, start = note + many, stop
    return tuple(rows)


def row_of(plan: Plan, first: int, last: int, *, left: float, width: float) -> Row:
    """Return the row of some measures alone, by measure index from `first` to `last`, over the whole width. [px]"""
    measures = [measure for measure in plan.line.measures if first <= measure.index <= last]
    notes = [k for k, note in enumerate(plan.notes) if first <= note.note.measure_index <= last]
    quarters = sum(float(measure.duration) for measure in measures) or 1.0
    placed, x = [], left
    for measure in measures:
        wide = width * float(measure.duration) / quarters
        placed.append(Column(number=measure.number, onset=float(measure.onset), duration=float(measure.duration),
                             count=1, x1=x, x2=x + wide))
        x += wide
    return Row(columns=tuple(placed), first=notes[0] if notes else 0, last=notes[-1] + 1 if notes else 0)


def _wide(columns: Sequence[Column], scale: float) -> float:
    return sum(_FOLDED_PX if one.count > 1 else one.duration * scale for one in columns)


def _columns(plan: Plan, starts_of_all: Sequence[float], width: float) -> tuple[list[Column], list[int], list[float]]:
    """Return columns, how many notes each has, and the scale each needs. [px per quarter note]"""
    here: dict[int, list[float]] = {}
    for one, start in zip(plan.notes, starts_of_all, strict=True):
        here.setdefault(one.note.measure_index, []).append(start)
    columns: list[Column] = []
    counts: list[int] = []
    needs: list[float] = []
    for measure in plan.line.measures:
        starts = here.get(measure.index, [])
        if measure.duration <= 0 and not starts:
            continue
        if not starts and columns and not counts[-1]:
            last = columns[-1]
            columns[-1] = Column(number=last.number, onset=last.onset, count=last.count + 1,
                                 duration=last.duration + float(measure.duration))
            continue
        onset, duration = float(measure.onset), max(float(measure.duration), 0.25)
        gaps = [b - a for a, b in pairwise([*starts, onset + duration]) if b > a]
        need = max([_LEAST_PER_QUARTER, *(_NOTE_PX / gap for gap in gaps)])
        # A measure too full for one row goes over several, in equal parts.
        parts = min(16, max(1, ceil(need * duration / width - 1e-9)))
        while parts < 16 and parts > 1 and (4 * duration / parts) % 1:
            parts += 1
        for part in range(parts):
            begin, end = onset + duration * part / parts, onset + duration * (part + 1) / parts
            columns.append(Column(number=measure.number if not part else f"({measure.number})", onset=begin,
                                  duration=end - begin, count=1))
            counts.append(sum((begin - 1e-9 <= one or not part) and (one < end - 1e-9 or part == parts - 1)
                              for one in starts))
            needs.append(min(need, width / (end - begin)))
    return columns, counts, needs
