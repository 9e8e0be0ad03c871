"""A step that asks for speed, in words: what it needs, and what the player has."""

from collections.abc import Sequence
from math import sqrt

from analyzer.horns.candidate import Candidate, slide_mm
from analyzer.plan.limits import peak_mm_s
from analyzer.plan.loads import Load
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner
from analyzer.words import counted, shown


def haste_said(planner: Planner, picked: Sequence[Candidate | None], k: int, load: Load) -> str:
    """Return what the step after note `k` asks of slide, valves, tongue or lip, whichever is nearest to its limit.

    `picked` is the choice of each note.
    """
    limits, move = planner.player.limits, planner.moves[k]
    a, b = picked[k], picked[k + 1]
    before, after = planner.line.notes[k].sounding.pretty, planner.line.notes[k + 1].sounding.pretty
    have = f"{whose_limit(planner.player)} limit is"
    if load.by == "tongue" or a is None or b is None:
        return (f"From {before} on, {_rate(load.tongue * limits.tongue_notes_s)} tongued notes a "
                f"second; {have} {_rate(limits.tongue_notes_s)}")
    step = f"{before} ({shown(a.label)}) to {after} ({shown(b.label)})"
    if load.by == "valves":
        return (f"{step} needs {_rate(load.valves * limits.valve_notes_s)} valve changes a second; {have} "
                f"{_rate(limits.valve_notes_s)}")
    if load.by == "lip":
        steps = abs(a.partial - b.partial)
        need_s = sqrt(steps) / limits.slur_notes_s
        return (f"{step} slurs over {counted(steps, 'partial')} in {need_s / load.lip:.2f} s; "
                f"{have} {need_s:.2f} s")
    way_mm = slide_mm(b, a)
    needs_s = limits.move_s(way_mm)
    by_speed_s = limits.speed_s(way_mm)
    if by_speed_s and (limits.slide_acceleration_m_s2 is None or by_speed_s / move.move_s > needs_s / move.next_s):
        fastest_mm_s = peak_mm_s(way_mm, move.move_s)
        return (f"{step} needs {way_mm / 10:.0f} cm of slide at {fastest_mm_s / 1000:.1f} m/s; {have} "
                f"{(limits.max_slide_speed_mm_s or 0.0) / 1000:.1f} m/s")
    return f"{step} needs {way_mm / 10:.0f} cm of slide in {move.next_s:.2f} s; {have} {needs_s:.2f} s"


def whose_limit(player: Player) -> str:
    """Return whose limit it is: a named player's, or that of a player of this level."""
    if player.name != "player":
        return f"{player.name}'s"
    article = "a" if player.level == "beginner" else "an"
    return "this player's" if player.limits.told else f"{article} {player.level} player's"


def _rate(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")
