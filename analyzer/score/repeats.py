"""Where playing may go on elsewhere: repeats, endings, D.C. and D.S."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from analyzer.score.signs import Signpost
from analyzer.score.timeline import Jump, Measure

_Turn = tuple[Fraction | None, bool]
_Place = tuple[int, Fraction | None]    # measure, and how far into it [quarter notes]; None: its end


@dataclass(slots=True)
class Bars:
    """The bar lines of one measure, as read.

    `turns` are its repeat signs: how far into the measure they stand [quarter notes] (None: at its end), and whether
    they send back.
    """

    turns: list[tuple[Fraction | None, bool]] = field(default_factory=list)
    endings: list[str] = field(default_factory=list)   # numbers of the endings that start here


def jumps_of(measures: Sequence[Measure], bars: dict[int, Bars], posts: Sequence[Signpost]) -> tuple[Jump, ...]:
    """Return all places where playing may leave the printed order.

    A repeat goes back to its start; the measure before a first ending goes on at every later ending of the group;
    D.C. goes to the beginning, D.S. to its segno, "to coda" to the coda. These signs act at the end of their measure
    (a "to coda" that stands at the beginning of a measure, at the end of the one before).
    """
    found = _repeats(measures, bars, posts)
    for post in posts:
        if post.measure >= len(measures):
            continue
        if post.kind == "dacapo":
            found.add(((post.measure, None), (0, Fraction(0))))
        elif post.kind == "dalsegno":
            target = _target(posts, "segno", post, before=True)
            if target is not None:
                found.add(((post.measure, None), (target.measure, Fraction(0))))
        elif post.kind == "tocoda":
            target = _target(posts, "coda", post, before=False)
            leave = post.measure - 1 if post.offset == 0 and post.measure > 0 else post.measure
            if target is not None and target.measure < len(measures):
                found.add(((leave, None), (_reached(target, measures), Fraction(0))))
    jumps = (Jump(from_measure=leave[0], from_offset=leave[1], to_measure=reach[0], to_offset=reach[1] or Fraction(0))
             for leave, reach in found)
    return tuple(sorted(jumps, key=lambda jump: (
        jump.from_measure, jump.from_offset is None, jump.from_offset or 0, jump.to_measure, jump.to_offset)))


def _repeats(measures: Sequence[Measure], bars: dict[int, Bars],
             posts: Sequence[Signpost]) -> set[tuple[_Place, _Place]]:
    found: set[tuple[_Place, _Place]] = set()
    start: _Place = (0, Fraction(0))
    first_ending: int | None = None
    for index, turns in enumerate(_turns(measures, bars, posts)):
        here = bars.get(index) or Bars()
        for numbers in here.endings:
            # Exporters write "1, 2", "1." and "1.-3."; the standard wants the first of these.
            if first_ending is None or "1" in re.findall(r"\d+", numbers):
                first_ending = index
            elif first_ending > 0:
                found.add(((first_ending - 1, None), (index, Fraction(0))))
        for at, back in turns:
            if not back and at == 0:
                start = (index, at)
                first_ending = first_ending if first_ending == index else None
                continue
            if back:
                found.add(((index, at), start))
            following = bars.get(index + 1)
            if back and at is None and following is not None and following.endings:
                continue               # the next ending goes back to the same start
            start = (index, at) if at is not None else (index + 1, Fraction(0))
            if not here.endings:
                first_ending = None
    return found


def _turns(measures: Sequence[Measure], bars: dict[int, Bars], posts: Sequence[Signpost]) -> list[list[_Turn]]:
    """Return the repeat signs of each measure in the order of time; one that sends back closes what it follows."""
    result: list[list[_Turn]] = [[] for _ in measures]
    for index, here in bars.items():
        for at, back in here.turns:
            if at is not None and at >= measures[index].duration > 0:
                at = None
            if back and at == 0 and index > 0:
                result[index - 1].append((None, True))
            elif not (back and at == 0):
                result[index].append((at, back))
    for post in posts:
        # A repeat may begin where no sign is printed, as in a trio (MusicXML 4.0, sound, forward-repeat).
        if post.kind == "forward" and post.measure < len(measures):
            result[post.measure].append((post.offset, False))
    for turns in result:
        turns.sort(key=lambda turn: (turn[0] is None, turn[0] or 0, not turn[1]))
    return result


def _target(posts: Sequence[Signpost], kind: str, of: Signpost, *, before: bool) -> Signpost | None:
    fitting = [post for post in posts if post.kind == kind
               and (post.measure <= of.measure if before else post.measure > of.measure)]
    named = [post for post in fitting if of.name and post.name == of.name]
    chosen = named or fitting
    return (chosen[-1] if before else chosen[0]) if chosen else None


def _reached(post: Signpost, measures: Sequence[Measure]) -> int:
    at_end = post.offset > Fraction(0) and post.offset >= measures[post.measure].duration
    return min(post.measure + 1, len(measures) - 1) if at_end else post.measure
