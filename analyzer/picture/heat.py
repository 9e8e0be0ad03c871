"""How hard each measure is for each line of a section, as a picture: one row a line, one cell a measure.

A cell says its level twice, by its ground and by a digit, so that it reads the same in grey, on paper and to every eye.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from analyzer.picture.drawing import FAINT, INK, RULE, Drawing, Picture
from analyzer.plan.difficulty import LEVELS, MeasureDifficulty

LEVEL_WORDS = (*(word for _, word in LEVELS), "beyond")
"""Words of the digits 1 to 5."""
GROUNDS = ("#ffffff", "#e4ebf5", "#b4c5df", "#5d6f94", "#14213d")
"""Grounds of the levels, each darker in grey than the one before; digits stand out on each by more than 4.5 to 1."""
_LIGHT_FROM = 3                        # from this level on the ground is dark and the digit white
_CELL = (20.0, 19.0)                   # width and height of a cell [px]
_ROW = 24.0
_LABEL_WIDE = 250.0                    # room for a line's name at the left, where there is room
_LABEL_SIZE = 12.0
_CHAR = 6.4                            # mean width of a letter at that size [px]


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatRow:
    """One line: its `label` for a person, and its measures from first to last."""

    label: str
    measures: tuple[MeasureDifficulty, ...]


def level_of(one: MeasureDifficulty) -> int:
    """Return 0 for a measure without notes, else 1 (calm) to 5 (beyond)."""
    return 0 if one.kind == "rest" else LEVEL_WORDS.index(one.level) + 1


def heat_pictures(rows: Sequence[HeatRow], *, width: float, every: int = 5) -> tuple[Picture, ...]:
    """Return the strips, system under system, each as wide as `width` allows. [px]

    Every row has the same measures. Systems in which nobody plays are left out; measures whose number is a multiple of
    `every` bear it.
    """
    if not rows:
        return ()
    beside = width >= 3 * _LABEL_WIDE
    left = _LABEL_WIDE if beside else 0.0
    many = max(1, int((width - left - 2) // _CELL[0]))
    many -= many % every if many > every else 0
    count = max(len(row.measures) for row in rows)
    systems = [(start, min(start + many, count)) for start in range(0, count, many)]
    return tuple(_system(rows, start, stop, left=left, width=width, every=every) for start, stop in systems
                 if any(level_of(one) for row in rows for one in row.measures[start:stop]))


def _system(rows: Sequence[HeatRow], start: int, stop: int, *, left: float, width: float, every: int) -> Picture:
    out = Drawing()
    y = 14.0
    numbers = [one.measure for one in max(rows, key=lambda row: len(row.measures)).measures]
    for k in range(start, stop):
        round_number = numbers[k].isdigit() and int(numbers[k]) % every == 0
        if k == start or (round_number and k - start > 1):
            out.text(left + (k - start) * _CELL[0] + 1, y, numbers[k], color=FAINT)
    y += 5
    said = []
    for row in rows:
        if left:
            out.text(0, y + 14, _short(row.label, left - 8), size=_LABEL_SIZE)
        else:
            out.text(0, y + 13, _short(row.label, width), size=_LABEL_SIZE)
            y += 18
        cells = row.measures[start:stop]
        for k, one in enumerate(cells):
            _cell(out, left + k * _CELL[0], y, level_of(one))
        y += _ROW
        said.append(f"{row.label}: {_in_words(cells)}.")
    return Picture(width=width, height=y + 2, title=f"Measures {numbers[start]} to {numbers[stop - 1]}",
                   desc=" ".join(said), body=out.body())


def _cell(out: Drawing, x: float, y: float, level: int) -> None:
    wide, high = _CELL
    if not level:
        out.line(x + wide / 2 - 3, y + high / 2, x + wide / 2 + 3, y + high / 2, color=RULE, width=1.5)
        return
    out.rect(x + 0.5, y + 0.5, wide - 2, high - 1, fill=GROUNDS[level - 1], stroke=INK if level > 1 else RULE)
    out.text(x + wide / 2 - 0.5, y + high / 2 + 4.5, str(level), size=12, anchor="middle", bold=level > _LIGHT_FROM,
             color="#ffffff" if level > _LIGHT_FROM else INK)


def _in_words(cells: Sequence[MeasureDifficulty]) -> str:
    """Name the measures that are busy or harder; what is calmer is said as one."""
    named = [f"{one.measure} {one.level}" for one in cells if level_of(one) >= _LIGHT_FROM]
    if not any(level_of(one) for one in cells):
        return "rests"
    return ", ".join(named) or "calm or steady"


def _short(text: str, width: float) -> str:
    most = int(width / _CHAR)
    return text if len(text) <= most else f"{text[:most - 1]}…"
