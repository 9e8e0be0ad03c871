"""The notes worth reading from a tuner before a horn is fitted, as a table to be filled in."""

from analyzer.horns.candidates import chart_choice, sounding_range
from analyzer.horns.horn import Horn, Valves
from analyzer.horns.tubing import nominal_semitones, state, states
from analyzer.pitch import pitch_of
from analyzer.tables import csv_text
from analyzer.words import valves_text

_OPEN = (2, 3, 4, 5, 6, 7, 8, 9, 10, 12)


def sheet(horn: Horn) -> str:
    """Return a CSV of the notes worth reading on a horn, its column ``cents`` to be filled in."""
    head = ["# Tune the open horn first, then leave every tuning slide where it is. Warm up; play each note as it",
            "# wants to go, without lipping it in; write what the tuner shows, such as -12.",
            "# Leave out what lies beyond your range: empty rows do no harm.",
            "# Notes are the ones that sound (B flat instruments in treble clef: a ninth below the written ones)."]
    if horn.family == "slide":
        head.append("# Position 1 is the slide at its stop. For the others measure in mm how far it is out from there.")
    columns, found = rows(horn)
    table = csv_text((dict(zip(columns, row, strict=True)) for row in found), columns)
    return "\n".join([*head, table])


def rows(horn: Horn) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Return the columns of the table and its rows, ``cents`` empty.

    Open partials 2 to 12 without the 11th, which lies halfway between two notes of a tuner; then every usual valve
    state on three of its partials; on a slide horn a few places by measure too, with an empty ``mm``.
    """
    slide = horn.family == "slide"
    columns = ("note", "position", "mm", "cents") if slide else ("note", "valves", "cents")
    found: list[tuple[str, ...]] = []
    used = {choice.valves for midi in range(*sounding_range(horn)) for choice in [chart_choice(horn, midi)] if choice}
    singles = {(loop.name,) for loop in horn.loops if not loop.needs}
    for valves in states(horn):
        if valves in used | singles:
            for partial in _OPEN if not valves else (3, 4, 6) if len(valves) < 3 else (2, 3, 4):
                found.append(_row(horn, valves, partial, 1))
    found += [_row(horn, (), partial, position) for position in (3, 5, 6) if slide for partial in (3, 4)]
    return columns, found


def _row(horn: Horn, valves: Valves, partial: int, position: int) -> tuple[str, ...]:
    held = state(horn, valves)
    midi = horn.fundamental_midi + nominal_semitones(partial) - held.semitones - (position - 1)
    if horn.family == "slide":
        return pitch_of(midi).name, f"{''.join(valves)}{position}", "" if position > 1 else "0", ""
    return pitch_of(midi).name, valves_text(valves), ""
