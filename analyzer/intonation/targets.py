"""Targets of a line's long notes: how far above equal temperament each belongs in its chord.

Targets count from the chord's root in equal temperament. The root itself is not moved (`root_cents` is 0): where a
chain of pure chords would drift, the ensemble comes back to the pitch it was tuned to. What ensembles really do is
measured in few studies, which differ; the aim is a place to start from, for the ear to correct.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from analyzer.intonation.chords import Chord
from analyzer.intonation.sonority import Sonorities
from analyzer.score.lines import Line

Intonation = Literal["equal", "just"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """Where a note belongs: `cents` above equal temperament, strength reckoned in; `root_cents` of it move the root."""

    chord: Chord
    member: str
    cents: float
    root_cents: float = 0.0

    @property
    def role(self) -> str:
        """What the note is in its chord: ``third of Bb major``."""
        return f"{self.member} of {self.chord.root} {self.chord.kind.name}"


def targets(line: Line, sounds_s: Sequence[float], sonorities: Sonorities, *, strength: float = 1.0,
            from_s: float = 0.8) -> tuple[Target | None, ...]:
    """Return the target of each note of a line, None where it is short or its chord has no certain name.

    Parameters
    ----------
    line : Line
        What one player plays.
    sounds_s : sequence of float
        How long each note sounds. [s]
    sonorities : Sonorities
        The whole score.
    strength : float
        0 (equal) to 1 (pure).
    from_s : float
        Shorter notes have no target. [s]
    """
    found: list[Target | None] = []
    for index, note in enumerate(line.notes):
        chord = sonorities.chord(line, index) if sounds_s[index] >= from_s and not note.grace else None
        found.append(None if chord is None else Target(
            chord=chord, member=chord.member(note.midi), cents=strength * chord.target_cents(note.midi)))
    return tuple(found)
