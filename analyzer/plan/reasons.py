"""Why a note is played where it is: one short sentence that names the gain."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from analyzer.horns.candidate import Candidate, shown
from analyzer.plan.costs import Costs, Move, lowest_partial
from analyzer.plan.plan import Alternative
from analyzer.plan.timing import NoteTime


@dataclass(frozen=True, slots=True)
class Around:
    """The whole plan, to look at a note's neighbours. `usual` is the chart's choice of each note."""

    costs: Costs
    times: Sequence[NoteTime]
    moves: Sequence[Move]
    picked: Sequence[Candidate | None]
    usual: Sequence[Candidate | None]

    def glides(self, k: int) -> bool:
        """Tell whether a glissando begins or ends at note `k`."""
        return any(move.gliss for move in self.moves[max(k - 1, 0):k + 1])


def reasons(around: Around, k: int, alternatives: Sequence[Alternative], pinned: bool) -> tuple[str, ...]:
    """Return the sentences for note `k` of the plan; at least one."""
    choice, usual = around.picked[k], around.usual[k]
    assert choice is not None
    if pinned:
        return ("Pinned by hand.",)
    if choice.advice and around.glides(k):
        return (f"Keeps the glissando on one partial; {choice.advice}.",)
    if choice.advice:
        return (f"Nothing better sounds it here; {choice.advice}.",)
    if usual is None or choice.label == usual.label:
        if not alternatives:
            return ("The only choice here.",)
        second = alternatives[0]
        return (f"Usual choice; the next best, {shown(second.choice.label)}, would cost "
                f"{max(second.extra_cost, 0.1):.1f} more.",)
    return (_gain(around, k, choice, usual),)


def _gain(around: Around, k: int, mine: Candidate, usual: Candidate) -> str:
    """Compare our choice with the usual one between the same neighbours; name the greatest saving."""
    here, there = _prices(around, k, mine), _prices(around, k, usual)
    saved = {name: there.get(name, 0.0) - here.get(name, 0.0) for name in {*here, *there}}
    what, most = max(sorted(saved.items()), key=lambda item: item[1])
    label = shown(usual.label)
    if most <= 0.01:
        return f"Fits the notes around it as a group; {label} alone in its place would gain nothing."
    if what in ("travel", "speed", "over_speed"):
        ours, theirs = _way_mm(around, k, mine), _way_mm(around, k, usual)
        if theirs - ours > 5:
            return f"Saves {(theirs - ours) / 10:.0f} cm of slide against the usual {label}."
        return f"Spreads the way more evenly over the time than the usual {label}."
    if what == "cents":
        return f"The usual {label} would be {abs(usual.off_cents):.0f} cents {_side(usual.off_cents)} here."
    return {
        "reversal": f"The slide keeps its direction; the usual {label} would turn it.",
        "smear": f"Slurs cleanly; the usual {label} would smear within one partial.",
        "with_grain": f"Slurs without the tongue; the usual {label} needs a light one.",
        "thumb": f"Saves a change of valve against the usual {label}.",
        "held_valve": f"Open tone; the usual {label} holds the valve.",
        "resonance": f"Open, singing tone; the usual {label} holds the valve.",
        "shaded": f"Stands on its mark; the usual {label} lies between two.",
        "out": f"Nearer in than the usual {label}.",
        "gliss": f"Keeps the glissando on one partial; the usual {label} would break it.",
        "finger": f"Fewer fingers move than with the usual {label}.",
        "crossing": f"No fingers cross, as they would with the usual {label}.",
        "open_valve": f"Fewer valves held than the usual {label}.",
        "high_partial": f"A lower partial than the usual {label}.",
        "valved_partial": f"A lower partial than the usual {label}.",
        "second_valve": f"One valve less than the usual {label}.",
    }.get(what, f"Better between its neighbours than the usual {label}.")


def _side(off_cents: float) -> str:
    return "sharp" if off_cents > 0 else "flat"


def _prices(around: Around, k: int, one: Candidate) -> dict[str, float]:
    costs = around.costs
    total = dict(costs.note_items(one, around.times[k].sounds_s, lowest_partial([one]), False))
    before = around.picked[k - 1] if k else None
    after = around.picked[k + 1] if k + 1 < len(around.picked) else None
    if before is not None:
        _add(total, costs.move_items(before, one, around.moves[k - 1]))
    if after is not None:
        _add(total, costs.move_items(one, after, around.moves[k]))
    earlier = around.picked[k - 2] if k > 1 else None
    chain = [item for item in (earlier, before, one, after) if item is not None]
    turns, last = 0, None
    for a, b in pairwise(chain):
        sense = costs.sense(a, b)
        if sense is not None:
            turns += last is not None and sense != last
            last = sense
    if turns and k < len(around.moves):
        total["reversal"] = turns * costs.reversal(around.moves[k])
    return total


def _add(total: dict[str, float], items: dict[str, float]) -> None:
    for name, cost in items.items():
        total[name] = total.get(name, 0.0) + cost


def _way_mm(around: Around, k: int, one: Candidate) -> float:
    before = around.picked[k - 1] if k else None
    after = around.picked[k + 1] if k + 1 < len(around.picked) else None
    here = one.extension_mm or 0.0
    return sum(abs((other.extension_mm or 0.0) - here) for other in (before, after) if other is not None)
