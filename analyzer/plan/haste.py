"""A step that asks for speed, in words: what it needs, and what the player has."""

from math import sqrt

from analyzer.horns.candidate import slide_mm
from analyzer.plan.limits import peak_mm_s
from analyzer.plan.loads import Load
from analyzer.plan.plan import Plan
from analyzer.plan.solve import Planner
from analyzer.words import counted, shown


def haste_said(planner: Planner, plan: Plan, k: int, load: Load) -> str:
    """Return what the step after note `k` asks of slide, valves, tongue or lip, whichever is nearest to its limit."""
    limits, move = planner.player.limits, planner.moves[k]
    a, b = plan.notes[k], plan.notes[k + 1]
    have = f"{whose_limit(plan)} limit is"
    if load.by == "tongue" or a.choice is None or b.choice is None:
        return (f"From {a.note.sounding.pretty} on, {_rate(load.tongue * limits.tongue_notes_s)} tongued notes a "
                f"second; {have} {_rate(limits.tongue_notes_s)}")
    step = f"{a.note.sounding.pretty} ({shown(a.choice.label)}) to {b.note.sounding.pretty} ({shown(b.choice.label)})"
    if load.by == "valves":
        return (f"{step} needs {_rate(load.valves * limits.valve_notes_s)} valve changes a second; {have} "
                f"{_rate(limits.valve_notes_s)}")
    if load.by == "lip":
        steps = abs(a.choice.partial - b.choice.partial)
        need_s = sqrt(steps) / limits.slur_notes_s
        return (f"{step} slurs over {counted(steps, 'partial')} in {need_s / load.lip:.2f} s; "
                f"{have} {need_s:.2f} s")
    way_mm = slide_mm(b.choice, a.choice)
    needs_s = limits.move_s(way_mm)
    by_speed_s = limits.speed_s(way_mm)
    if by_speed_s and (limits.slide_acceleration_m_s2 is None or by_speed_s / move.move_s > needs_s / move.next_s):
        fastest_mm_s = peak_mm_s(way_mm, move.move_s)
        return (f"{step} needs {way_mm / 10:.0f} cm of slide at {fastest_mm_s / 1000:.1f} m/s; {have} "
                f"{(limits.max_slide_speed_mm_s or 0.0) / 1000:.1f} m/s")
    return f"{step} needs {way_mm / 10:.0f} cm of slide in {move.next_s:.2f} s; {have} {needs_s:.2f} s"


def whose_limit(plan: Plan) -> str:
    """Return whose limit it is: a named player's, or that of a player of this level."""
    player = plan.player
    if player.name != "player":
        return f"{player.name}'s"
    article = "a" if player.level == "beginner" else "an"
    return "this player's" if player.limits.told else f"{article} {player.level} player's"


def _rate(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")
