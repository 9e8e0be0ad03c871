"""The one road from a file to plans, for every door: a `Request` goes in, an `Analysis` comes out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from analyzer import cautions
from analyzer.assumption import Assumption
from analyzer.horns.profiles import load_horn
from analyzer.intonation.sonority import Sonorities
from analyzer.intonation.targets import Intonation, Target, targets
from analyzer.plan.plan import Plan
from analyzer.plan.player import Player
from analyzer.plan.raising import cannot_raise
from analyzer.plan.solve import Planner
from analyzer.plan.timing import NoteTime, note_times
from analyzer.plan.weights import Weights, default_weights
from analyzer.problem import Problem, unreadable
from analyzer.score.document import Document
from analyzer.score.lines import Line
from analyzer.score.parts import PartInfo
from analyzer.score.transposing import Reads
from analyzer.selection import asked_lines, attack, chosen_parts
from analyzer.supposed import assumptions_of, doubts_of
from analyzer.words import first_few


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """What is asked of a score.

    `parts` are ids or names (empty: every low-brass part); `horns` names or files, each for the lines of its family;
    `measures` a range of printed numbers such as ``("5", "12")``; `pins` maps (line number or None, measure, nth
    attack from 1) to a label; `tempo_bpm` overrides the score's tempo; `reads` says how treble-clef low brass is read;
    `intonation` whether long notes go to their pure place in the chord (``just``) or stay in equal temperament.
    """

    parts: tuple[str, ...] = ()
    horns: tuple[str, ...] = ()
    measures: tuple[str, str] | None = None
    pins: Mapping[tuple[int | None, str, int], str] = field(default_factory=dict)
    player: Player = field(default_factory=Player)
    tempo_bpm: float | None = None
    reads: Reads | None = None
    intonation: Intonation = "equal"
    weights: Weights | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """One line's planner and plan, the part it belongs to, and whether its horn was assumed."""

    part: PartInfo
    planner: Planner
    plan: Plan
    assumed: bool
    targets: tuple[Target | None, ...] = ()

    @property
    def assumptions(self) -> tuple[Assumption, ...]:
        """What the score did not say and was supposed for this line."""
        return assumptions_of(self.part, self.planner, assumed=self.assumed)

    def __repr__(self) -> str:
        """Return one short line: a plan holds thousands of values."""
        return f"Planned({self.plan!r}, assumed={self.assumed})"


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysis:
    """Plans of every asked line, with the problems found on the way and the cautions that belong to them."""

    document: Document
    lines: tuple[Planned, ...]
    problems: tuple[Problem, ...]
    cautions: tuple[str, ...]

    def __repr__(self) -> str:
        """Return one short line."""
        return f"Analysis({self.document!r}, {len(self.lines)} lines)"


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
    lines, more = asked_lines(document, chosen, measures=request.measures, reads=request.reads)
    problems += more
    planned = []
    sonorities = Sonorities(document, request.reads) if request.intonation == "just" else None
    for number, asked in enumerate(lines, 1):
        line = asked.line
        horn, assumed = asked.horn(horns, named=bool(request.parts))
        places, times = _targets(line, request, sonorities)
        planner = Planner(line, horn, request.player, tempo_bpm=request.tempo_bpm, weights=request.weights, times=times,
                          aims=[place.cents if place else 0.0 for place in places],
                          roles=[place.role if place else "" for place in places])
        mine = {}
        for (which, measure, nth), label in list(pins.items()):
            if which == number or (which is None and number == 1):
                mine[attack(line, measure, nth)] = label
                pins.pop((which, measure, nth))
        planned.append(Planned(part=asked.played, planner=planner, plan=planner.plan(mine), assumed=assumed,
                               targets=places))
    if pins:
        (which, measure, nth), _ = next(iter(pins.items()))
        raise unreadable("bad-pin", where=document.name, what=f"there is no line {which} for pin {measure}:{nth}",
                         try_=f"Lines are numbered from 1 to {len(lines)} in the order shown.")
    doubts = dict.fromkeys(doubt for one in planned for doubt in doubts_of(
        one.planner.line, document.name, request.tempo_bpm, request.weights))
    unreached = [problem for one in planned for problem in cannot_raise(one.planner, one.plan)]
    return Analysis(document=document, lines=tuple(planned), problems=(*problems, *doubts, *unreached),
                    cautions=cautions_for([one.plan for one in planned]))


def _targets(line: Line, request: Request, sonorities: Sonorities | None,
             ) -> tuple[tuple[Target | None, ...], tuple[NoteTime, ...] | None]:
    """Return where the notes of a line belong in their chords, and the times that this took; nothing for equal."""
    if sonorities is None:
        return (), None
    player, times = request.player, note_times(line, request.weights or default_weights(), request.tempo_bpm)
    return targets(line, [time.sounds_s for time in times], sonorities, strength=player.just_strength,
                   from_s=player.just_from_s), times


def with_notes(analysis: Analysis) -> Analysis:
    """Return the analysis of the lines that have notes: what can be drawn, printed and marked.

    Raises
    ------
    Unreadable
        If none has.
    """
    lines = tuple(one for one in analysis.lines if one.plan.notes)
    if not lines:
        names = first_few(list(dict.fromkeys(one.part.full_name or one.part.id for one in analysis.lines)), 6)
        raise unreadable("no-notes", where=analysis.document.name,
                         what=f"there is no note to show in {names}, so nothing was written",
                         try_="Choose other parts or other measures.")
    return analysis if len(lines) == len(analysis.lines) else replace(analysis, lines=lines)


def cautions_for(plans: Sequence[Plan]) -> tuple[str, ...]:
    """Return the cautions for playing these plans."""
    return cautions.for_playing(
        slide=any(plan.horn.family == "slide" for plan in plans) or not plans,
        valves=any(plan.horn.family == "valves" for plan in plans),
        estimated_reach=any(plan.player.reach_estimated for plan in plans))
