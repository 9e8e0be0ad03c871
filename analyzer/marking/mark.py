"""What is to be printed under one note."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A mark for the note with ordinal `ref` in part `part_id`.

    `text` is what print shows (``2♯``, ``T2``, ``1-3``; ``×`` where the note cannot be played). `changed` tells that
    it differs from the usual chart's choice, `joins` that it belongs to one group with the mark before; `playable` is
    False for a note beyond the horn. `aim` is how far the slide is moved for the chord, in whole mm (``out 8``,
    ``in 12``), empty where it stays. `line` is the player's line from 1; several lines may mark one ref (a chord has
    one ref a note, a unison one ref for both).
    """

    part_id: str
    ref: int
    line: int
    text: str
    changed: bool = False
    playable: bool = True
    joins: bool = False
    aim: str = ""

    @property
    def written(self) -> str:
        """The mark in one line of text, as it stands in a score: ``4 out 8``."""
        return f"{self.text} {self.aim}" if self.aim else self.text


def aim_of(shift_mm: float) -> str:
    """Say a move of the slide beside its usual place, to whole mm; empty below half a millimeter.

    Examples
    --------
    >>> aim_of(8.3), aim_of(-11.8), aim_of(0.2)
    ('out 8', 'in 12', '')
    """
    size_mm = round(abs(shift_mm))
    return f"{'out' if shift_mm > 0 else 'in'} {size_mm}" if size_mm else ""
