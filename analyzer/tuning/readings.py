"""What a tuner showed, note by note: a CSV of readings, tied to the partials of a horn."""

import csv
import re
from dataclasses import dataclass

from analyzer.horns.candidates import positions
from analyzer.horns.horn import Horn, Valves
from analyzer.horns.tubing import HIGHEST_PARTIAL, State, lowered_cents, state, states
from analyzer.pitch import Pitch, parse_pitch, pitch_of
from analyzer.problem import Unreadable, unreadable
from analyzer.words import valves_text

CODE = "reading"
FARTHEST_CENTS = 100.0
"""A reading beyond it is of another note, whatever the horn. [cents]"""
ONE_NOTE_CENTS = 80.0
"""How far the profile may lie from a note that is still this partial's [cents]; judged: the widest limit of a profile
(sharp_limit_cents), so that every note of a chart is known; from 70 on all are."""
MOST_READINGS = 2000
MOST_BYTES = 2**20
"""Largest table that is read; judged: `MOST_READINGS` full lines have a sixth of it."""
HELD_COLUMNS = ("valves", "position", "fingering")
WEIGHT_COLUMNS = ("weight", "repeats")
COLUMNS = ("note", *HELD_COLUMNS, "cents", "mm", *WEIGHT_COLUMNS)

_Row = tuple[int, dict[str, str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class TunerReading:
    """One note as a tuner showed it.

    `line` is its line in the file, `midi` the sounding pitch meant, `cents` what the tuner showed beside it (+ is
    sharp). `position` is None on a horn without a slide; `place_mm` how far the slide was out by measure, None where
    only the position is known. `partial` is the one that sounds nearest. A reading of `weight` 2 counts as two.
    """

    line: int
    midi: int
    valves: Valves
    position: int | None
    place_mm: float | None
    partial: int
    cents: float
    weight: float

    @property
    def label(self) -> str:
        """What was held, as print shows it: ``0``, ``1-2``, ``T1``."""
        if self.position is None:
            return valves_text(self.valves)
        return f"{''.join(self.valves)}{self.position}"

    @property
    def shown(self) -> str:
        """The reading in words, such as ``B♭3 with 0``."""
        return f"{pitch_of(self.midi).pretty} {'with' if self.position is None else 'in'} {self.label}"


def read_readings(data: bytes, file: str, horn: Horn) -> tuple[tuple[TunerReading, ...], int]:
    """Read a CSV of readings for a horn; return them, and how many rows without a reading were passed over.

    The first line names the columns: ``note`` (sounding), ``valves`` or ``position``, ``cents``; and, where wanted,
    ``mm`` (the slide's place by measure) and ``weight`` or ``repeats``. Columns are divided by commas, semicolons or
    tabs; a decimal comma is taken where it divides no columns. Lines that begin with ``#`` are remarks.

    Raises
    ------
    Unreadable
        With the first mistake and its line; says how many more lines are wrong.
    """
    readings, wrong, empty = [], [], 0
    for line, row in _rows(data, file):
        if not row["cents"]:
            empty += 1
            continue
        try:
            readings.append(_reading(line, row, horn))
        except ValueError as error:
            wrong.append((line, *error.args))
    if wrong:
        line, what, try_ = wrong[0]
        more = f" {len(wrong) - 1} more line{'s are' if len(wrong) > 2 else ' is'} wrong." if len(wrong) > 1 else ""
        raise _refused(file, line, what, f"{try_}{more}")
    if not readings:
        raise _refused(file, 1, "no line holds a reading", "Write what the tuner shows into the column cents.")
    return tuple(readings), empty


# --- from bytes to rows ----------------------------------------------------------------------------------------------


def _rows(data: bytes, file: str) -> list[_Row]:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        at = data[:error.start].count(b"\n") + 1
        raise _refused(file, at, "this is not UTF-8 text", "Save the table as CSV (UTF-8).") from None
    lines = [(number, line) for number, line in enumerate(re.split(r"\r\n|\r|\n", text), 1)
             if line.strip() and not line.lstrip().startswith("#")]
    if not lines:
        raise _refused(file, 1, "the file is empty", "Begin with a line of columns: note,valves,cents.")
    if len(lines) > MOST_READINGS + 1:
        raise _refused(file, lines[MOST_READINGS + 1][0], f"there are more than {MOST_READINGS} readings",
                       "Give fewer, or a mean of several with their number under repeats.")
    first, header = lines[0]
    mark = next((sign for sign in ";\t" if sign in header), ",")
    names = [name.casefold() for name in _cells(header, mark)]
    _check_columns(names, file, first)
    rows = []
    for number, line in lines[1:]:
        cells = _cells(line, mark)
        if len(cells) > len(names) and any(cells[len(names):]):
            comma = " If the comma is a decimal sign, divide the columns by semicolons." if mark == "," else ""
            raise _refused(file, number, f"there are {len(cells)} fields under {len(names)} columns",
                           f"Write one value under each of {', '.join(names)}.{comma}")
        if any(cells):
            row = dict(zip(names, cells + [""] * len(names), strict=False))
            rows.append((number, row))
    if not rows:
        raise _refused(file, first, "there is no reading below the columns", "Write one line for each reading.")
    return rows


def _cells(line: str, mark: str) -> list[str]:
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=mark, skipinitialspace=True))]
    except csv.Error:
        return [line[:80]]             # no table at all; the caller says what is missing


def _check_columns(names: list[str], file: str, line: int) -> None:
    wanted = f"Name them note, valves (or position), cents; also {', '.join(('mm', *WEIGHT_COLUMNS))}."
    for column in filter(None, names):
        if column not in COLUMNS:
            raise _refused(file, line, f"there is no use for a column '{column}'", wanted)
        if names.count(column) > 1:
            raise _refused(file, line, f"the column '{column}' is there twice", wanted)
    missing = [column for column in ("note", "cents") if column not in names]
    if not any(column in names for column in HELD_COLUMNS):
        missing.append("valves")
    if missing:
        raise _refused(file, line, f"there is no column '{missing[0]}'", wanted)
    if all(column in names for column in WEIGHT_COLUMNS):
        raise _refused(file, line, "weight and repeats say the same", "Give one of them.")


# --- from a row to a reading ------------------------------------------------------------------------------------------


def _reading(line: int, row: dict[str, str], horn: Horn) -> TunerReading:
    """Read a row; what is wrong with it is a ValueError of two texts: what, and what to try."""
    cents = _number(row["cents"], "cents", -FARTHEST_CENTS, FARTHEST_CENTS,
                    "A tuner shows how far the note lies from the one meant, such as -12.")
    weight = next((row[name] for name in WEIGHT_COLUMNS if row.get(name)), "1")
    pitch = _pitch(row["note"])
    valves, position = _held(row, horn)
    place_mm = None
    if row.get("mm"):
        if position is None:
            raise ValueError(f"{horn.name} has no slide, so mm says nothing", "Leave mm empty.")
        place_mm = _number(row["mm"], "mm", 0, horn.slide_end_mm, "Measure from the stop of first position.")
    if position == 1 and place_mm is None:
        place_mm = 0.0
    partial = _partial(horn, pitch, valves, position, place_mm)
    return TunerReading(
        line=line, midi=pitch.midi, valves=valves, position=position, place_mm=place_mm, partial=partial, cents=cents,
        weight=_number(weight, "weight", 0.01, 1000, "Give how many readings this one stands for."),
    )


def _number(text: str, name: str, low: float, high: float, try_: str) -> float:
    match = re.fullmatch(r"\s*\+?(-?\d{1,6})(?:[.,](\d{1,9}))?\s*", text.replace("−", "-"))
    if match is None:
        raise ValueError(f"'{text}' is no number of {name}", try_)
    value = float(f"{match[1]}.{match[2] or 0}")
    if not low <= value <= high:
        raise ValueError(f"{name} is {text}, and must lie between {low:g} and {high:g}", try_)
    return value


def _pitch(text: str) -> Pitch:
    if re.match(r"[hH]", text):
        raise ValueError(
            f"'{text}' is no note here", "Write B3 for the German H, and Bb3 for the German B, all through the file.")
    try:
        return parse_pitch(text)
    except ValueError as error:
        raise ValueError(str(error), "The note is the one that sounds, with its octave.") from None


def _held(row: dict[str, str], horn: Horn) -> tuple[Valves, int | None]:
    """Return what was held, and the position on a slide horn."""
    text = "".join(row.get(name, "") for name in HELD_COLUMNS).replace(" ", "")
    if horn.family == "slide":
        return _on_slide(text.upper(), horn)
    if not text:
        raise ValueError("it does not say what was held", "Write the valves, such as 1-2, or 0 for open.")
    held = () if text.casefold() in ("0", "open") else tuple(re.sub(r"[-+&/.]", "", text))
    if len(set(held)) < len(held) or tuple(sorted(held)) not in states(horn):
        raise ValueError(f"{horn.name} cannot hold '{text}'",
                         f"Its valves are {', '.join(horn.loop_names)}; write 1-2, or 0 for open.")
    return tuple(sorted(held)), None


def _on_slide(text: str, horn: Horn) -> tuple[Valves, int]:
    match = re.fullmatch(r"([TS]*)-?([1-9])", text)
    states_of = ", ".join("".join(held) for held in states(horn) if held)
    if match is None:
        also = f" or {states_of.split(', ')[0]}1 with the attachment" if states_of else ""
        raise ValueError(f"'{text}' is no position", f"Write a number such as 1{also}; a shade goes under mm.")
    valves, position = tuple(match[1]), int(match[2])
    if valves not in states(horn):
        raise ValueError(f"{horn.name} cannot hold {match[1]}", f"It has {states_of or 'no attachment'}.")
    last = positions(horn, valves)
    if position > last:
        raise ValueError(f"{horn.name} has no position {text}", f"The last one is {match[1]}{last}.")
    return valves, position


def sounding_cents(horn: Horn, held: State, partial: int, position: int | None, place_mm: float | None) -> float:
    """How far above the horn's nominal fundamental a partial sounds, as the profile has it. [cents]

    A position without a measured place is taken where the profile has it in tune.
    """
    if position is not None and place_mm is None:
        down = 100.0 * (held.semitones + position - 1)
    else:
        down = lowered_cents(held.ratio + 2 * (place_mm or 0.0) / horn.tube_mm)
    return held.partial_cents[partial - 1] - down


def _partial(horn: Horn, pitch: Pitch, valves: Valves, position: int | None, place_mm: float | None) -> int:
    held = state(horn, valves)
    off = {partial: sounding_cents(horn, held, partial, position, place_mm) - 100 * (pitch.midi - horn.fundamental_midi)
           for partial in range(1, HIGHEST_PARTIAL + 1)}
    partial = min(off, key=lambda one: abs(off[one]))
    if abs(off[partial]) <= ONE_NOTE_CENTS:
        return partial
    label = f"{''.join(valves)}{position}" if position is not None else valves_text(valves)
    around = sorted({round(pitch.midi + cents / 100) for cents in off.values() if abs(cents) < 1000})
    near = ", ".join(pitch_of(midi).pretty for midi in around if abs(midi - pitch.midi) <= 7)
    hint = " (a German B is Bb)" if (pitch.step, pitch.alter) == ("B", 0) and pitch.midi - 1 in around else ""
    raise ValueError(f"{horn.name} has no {pitch.pretty} with {label}",
                     f"Near it that gives {near or 'nothing'}{hint}; notes are the ones that sound, not the ones "
                     "written in treble clef.")


def _refused(file: str, line: int, what: str, try_: str) -> Unreadable:
    return unreadable(CODE, where=f"{file}, line {line}", what=what, try_=try_)
