"""Pins, the choices kept by hand, as texts and as a file that goes from one desk to another.

A pin is ``MEASURE:NTH=LABEL``, with several lines ``MEASURE:LINE.NTH=LABEL``: the measure as printed, the place of the
attack in it and the number of the line, both from 1. The file is TOML, a ``[[part]]`` with `id`, `name` and `pins` for
each part; its lines count within the part, so that it holds whatever else of the score is planned.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from analyzer.analysis import Analysis
from analyzer.problem import Problem, Unreadable, unreadable
from analyzer.score.parts import PartInfo
from analyzer.selection import attack
from analyzer.toml_file import Table, toml_value

_PIN = re.compile(r"(?P<measure>[^:=]+):(?:(?P<line>\d{1,4})\.)?(?P<nth>\d{1,6})=(?P<label>\S+)")
_HEAD = "# Choices kept by hand, for  lowbrass map SCORE --pins THIS-FILE\n# A pin is MEASURE:LINE.NTH=LABEL.\n"
MOST_PINS = 2000
"""Pins of one file or question at most; judged: far above any part that is marked by hand."""
CODE = "bad-pin"


@dataclass(frozen=True, slots=True, kw_only=True)
class Pin:
    """A choice for the `nth` attack (from 1) of a measure; `line` counts from 1, None where the part has but one."""

    measure: str
    nth: int
    label: str
    line: int | None = None

    def text(self) -> str:
        """Return the pin as it is written."""
        return f"{self.measure}:{f'{self.line}.' if self.line else ''}{self.nth}={self.label}"


@dataclass(frozen=True, slots=True, kw_only=True)
class PinnedPart:
    """The pins of one part, found again by its id, else by its name."""

    id: str
    name: str
    pins: tuple[Pin, ...]


def read_pin(text: str) -> Pin | None:
    """Read one pin; None where it has another form.

    Examples
    --------
    >>> read_pin("12:2.3=T1")
    Pin(measure='12', nth=3, label='T1', line=2)
    """
    match = _PIN.fullmatch(text.strip())
    if match is None:
        return None
    return Pin(measure=match["measure"].strip(), nth=int(match["nth"]), label=match["label"],
               line=int(match["line"]) if match["line"] else None)


def _pin(text: str) -> Pin:
    pin = read_pin(text)
    if pin is None:
        raise ValueError(f"'{text[:60]}' is no pin (MEASURE:NTH=LABEL)")
    return pin


def pins_file(parts: Iterable[PinnedPart]) -> str:
    """Return the text of a pins file."""
    out = [_HEAD]
    for part in parts:
        pins = "".join(f"    {toml_value(pin.text())},\n" for pin in part.pins)
        out.append(f"\n[[part]]\nid = {toml_value(part.id)}\nname = {toml_value(part.name)}\npins = [\n{pins}]\n")
    return "".join(out)


def read_pins_file(top: Table) -> tuple[PinnedPart, ...]:
    """Read a parsed pins file.

    Raises
    ------
    Unreadable
        If it has another form, or one of its pins.
    """
    top.code = CODE
    parts = []
    for table in top.tables("part"):
        part_id, name = table.take("id", str, ""), table.take("name", str, "")
        pins = table.words("pins", '["12:3=T1"]', read=_pin)
        table.done()
        parts.append(PinnedPart(id=part_id, name=name, pins=pins))
    if not parts or sum(1 + len(part.pins) for part in parts) > MOST_PINS:
        raise unreadable(CODE, where=top.file, what="it has no [[part]] with pins" if not parts
                         else f"it has more than {MOST_PINS} pins", try_="Save the pins again from the page.")
    top.done()
    return tuple(parts)


def pins_of_analysis(analysis: Analysis, parts: Sequence[PinnedPart], file: str, *, cut: bool = False,
                     ) -> dict[tuple[int | None, str, int], str]:
    """Return the pins for a `Request`: their lines count over all lines of the analysis.

    Pins of parts that the analysis leaves out are left out too; and, where it is `cut` to some measures, of others.

    Raises
    ------
    Unreadable
        If no part of the file is in the score at all, or a part lacks the line of a pin.
    """
    result: dict[tuple[int | None, str, int], str] = {}
    planned = list({one.part.id: one.part for one in analysis.lines}.values())
    known = False
    for part in parts:
        found = part_of(part, planned)
        numbers = [number for number, one in enumerate(analysis.lines, 1) if one.part is found]
        known = known or bool(numbers)
        for pin in part.pins if numbers else ():
            if (pin.line or 1) > len(numbers):
                raise missing_line(file, part, pin, len(numbers))
            number = numbers[(pin.line or 1) - 1]
            if not cut or any(one.number == pin.measure for one in analysis.lines[number - 1].plan.line.measures):
                result[number, pin.measure, pin.nth] = pin.label
    if not known:
        names = ", ".join(part.name or part.id for part in parts)
        raise unreadable(CODE, where=file, what=f"none of its parts ({names}) is planned here",
                         try_="Choose the score that the pins were made for, or name its part with --part.")
    return result


def fitting(analysis: Analysis, pins: Mapping[tuple[int | None, str, int], str], file: str,
            ) -> tuple[dict[tuple[int | None, str, int], str], list[Problem]]:
    """Return the pins of a file that still fit, and a warning for each that does not: score or horn may have changed.

    `analysis` is that of the same request without pins.
    """
    kept: dict[tuple[int | None, str, int], str] = {}
    problems = []
    for (number, measure, nth), label in pins.items():
        planner = analysis.lines[(number or 1) - 1].planner
        try:
            planner.pinned(attack(planner.line, measure, nth), label)
        except Unreadable as error:
            problems.append(replace(error.problem, severity="warning", where=f"{file}, pin {measure}:{nth}={label}",
                                    try_="The pin is left out; pin the note again, or save the pins anew."))
        else:
            kept[number, measure, nth] = label
    return kept, problems


def part_of(part: PinnedPart, parts: Sequence[PartInfo]) -> PartInfo | None:
    """Return the part that a part of the file means: of its name (the one with its id first), else of its id."""
    named = [one for one in parts if part.name and part.name in (one.name, one.full_name)]
    return next((one for one in named or parts if one.id == part.id), named[0] if named else None)


def missing_line(file: str, part: PinnedPart, pin: Pin, count: int) -> Unreadable:
    """Return the problem of a pin for a line that the part lacks."""
    return unreadable(CODE, where=f"{file}, {part.name or part.id}",
                      what=f"pin {pin.text()} is for line {pin.line or 1}, and the part has {count}",
                      try_="Choose the score that the pins were made for.")
