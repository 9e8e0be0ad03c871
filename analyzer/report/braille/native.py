"""Music in braille by music21, in a worker process: a score goes in, lines of cells by group of measures come out."""

from collections.abc import Sequence
from typing import Any

_ENDLESS = 1000
"""Cells of a line that no group fills."""


def translated(musicxml: str, width: int, groups: Sequence[tuple[int, int]]) -> tuple[list[str], list[str]]:
    """Return the cells of each group of measures (first and last, from 0) of a score's one part, and what was lost.

    Raises
    ------
    ValueError
        If music21 cannot write a group in braille; names its measures.
    """
    from music21 import converter
    from music21.braille import segment

    lost: list[str] = []

    def heard(message: Any, *_: Any, **__: Any) -> None:
        lost.append(str(message))

    rules: Any = segment.environRules
    rules.warn = heard                                   # where it says what has no sign; this process is ours
    score: Any = converter.parse(musicxml, format="musicxml")
    part = score.parts[0]
    lost += _kept_tied(part)
    found = []
    for first, last in groups:
        some = part.measures(first, last + 1, indicesNotNumbers=True)      # as a slice: the end is not in it
        try:
            try:
                found.append(_cells(some, width))
            except Exception:                            # words longer than a line: the lines are broken afterwards
                found.append(_cells(some, _ENDLESS))
        except Exception as error:
            raise ValueError(f"measures {first + 1} to {last + 1}: {type(error).__name__} {error}") from error
    return found, lost


def _cells(some: Any, width: int) -> str:
    from music21.braille import translate

    # Slurs beside ties: else a tie at the end of a slur is left out, and its note would be struck again.
    return str(translate.objectToBraille(
        some, maxLineLength=width, showHeading=False, showFirstMeasureNumber=False,
        showShortSlursAndTiesTogether=True, showLongSlursAndTiesTogether=True))


def _kept_tied(part: Any) -> list[str]:
    """Take staccato and tenuto off tied notes, for which music21 writes no tie; return what was taken."""
    from music21 import articulations

    taken = []
    for note in part.recurse().notes:
        if note.tie is not None:
            gone = [sign for sign in note.articulations
                    if isinstance(sign, articulations.Staccato | articulations.Tenuto)]
            note.articulations = [sign for sign in note.articulations if sign not in gone]
            taken += [f"music21.articulations.{type(sign).__name__}OnTiedNote" for sign in gone]
    return taken
