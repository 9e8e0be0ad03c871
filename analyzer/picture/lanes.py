"""What the slide picture and the valve picture share: lanes with notes and labels, barlines, words for a reader."""

from collections.abc import Sequence
from dataclasses import dataclass

from analyzer.analysis import Planned
from analyzer.horns.candidate import Candidate
from analyzer.picture.drawing import FAINT, INK, RULE, USUAL, Drawing, Strokes
from analyzer.picture.rows import Row
from analyzer.plan.plan import PlannedNote
from analyzer.words import shown

LANE_PX = 17.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """One row to be drawn: its notes, when they begin [quarter notes], and the drawing to put it on.

    With `small` it stands beside its music, which has notes and labels already.
    """

    one: Planned
    row: Row
    starts: Sequence[float]
    out: Drawing
    small: bool = False

    @property
    def span(self) -> range:
        """Indices of the notes that begin in the row."""
        return range(self.row.first, self.row.last)

    def note(self, k: int) -> PlannedNote:
        """Return note `k` of the plan."""
        return self.one.plan.notes[k]

    def begins(self, k: int) -> float:
        """Where note `k` begins. [px]"""
        return self.row.x(self.starts[k])

    def gap(self, k: int) -> float:
        """Time from note `k` to the next attack, or to its own end. [quarter notes]"""
        if k + 1 < len(self.starts):
            return self.starts[k + 1] - self.starts[k]
        return float(self.note(k).note.duration)

    def sounds_to(self, k: int) -> float:
        """Where note `k` stops sounding. [px]"""
        length = self.gap(k) if self.note(k).note.grace else min(float(self.note(k).note.duration), self.gap(k))
        return self.row.x(self.starts[k] + length)

    def held_to(self, k: int) -> float:
        """Where what is held for note `k` gives way to the next note's. [px]"""
        if k + 1 < len(self.starts):
            return self.row.x(self.starts[k + 1])
        return self.row.x(self.starts[k] + self.gap(k))


def draw_lanes(f: Frame, y: float) -> float:
    """Write measure numbers, written notes, our labels and the usual ones that differ; return where it ends. [px]"""
    out, row = f.out, f.row
    out.texts(((column.x1 + 3, y + 11, column.number) for column in row.columns), color=FAINT, bold=True)
    out.texts((((column.x1 + column.x2) / 2, y + 2.2 * LANE_PX, f"{column.count} empty") for column in row.columns
               if column.count > 1), color=FAINT, anchor="middle", italic=True)
    if f.small:
        return y + LANE_PX
    changed = [k for k in f.span if f.note(k).changed]
    lanes = {name: y + place * LANE_PX + 11
             for place, name in enumerate(["measure", "note", "play", *(["usual"] if changed else [])])}
    for name, at in lanes.items():
        out.text(row.left - 6, at, name, size=11, anchor="end", bold=name == "play",
                 color=USUAL if name == "usual" else INK if name == "play" else FAINT)
    places = {k: f.begins(k) + 3 for k in f.span}
    labels = {k: shown(choice.label) if (choice := f.note(k).choice) else "×" for k in f.span}
    for k in changed:
        out.rect(places[k] - 3, lanes["play"] - 12, 7.2 * len(labels[k]) + 6, 15, fill="#ffffff", stroke=INK, line=1.2,
                 radius=3)
    out.texts(((x, lanes["note"], f.note(k).note.written.pretty) for k, x in places.items()), size=10, color=FAINT)
    out.texts(((x, lanes["play"], labels[k]) for k, x in places.items()), size=12, bold=True)
    out.texts(((places[k], lanes["usual"], shown(usual.label)) for k in changed if (usual := f.note(k).usual)),
              color=USUAL, italic=True)
    return y + len(lanes) * LANE_PX


def draw_bars(f: Frame, top: float, bottom: float) -> None:
    """Draw barlines between two heights."""
    strokes = Strokes()
    for column in f.row.columns:
        strokes.line(column.x1, top, column.x1, bottom, color="#8a93a0")
        if column.count > 1:
            middle = (top + bottom) / 2
            strokes.line(column.x1 + 12, middle, column.x2 - 12, middle, color=RULE, width=6)
    strokes.line(f.row.right, top, f.row.right, bottom, color="#8a93a0")
    strokes.onto(f.out)


def held_spans(f: Frame, valve: str, choice_of: str = "choice") -> list[tuple[float, float]]:
    """Return where a valve is held, from the first note that has it to the first that has it not. [px]"""
    spans: list[tuple[float, float]] = []
    first = f.row.first
    if first and (choice := getattr(f.note(first - 1), choice_of)) and valve in choice.valves:
        start = f.row.left
        end = f.begins(first) if f.span else f.held_to(first - 1)
        spans.append((start, min(end, f.held_to(first - 1))))
    for k in f.span:
        held: Candidate | None = getattr(f.note(k), choice_of)
        if held is None or valve not in held.valves:
            continue
        start, end = f.begins(k), f.held_to(k)
        if spans and abs(spans[-1][1] - start) < 0.5:
            spans[-1] = (spans[-1][0], end)
        else:
            spans.append((start, end))
    return [(a, b) for a, b in spans if b - a > 0.2]


def words_of(f: Frame) -> str:
    """Return the row in words, measure by measure, for readers who do not see it."""
    measures: dict[int, list[str]] = {}
    numbers: dict[int, str] = {}
    for k in f.span:
        one = f.note(k)
        label = shown(one.choice.label) if one.choice else "cannot be played"
        usual = f" (usual {shown(one.usual.label)})" if one.changed and one.usual else ""
        numbers[one.note.measure_index] = one.note.measure
        measures.setdefault(one.note.measure_index, []).append(f"{one.note.written.pretty} {label}{usual}")
    said = [f"Measure {numbers[index]}: {', '.join(notes)}." for index, notes in measures.items()]
    return " ".join(said) or "Nothing to play."


def measures_of(row: Row) -> str:
    """Return the measures of a row in words."""
    first, last = row.columns[0], row.columns[-1]
    tail = f" and {last.count - 1} empty after it" if last.count > 1 else ""
    if first is last:
        return f"measure {first.number}{tail}"
    return f"measures {first.number} to {last.number}{tail}"
