"""What a score did not say and was supposed, as data that goes with the answer to every reader."""

from dataclasses import dataclass
from typing import Literal

About = Literal["tempo", "swing", "transposition", "horn", "repeats", "players", "form"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumption:
    """One thing supposed: `value` is what was taken, `source` the evidence it was taken from.

    The value of a horn is its name; that of a tempo begins with the quarter notes a minute; that of a transposition is
    ``concert`` or ``treble-b-flat``.
    """

    about: About
    value: str
    source: str

    def as_json(self) -> dict[str, str]:
        """Return the assumption with the names of the JSON contract."""
        return {"about": self.about, "value": self.value, "from": self.source}

    def line(self) -> str:
        """Return the assumption as a person reads it: ``Tempo: 132 quarter notes a minute (from 'Allegro')``."""
        return f"{self.about.capitalize()}: {self.value} ({self.source})"
