"""What is to be printed under one note."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A mark for the note with ordinal `ref` in part `part_id`.

    `text` is what print shows (``2♯``, ``T2``, ``1-3``; ``×`` where the note cannot be played). `changed` tells that
    it differs from the usual chart's choice, `joins` that it belongs to one group with the mark before; `playable` is
    False for a note beyond the horn. `line` is the player's line from 1; several lines may mark one ref (a chord has
    one ref a note, a unison one ref for both).
    """

    part_id: str
    ref: int
    line: int
    text: str
    changed: bool = False
    playable: bool = True
    joins: bool = False
