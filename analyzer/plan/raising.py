"""What a note's place in its chord asks of the player; notes that a slide in first position cannot raise to it."""

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import candidates
from analyzer.pitch import HEARD_CENTS
from analyzer.plan.plan import Plan
from analyzer.problem import Problem
from analyzer.words import shown

if TYPE_CHECKING:
    from analyzer.plan.solve import Planner

CODE = "cannot-raise"


_NEARER_CENTS = 2.0                    # less is no reason to finger a note otherwise (judged)


def chord_reason(role: str, choice: Candidate, ways: Iterable[Candidate] = ()) -> str:
    """Say where a note belongs in its chord, and what brings it there.

    Parameters
    ----------
    role : str
        What it is, such as ``third of Bb major``.
    choice : Candidate
        As `aimed` gives it: with its target, the slide's shift, and what is left.
    ways : iterable of Candidate
        What else sounds the note, aimed alike: the one that lies nearest to its place is named where it is nearer.
    """
    target, left = choice.target_cents, choice.off_cents
    place = "as in equal temperament" if abs(target) < 0.5 else \
        f"{abs(target):.0f} cents {'above' if target > 0 else 'below'} equal temperament"
    if abs(left) >= HEARD_CENTS:
        side, others = ("below", "down") if left < 0 else ("above", "up")
        nearest = min((one for one in ways if one.advice is None and abs(one.off_cents) + _NEARER_CENTS < abs(left)),
                      key=lambda one: abs(one.off_cents), default=None)
        nearer = "" if nearest is None else f"take {shown(nearest.label)} if it is known ({_left(nearest)}), or "
        stuck = "valves cannot move" if choice.extension_mm is None else \
            "the slide is all the way in" if left < 0 else "the slide is at its end"
        how = f"it stays {abs(left):.0f} cents {side} that ({stuck}), so {nearer}the others come {others} to it"
    elif choice.extension_mm is None or abs(choice.shift_mm) < 1:
        how = "it is there already"
    else:
        way = "out from" if choice.shift_mm > 0 else "in from"
        how = f"the slide goes {abs(choice.shift_mm):.0f} mm {way} its usual place"
    return f"{shown(role[:1].upper() + role[1:])}: belongs {place}; {how}."


def _left(choice: Candidate) -> str:
    cents = round(choice.off_cents)
    return f"{abs(cents)} cents {'above' if cents > 0 else 'below'}" if cents else "right there"


def cannot_raise(planner: "Planner", plan: Plan) -> Iterator[Problem]:
    """Yield a problem for each note that stays audibly below its place in the chord, with the remedy."""
    for note in plan.notes:
        choice = note.choice
        if choice is None or choice.extension_mm is None or not choice.target_cents \
                or choice.off_cents > -HEARD_CENTS:
            continue
        short = -choice.off_cents
        ways = [planner.aimed(note.index, other) for other in candidates(planner.horn, note.note.midi)
                if other.advice is None and other.label != choice.label]
        reach = [shown(other.label) for other in ways if abs(other.off_cents) < HEARD_CENTS
                 and other.out_mm <= planner.player.reach_on(planner.horn)
                 and planner.player.knows(other.valves)]
        take = f"Take {' or '.join(reach[:2])} if there is time, or let" if reach else "Let"
        yield Problem(
            severity="note", code=CODE, where=planner.where(note.index),
            what=f"{note.note.sounding.pretty} in {shown(choice.label)} stays {short:.0f} cents below its place in the "
                 "chord: the slide is all the way in",
            try_=f"{take} the others come down to it; a main slide pulled a little gives room to raise.")
