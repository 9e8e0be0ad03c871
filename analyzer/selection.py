"""From what is asked to the lines it means, for every command: parts, measures, changes of horn, a horn for each."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import cast

from analyzer.horns.horn import Horn
from analyzer.horns.profiles import load_horn
from analyzer.problem import Problem, Unreadable, unreadable
from analyzer.score.document import Document
from analyzer.score.lines import Line, lines_of
from analyzer.score.naming import PartFamily
from analyzer.score.parts import HORN_OF_FAMILY, UNTOLD, PartInfo, find_parts
from analyzer.score.reader import read_part
from analyzer.score.transposing import Reads
from analyzer.words import first_few

DEFAULT_HORN = "tenor-f"
_MOST_NAMED = 12                       # parts named in a line of a problem, which stays a line so


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One line that is asked for, and the part it is printed in."""

    part: PartInfo
    line: Line

    @property
    def played(self) -> PartInfo:
        """The part as this line has it: of another family where the player takes up another horn."""
        if self.line.family == self.part.family:
            return self.part
        return replace(self.part, family=cast(PartFamily, self.line.family), horn=HORN_OF_FAMILY[self.line.family],
                       horn_reason="")

    def horn(self, horns: Sequence[Horn], *, named: bool = False) -> tuple[Horn, bool]:
        """Return the horn of this line and whether it was assumed; as `horn_for`."""
        return horn_for(self.played, horns, named=named)


def asked_lines(document: Document, parts: Iterable[PartInfo], *, measures: tuple[str, str] | None = None,
                reads: Reads | None = None) -> tuple[list[Asked], list[Problem]]:
    """Return the lines of these parts, cut to the measures asked for, and what was found while reading them.

    A part without notes gives a line without notes.

    Raises
    ------
    Unreadable
        If a part cannot be read or a measure is not there.
    """
    asked: list[Asked] = []
    problems: list[Problem] = []
    for part in parts:
        lines, found = part_lines(document, part, reads=reads)
        problems += found
        asked += [Asked(part=part, line=between(line, *measures, name=document.name) if measures else line)
                  for line in lines]
    return asked, problems


def chosen_parts(document: Document, asked: Sequence[str]) -> tuple[list[PartInfo], list[Problem]]:
    """Return the asked parts (every low-brass part if none is asked) and the problems of recognition.

    Raises
    ------
    Unreadable
        If an asked part is not there, or nothing is asked and no part is low brass.
    """
    parts, found = find_parts(document)
    problems = list(found)
    if not asked:
        chosen = [part for part in parts if part.low_brass]
        if not chosen:
            raise Unreadable(no_low_brass(document))
        return chosen, problems
    chosen = []
    for name in asked:
        wanted = name.strip().casefold()
        matches = [part for part in parts if part.id == name] or [
            part for part in parts if wanted in (part.name.casefold(), part.full_name.casefold())]
        if not matches:
            named = first_few([f"{part.id} {part.full_name}".strip() for part in parts], _MOST_NAMED)
            raise unreadable("no-such-part", where=document.name, what=f"no part is called '{name}'",
                             try_=f"Its parts: {named}.")
        chosen += [part for part in matches if part not in chosen]
    return chosen, problems


def no_low_brass(document: Document) -> Problem:
    """Return what is said of a score in which nothing is recognised as low brass, with the names of its parts."""
    parts = find_parts(document)[0]
    if document.lost is not None and not any(part.family != "other" or part.evidence != UNTOLD for part in parts):
        named = first_few([f"{part.id} {part.full_name}".strip() for part in parts], _MOST_NAMED)
        return Problem(severity="error", code="names-not-read", where=document.name, what="the "
                       f"{document.lost.value} file names no instruments, so nothing tells which part is low brass",
                       try_=f"Name a part with --part: {named}.")
    among = f"among its {len(parts)} parts" if len(parts) != 1 else "here; its only part is"
    names = first_few([part.full_name or part.id for part in parts], _MOST_NAMED)
    return Problem(severity="error", code="no-low-brass", where=document.name,
                   what=f"no trombone, euphonium or baritone {among} {f'({names})' if len(parts) != 1 else names}",
                   try_="Name a part with --part to plan it all the same.")


def part_lines(document: Document, part: PartInfo, *, reads: Reads | None = None,
               ) -> tuple[tuple[Line, ...], list[Problem]]:
    """Read one part and divide it into its players' lines; a part without notes is one line without notes."""
    name = part.full_name or part.name
    silent = Line(part_id=part.id, part_name=name, family=part.family, number=1, of=1, notes=(), measures=(), tempi=())
    if not document.part_measures(part.id):
        return (silent,), []           # listed without music, which recognition has said
    timeline, problems = read_part(document, part.id, reads=reads)
    lines, more = lines_of(replace(timeline, name=name), part.family)
    return lines or (replace(silent, measures=timeline.measures),), [*problems, *more]


def horn_for(part: PartInfo, horns: Sequence[Horn], *, named: bool = False) -> tuple[Horn, bool]:
    """Return the horn for a part's lines and whether it was assumed.

    A given horn holds for its family; where the part itself was `named`, for that part whatever its family.
    """
    assumed = load_horn(part.horn or DEFAULT_HORN)
    if part.horn is None and horns:
        return horns[0], False
    # The last given horn of a family wins, but one of the part's own kind comes first.
    own = [horn for horn in horns if horn.kind == assumed.kind] or [
        horn for horn in horns if horn.family == assumed.family]
    if named:
        own = own or list(horns)
    return (own[-1], False) if own else (assumed, True)


def between(line: Line, first: str, last: str, *, name: str) -> Line:
    """Cut a line to the measures from `first` to `last` as printed, both included.

    Raises
    ------
    Unreadable
        If either measure is not there, or they stand in the wrong order.
    """
    numbers = [measure.number for measure in line.measures]
    for wanted in (first, last):
        if wanted not in numbers:
            shown = f"{numbers[0]} to {numbers[-1]}" if numbers else "none"
            raise unreadable("no-such-measure", where=f"{name}, {line.part_name}", what=f"there is no measure {wanted}",
                             try_=f"Its measures: {shown}.")
    start, stop = numbers.index(first), len(numbers) - 1 - numbers[::-1].index(last)
    if start > stop:
        raise unreadable("no-such-measure", where=f"{name}, {line.part_name}",
                         what=f"measure {first} comes after measure {last}", try_="Exchange the two.")
    kept = [k for k, note in enumerate(line.notes) if start <= note.measure_index <= stop]
    measures = line.measures[start:stop + 1] if start or stop + 1 < len(numbers) else line.measures
    return replace(line.picked(kept), measures=measures)


def attack(line: Line, measure: str, nth: int) -> int:
    """Return the index of the nth attack (from 1) in a measure.

    Raises
    ------
    Unreadable
        If the measure has no such attack.
    """
    here = [k for k, note in enumerate(line.notes) if note.measure == measure]
    if not 1 <= nth <= len(here):
        raise unreadable("bad-pin", where=f"{line.part_name}, line {line.number}",
                         what=f"measure {measure} has {len(here)} attacks, not {nth}",
                         try_="Pins are MEASURE:NTH=LABEL, counted from 1.")
    return here[nth - 1]
