"""The tube of one's own slide horn from one measured place of the slide; `tuner` fits the rest, from many readings."""

import re
from dataclasses import dataclass, replace

from analyzer.evidence import Evidence
from analyzer.horns.horn import Horn, Quantity, Valves
from analyzer.horns.profiles import SLIDE_ENDS_MM
from analyzer.horns.tubing import HIGHEST_PARTIAL, length_ratio, nominal_semitones, state, states
from analyzer.pitch import parse_pitch, pitch_of
from analyzer.problem import Unreadable, unreadable
from analyzer.words import valves_text

LARGEST_CHANGE = 0.12
"""Share by which a measured tube may differ from the profile's (judged: sources for one horn span 269 to 296 cm,
9 per cent; from 0.10 to 0.15 the same measurements pass)."""

_KNOWN = re.compile(r"(\S+)\s+(T?S?)([1-9])[#b♯♭]?\s+(\d+(?:\.\d+)?)\s*(mm|cm|in)", re.IGNORECASE)
B_FLAT_1 = 34
"""Fundamental of the trombones in B flat, tenor and bass: one slide, one place of each position. [MIDI]"""
UNITS_MM = {"mm": 1.0, "cm": 10.0, "in": 25.4}
"""Units that a distance may be given in. [mm]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One note whose place on the slide was measured while it sounded in tune. [mm from first position]"""

    midi: int
    valves: Valves
    position: int
    extension_mm: float

    @property
    def shown(self) -> str:
        """The measurement in words, such as ``C3 in 6 at 496 mm``."""
        return f"{pitch_of(self.midi).pretty} in {''.join(self.valves)}{self.position} at {self.extension_mm:g} mm"


def parse_measured(text: str) -> Measured:
    """Read a measurement such as ``C3 6 496mm`` or ``C2 T6 25in``.

    Raises
    ------
    Unreadable
        If the text is no measurement.

    Examples
    --------
    >>> parse_measured("C3 6 49.6 cm").shown
    'C3 in 6 at 496 mm'
    """
    match = _KNOWN.fullmatch(text.strip())
    if match is None:
        raise _refused(text, "this is no measurement", 'Write note, position and distance, such as "C3 6 496mm".')
    note, held, position, number, unit = match.groups()
    try:
        midi = parse_pitch(note).midi
    except ValueError as error:
        raise _refused(text, str(error), "The note is the sounding pitch.") from None
    return Measured(
        midi=midi, valves=tuple(held.upper()), position=int(position),
        extension_mm=float(number) * UNITS_MM[unit.lower()],
    )


def measured_tube_mm(horn: Horn, measured: Measured) -> float:
    """Open tube on which the measured place puts the note in tune. [mm]

    Notes
    -----
    Derived: the slide adds ``2 * extension``; the tube must grow from the valve state's ratio to the ratio that
    lowers the partial to the note, both counted in open tubes, so ``tube = 2 * extension / (needed - state)``.

    Raises
    ------
    Unreadable
        If the horn has no slide, the note is not in that position, lies at the stop, lies beyond the end of the
        slide, or asks for a tube more than 12 per cent off the profile's.
    """
    if horn.family != "slide":
        raise _refused(measured.shown, f"{horn.name} has no slide", "Name a trombone.")
    if measured.valves not in states(horn):
        held = valves_text(measured.valves)
        raise _refused(measured.shown, f"{horn.name} cannot hold {held}", "Give the position without it.")
    held_state = state(horn, measured.valves)
    partial = _partial(horn, measured)
    if partial is None:
        raise _refused(
            measured.shown, "no partial of that position is this note", "Check the note and the position."
        )
    needed = length_ratio(held_state.partial_cents[partial - 1] + 100 * (horn.fundamental_midi - measured.midi))
    if measured.position == 1 or needed <= held_state.ratio or measured.extension_mm <= 0:
        raise _refused(measured.shown, "first position tells nothing of the tube", "Measure a note in 5, 6 or 7.")
    if measured.extension_mm > horn.slide_end_mm:
        raise _refused(
            measured.shown, f"that is beyond the end of the slide ({horn.slide_end_mm:.0f} mm)",
            "Measure from the stop of first position; if the slide is longer, give --slide-end.",
        )
    tube_mm = 2 * measured.extension_mm / (needed - held_state.ratio)
    if abs(tube_mm / horn.tube_mm - 1) > LARGEST_CHANGE:
        usual_mm = measured.extension_mm * horn.tube_mm / tube_mm
        raise _refused(
            measured.shown, f"it would need a tube of {tube_mm:.0f} mm where {horn.name} has {horn.tube_mm:.0f} mm",
            f"About {usual_mm:.0f} mm was to be expected: check note, position and distance.",
        )
    return tube_mm


def _partial(horn: Horn, measured: Measured) -> int | None:
    interval = measured.midi - horn.fundamental_midi + state(horn, measured.valves).semitones + measured.position - 1
    return next((n for n in range(1, HIGHEST_PARTIAL + 1) if nominal_semitones(n) == interval), None)


def sounds_there(horn: Horn, measured: Measured) -> bool:
    """Tell whether a horn has the measured note in that position at all."""
    return horn.family == "slide" and measured.valves in states(horn) and _partial(horn, measured) is not None


def calibrated(horn: Horn, measured: Measured, *, name: str, slide_end_mm: float | None = None) -> Horn:
    """Return the horn under a new name with the tube that was measured, and its slide's end where that was too.

    Raises
    ------
    Unreadable
        As `measured_tube_mm`, and if the slide's end is none that a profile may have.
    """
    if horn.family == "slide" and slide_end_mm is not None:
        if not SLIDE_ENDS_MM[0] <= slide_end_mm <= SLIDE_ENDS_MM[1]:
            raise unreadable(
                "measurement", where="slide end", what=f"a slide does not go out {slide_end_mm:g} mm",
                try_=f"Give {SLIDE_ENDS_MM[0]} to {SLIDE_ENDS_MM[1]} mm, measured from first position.")
        end = Evidence(kind="measured", why="measured on this horn")
        horn = replace(horn, slide_end=Quantity(value=slide_end_mm, evidence=end))
    tube = Evidence(kind="measured", why=f"measured on this horn: {measured.shown}")
    return replace(horn, name=name, tube=Quantity(value=round(measured_tube_mm(horn, measured), 1), evidence=tube))


def _refused(where: str, what: str, try_: str) -> Unreadable:
    return unreadable("measurement", where=f"measurement '{where}'", what=what, try_=try_)
