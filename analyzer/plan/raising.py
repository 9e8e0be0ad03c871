"""Notes that a chord wants higher than a slide in first position can bring them."""

from collections.abc import Iterator

from analyzer.horns.candidates import candidates
from analyzer.pitch import HEARD_CENTS
from analyzer.plan.plan import Plan
from analyzer.plan.solve import Planner
from analyzer.problem import Problem
from analyzer.words import shown

CODE = "cannot-raise"


def cannot_raise(planner: Planner, plan: Plan) -> Iterator[Problem]:
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
