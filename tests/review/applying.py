"""Remedies carried out on a line, one at a time, as a director or player would: what is left of the finding?"""

from dataclasses import replace

from analyzer.horns.horn import Horn
from analyzer.horns.profiles import load_horn
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner
from analyzer.review.findings import Finding, Remedy
from analyzer.review.line import findings
from analyzer.review.remedies import tuned
from analyzer.score.lines import Line

IN_PITCH = ("octave", "chord-tone", "shorten")


def rewritten(line: Line, one: Finding, way: Remedy) -> Line:
    """The line with a note at another pitch, or without its glissando."""
    assert one.index is not None
    notes = list(line.notes)
    note = notes[one.index]
    if way.kind == "straight":
        notes[one.index] = replace(note, gliss_after=False)
    else:
        assert way.sounding is not None
        assert way.written is not None
        notes[one.index] = replace(note, sounding=way.sounding, written=way.written, midi=way.sounding.midi)
    return replace(line, notes=tuple(notes))


def left(line: Line, one: Finding, horn: Horn, player: Player, tempo_bpm: float | None = None) -> bool:
    """Whether the finding is still there, at its note and of its kind."""
    planner = Planner(line, horn, player, tempo_bpm=tempo_bpm)
    return any(other.code == one.code and other.index == one.index
               for other in findings(planner.plan(), planner, horns=()))


def outcomes(line: Line, one: Finding, way: Remedy, horn: Horn, player: Player) -> list[bool]:
    """Carry out a remedy (each of its horns by itself); True where the finding is gone."""
    if way.kind in (*IN_PITCH, "straight"):
        return [not left(rewritten(line, one, way), one, horn, player)]
    if way.kind == "horn":
        # Another horn's valves are new in any case.
        return [not left(line, one, load_horn(name), replace(player, learned=None)) for name in way.horns]
    if way.kind == "tune":
        assert way.cents is not None
        return [any(not left(line, one, tuned(horn, loop, way.cents), player) for loop in horn.loops)]
    if way.kind == "tempo":
        return [not left(line, one, horn, player, tempo_bpm=way.bpm)]
    assert way.kind == "choice"
    assert way.label is not None
    if one.code in ("out-of-range", "long-reach"):
        state = way.label if horn.family == "valves" else way.label.rstrip("0123456789#b")
        learned = None if player.learned is None else (*player.learned, state)
        return [not left(line, one, horn, replace(player, learned=learned))]
    assert one.index is not None
    planner = Planner(line, horn, player)
    plan = planner.plan({one.index: way.label})
    return [not any(other.code == one.code and other.index == one.index
                    for other in findings(plan, planner, horns=()))]
