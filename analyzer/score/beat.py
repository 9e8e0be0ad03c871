"""The beat that is printed: the note value that a conductor counts."""

from fractions import Fraction
from typing import NamedTuple

LENGTHS = {
    "1024th": Fraction(1, 256), "512th": Fraction(1, 128), "256th": Fraction(1, 64), "128th": Fraction(1, 32),
    "64th": Fraction(1, 16), "32nd": Fraction(1, 8), "16th": Fraction(1, 4), "eighth": Fraction(1, 2),
    "quarter": Fraction(1), "half": Fraction(2), "whole": Fraction(4), "breve": Fraction(8), "long": Fraction(16),
    "maxima": Fraction(32),
}
"""Note values of the MusicXML standard [quarter notes]."""
_OF_UNIT = {1: "whole", 2: "half", 4: "quarter", 8: "eighth", 16: "16th", 32: "32nd", 64: "64th"}
_LONGER = {"eighth": "quarter", "16th": "eighth", "32nd": "16th", "quarter": "half", "half": "whole"}


class Beat(NamedTuple):
    """One beat: a note value (`unit`, as MusicXML names it) and its augmentation dots."""

    unit: str = "quarter"
    dots: int = 0

    @property
    def quarters(self) -> Fraction:
        """How long it lasts [quarter notes]."""
        return LENGTHS[self.unit] * (2 - Fraction(1, 2**self.dots))

    @property
    def text(self) -> str:
        """Its name in words: ``half note``, ``dotted quarter note``."""
        dotted = {0: "", 1: "dotted ", 2: "double-dotted "}.get(self.dots, "dotted ")
        return f"{dotted}{self.unit} note"


QUARTER = Beat()


def beat_of(beats: int, unit: int, *, cut: bool = False) -> Beat:
    """Return the beat of a time signature: a half note in cut time, dotted in compound time.

    Compound time is 6, 9 or 12 of a value, counted in threes (common practice, no source).

    Examples
    --------
    >>> beat_of(4, 4), beat_of(4, 4, cut=True).unit, beat_of(2, 2).unit, beat_of(6, 8), beat_of(7, 8).unit
    (Beat(unit='quarter', dots=0), 'half', 'half', Beat(unit='quarter', dots=1), 'eighth')
    """
    if cut:
        return Beat("half")
    name = _OF_UNIT.get(unit, "quarter")
    if beats > 3 and beats % 3 == 0 and unit >= 4 and name in _LONGER:
        return Beat(_LONGER[name], 1)
    return Beat(name)
