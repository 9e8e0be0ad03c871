"""The one road from a file to plans, for every door: a `Request` goes in, an `Analysis` comes out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import cast

from analyzer import cautions
from analyzer.horns.horn import Horn
from analyzer.horns.profiles import load_horn
from analyzer.pitch import Transposition
from analyzer.plan.plan import Plan
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner
from analyzer.plan.weights import Weights
from analyzer.problem import Problem, unreadable
from analyzer.score.document import Document
from analyzer.score.line import Line
from analyzer.score.lines import lines_of
from analyzer.score.naming import Family
from analyzer.score.parts import HORN_OF_FAMILY, PartInfo, find_parts
from analyzer.score.reader import read_part
from analyzer.wording import first_few

DEFAULT_HORN = "tenor-f"
_MOST_NAMED = 12                       # parts named in a line of a problem, which stays a line so


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """What is asked of a score.

    `parts` are ids or names (empty: every low-brass part); `horns` names or files, each for the lines of its family;
    `measures` a range of printed numbers such as ``("5", "12")``; `pins` maps (line number or None, measure, nth
    attack from 1) to a label; `tempo_bpm` overrides the score's tempo.
    """

    parts: tuple[str, ...] = ()
    horns: tuple[str, ...] = ()
    measures: tuple[str, str] | None = None
    pins: Mapping[tuple[int | None, str, int], str] = field(default_factory=dict)
    player: Player = field(default_factory=Player)
    tempo_bpm: float | None = None
    reads: Transposition | None = None
    weights: Weights | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """One line's planner and plan, the part it belongs to, and whether its horn was assumed."""

    part: PartInfo
    planner: Planner
    plan: Plan
    assumed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysis:
    """Plans of every asked line, with the problems found on the way and the cautions that belong to them."""

    document: Document
    lines: tuple[Planned, ...]
    problems: tuple[Problem, ...]
    cautions: tuple[str, ...]


def analyse(document: Document, request: Request) -> Analysis:
    """Find the parts, read their lines, plan each.

    Raises
    ------
    Unreadable
        If a part, horn, measure or pin of the request is not there, or the score has no low brass.
    """
    horns = [load_horn(name) for name in request.horns]
    chosen, problems = chosen_parts(document, request.parts)
    pins = dict(request.pins)
    lines: list[tuple[PartInfo, Line]] = []
    for part in chosen:
        found, more = part_lines(document, part, reads=request.reads)
        problems += more
        lines += [(as_played(part, line), line) for line in found]
    if request.measures:
        lines = [(part, between(line, *request.measures, name=document.name)) for part, line in lines]
    planned = []
    for number, (part, line) in enumerate(lines, 1):
        horn, assumed = horn_for(part, horns)
        planner = Planner(line, horn, request.player, tempo_bpm=request.tempo_bpm, weights=request.weights)
        mine = {}
        for (which, measure, nth), label in list(pins.items()):
            if which == number or (which is None and number == 1):
                mine[attack(line, measure, nth)] = label
                pins.pop((which, measure, nth))
        planned.append(Planned(part=part, planner=planner, plan=planner.plan(mine), assumed=assumed))
    if pins:
        (which, measure, nth), _ = next(iter(pins.items()))
        raise unreadable("bad-pin", where=document.name, what=f"there is no line {which} for pin {measure}:{nth}",
                         try_=f"Lines are numbered from 1 to {len(lines)} in the order shown.")
    return Analysis(document=document, lines=tuple(planned), problems=tuple(problems),
                    cautions=cautions_for([one.plan for one in planned]))


def cautions_for(plans: Sequence[Plan]) -> tuple[str, ...]:
    """Return the cautions for playing these plans."""
    return cautions.for_playing(
        slide=any(plan.horn.family == "slide" for plan in plans) or not plans,
        valves=any(plan.horn.family == "valves" for plan in plans),
        estimated_reach=any(plan.player.reach_estimated for plan in plans))


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
            raise unreadable("no-low-brass", where=document.name,
                             what=f"no trombone, euphonium or baritone among its {len(parts)} parts "
                                  f"({first_few([part.name or part.id for part in parts], _MOST_NAMED)})",
                             try_="Name a part with --part to plan it all the same.")
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


def part_lines(document: Document, part: PartInfo, *, reads: Transposition | None = None,
               ) -> tuple[tuple[Line, ...], list[Problem]]:
    """Read one part and divide it into its players' lines."""
    timeline, problems = read_part(document, part.id, reads=reads)
    lines, more = lines_of(replace(timeline, name=part.full_name or part.name), part.family)
    return lines, [*problems, *more]


def as_played(part: PartInfo, line: Line) -> PartInfo:
    """Return the part as one of its lines has it: of another family where the player takes up another horn."""
    if line.family == part.family:
        return part
    return replace(part, family=cast(Family, line.family), horn=HORN_OF_FAMILY[line.family])


def horn_for(part: PartInfo, horns: Sequence[Horn]) -> tuple[Horn, bool]:
    """Return the horn for a part's lines and whether it was assumed: a given horn holds for its family."""
    assumed = load_horn(part.horn or DEFAULT_HORN)
    if part.horn is None and horns:
        return horns[0], False
    # The last given horn of a family wins, but one of the part's own kind comes first.
    own = [horn for horn in horns if horn.kind == assumed.kind] or [
        horn for horn in horns if horn.family == assumed.family]
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
