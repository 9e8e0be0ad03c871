"""What was heard of the last recordings: kept while the page runs, for a printed page, a class, a player file."""

import secrets
from collections import OrderedDict
from dataclasses import dataclass

from analyzer.report.listen.document import Student
from analyzer.web.asked import Asked
from analyzer.web.security import RefusedError

MOST = 120
"""Recordings kept; what is known of one takes 30 KiB for 21 notes, 2 MiB for the longest. Judged: three classes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """A recording as it was heard, the open score it is of, and how that was asked for; no sound."""

    session: str
    asked: Asked
    student: Student


class Hearings:
    """The recordings heard last, each under an id."""

    def __init__(self) -> None:
        self._held: OrderedDict[str, Heard] = OrderedDict()

    def hold(self, heard: Heard) -> str:
        """Keep one; return its id."""
        name = secrets.token_urlsafe(9)
        self._held[name] = heard
        while len(self._held) > MOST:
            self._held.popitem(last=False)
        return name

    def of(self, name: object, session: object) -> Heard:
        """Return what was kept under an id, for the score that is open.

        Raises
        ------
        RefusedError
            If it is no longer here, or of another score.
        """
        found = self._held.get(name) if isinstance(name, str) else None
        if found is None or found.session != session:
            raise RefusedError(410, "What was heard is no longer here. Open the recording once more.")
        return found

    def clear(self) -> None:
        """Put everything away."""
        self._held.clear()
