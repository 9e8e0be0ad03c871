"""A plan in three sentences that a director can read aloud."""

from collections.abc import Sequence
from fractions import Fraction

from analyzer.plan.difficulty import MeasureDifficulty, hardest
from analyzer.plan.plan import Plan
from analyzer.score.lines import Line
from analyzer.words import counted, first_few, measures_named

_AMPLE = 2.5
"""A tempo ceiling this many times the written tempo is no news; judged."""
_NO_HASTE = ("rest", "reach", "tuning", "range", "unplayable")
"""Kinds of a hard measure that no slower tempo eases."""


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
    if totals.unplayable:
        first = (f"{totals.unplayable} of {counted(totals.notes, 'note')} cannot be played on this horn by this "
                 f"player: {missing(plan)}")
    else:
        first = f"All {totals.notes} notes can be played" if totals.notes != 1 else "The one note can be played"
    use = "none uses" if not changed else "1 uses" if changed == 1 else f"{changed} use"
    first += f"; {use} an alternate."
    if totals.travel_mm is not None and totals.chart_travel_mm is not None:
        saved = 1 - totals.travel_mm / totals.chart_travel_mm if totals.chart_travel_mm else 0.0
        less = (f"{100 * saved:.0f} % less than the usual chart" if saved >= 0.005 else
                f"{-100 * saved:.0f} % more than the usual chart; reasons with the notes" if saved <= -0.005 else
                "the same as the usual chart")
        turns = totals.valve_changes
        thumb = f" The attachment changes {counted(turns, 'time')}." if turns else ""
        second = f"Slide travel: {totals.travel_mm / 1000:.1f} m, {less}.{thumb}"
    else:
        second = f"The fingers change {counted(totals.valve_changes, 'time')}; {_farthest_off(plan)}."
    hard = hardest(tuple(found), 1)
    where = f"; hardest measure: {hard[0].measure}" if hard else "; no measure comes near a limit"
    if totals.tempo_ceiling_bpm is None:
        third = "Nothing limits the tempo"
    elif ample(plan):
        third = "There is time for every move at the written tempo"
    else:
        note = plan.notes[plan.hardest[0]].note if plan.hardest else plan.notes[0].note
        third = f"Top tempo: about {tempo_text(plan.line, note.onset, totals.tempo_ceiling_bpm)} (m. {note.measure})"
    return first, second, f"{third}{where}."


def tempo_text(line: Line, onset: Fraction, bpm: float) -> str:
    """Return a tempo [quarter notes a minute] in the beat printed at an onset: ``half note = 54``."""
    beat = line.beat_at(onset)
    return f"{beat.text} = {bpm / float(beat.quarters):.0f}"


def missing(plan: Plan, most: int = 6) -> str:
    """Name the notes that cannot be played, each once, with its measures; empty where all can."""
    places: dict[str, list[str]] = {}
    for note in plan.notes:
        if note.choice is None:
            places.setdefault(note.note.written.pretty, []).append(note.note.measure)
    return first_few([f"{name} ({measures_named(where, 6)})" for name, where in places.items()], most)


def too_fast(found: Sequence[MeasureDifficulty]) -> list[str]:
    """Return the measures that ask for more speed than the player's limits."""
    return list(dict.fromkeys(one.measure for one in found if one.share > 1 and one.kind not in _NO_HASTE))


def _farthest_off(plan: Plan) -> str:
    """Return which note lies farthest from in tune, where, and to which side; the first of equals."""
    choice, note = max(((one.choice, one.note) for one in plan.notes if one.choice),
                       key=lambda found: round(abs(found[0].off_cents)), default=(None, None))
    if choice is None or note is None or round(choice.off_cents) == 0:
        return "every note is in tune"
    return f"farthest out of tune: {note.written.pretty} in measure {note.measure}, {choice.off_said}"
