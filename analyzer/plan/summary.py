"""A plan in three sentences that a director can read aloud."""

from collections.abc import Sequence

from analyzer.plan.difficulty import MeasureDifficulty, hardest
from analyzer.plan.plan import Plan

_AMPLE = 2.5
"""A tempo ceiling this many times the written tempo is no news; judged."""


def ample(plan: Plan) -> bool:
    """Tell whether the tempo ceiling lies so far above the tempo, or nowhere, that its number is no news."""
    ceiling = plan.totals.tempo_ceiling_bpm
    return ceiling is None or ceiling > _AMPLE * max((note.time.bpm for note in plan.notes), default=0.0)


def sentences(plan: Plan, found: Sequence[MeasureDifficulty]) -> tuple[str, ...]:
    """Return the plan in three sentences: what can be played, what it saves, how fast it may go; one if it is empty."""
    if not plan.notes:
        return ("There are no notes here.",)
    totals = plan.totals
    changed = sum(note.changed for note in plan.notes)
    count = f"{totals.notes} note{'s' if totals.notes != 1 else ''}"
    if totals.unplayable:
        missing = "1 note" if totals.unplayable == 1 else f"{totals.unplayable} notes"
        first = f"Of {count}, {missing} cannot be played on this horn by this player"
    else:
        first = f"All {count} can be played" if totals.notes != 1 else "The one note can be played"
    leave = "none leaves" if not changed else "1 leaves" if changed == 1 else f"{changed} leave"
    first += f"; {leave} the usual chart."
    if totals.travel_mm is not None and totals.chart_travel_mm is not None:
        saved = 1 - totals.travel_mm / totals.chart_travel_mm if totals.chart_travel_mm else 0.0
        less = (f", {100 * saved:.0f} % less than by the usual chart" if saved >= 0.005 else
                f", {-100 * saved:.0f} % more than by the usual chart, for gains named below" if saved <= -0.005 else
                ", as by the usual chart")
        turns = totals.valve_changes
        thumb = f", with {turns} change{'s' if turns != 1 else ''} of the attachment" if turns else ""
        second = f"The slide goes {totals.travel_mm / 1000:.1f} m in all{less}{thumb}."
    else:
        second = (f"The fingers change {totals.valve_changes} time{'s' if totals.valve_changes != 1 else ''}, and "
                  f"{_farthest_off(plan)}.")
    hard = hardest(tuple(found), 1)
    where = f"; the hardest place is measure {hard[0].measure}" if hard else "; no measure comes near a limit"
    ceiling = totals.tempo_ceiling_bpm
    if ceiling is None:
        third = "Nothing limits the tempo"
    elif ample(plan):
        third = "There is ample time for every move at the written tempo"
    else:
        third = f"It can be played up to about {ceiling:.0f} quarter notes a minute at its quickest move"
    return first, second, f"{third}{where}."


def _farthest_off(plan: Plan) -> str:
    """Return which note lies farthest from in tune, where, and to which side; the first of equals."""
    off, note = max(((one.choice.off_cents, one.note) for one in plan.notes if one.choice),
                    key=lambda found: round(abs(found[0])), default=(0.0, None))
    if note is None or round(off) == 0:
        return "every note lies in tune"
    return (f"the note farthest from in tune, {note.written.pretty} in measure {note.measure}, is {abs(off):.0f} cents "
            f"{'sharp' if off > 0 else 'flat'}")
