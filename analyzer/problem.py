"""What went wrong, where, and what to try: problems as data."""

from dataclasses import dataclass
from typing import Literal

from analyzer.plain import one_line

Severity = Literal["error", "warning", "note"]
LONGEST = 600
"""Letters of a place or a sentence that are shown; judged: ours stay far below, but both quote what a file says."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One thing found wrong, with its place and the mend.

    `code` is stable and short (``beyond-horn``); `where` names file, part and measure as far as known.
    """

    severity: Severity
    code: str
    where: str
    what: str
    try_: str

    def line(self) -> str:
        """Return the problem as one line of text for a person."""
        where, what = shown(self.where), shown(self.what)
        what = what if what.endswith((".", "!", "?")) else f"{what}."
        return f"{where}: {what} {shown(self.try_)} [{self.code}]".strip()

    def as_json(self) -> dict[str, str]:
        """Return the problem with the names of the JSON contract."""
        return {
            "severity": self.severity, "code": self.code, "where": shown(self.where), "what": shown(self.what),
            "try": shown(self.try_),
        }


def shown(text: str) -> str:
    """Return a text as one line that is safe to show; of one longer than `LONGEST` its beginning and its end."""
    text = one_line(text)
    return text if len(text) <= LONGEST else f"{text[:LONGEST // 2]} … {text[-LONGEST // 2:]}"


class Unreadable(Exception):  # noqa: N818  the word of the house for a value that is not there
    """There is no value to return; carries the one problem that says why."""

    def __init__(self, problem: Problem) -> None:
        super().__init__(problem.line())
        self.problem = problem

    def __reduce__(self) -> tuple[type["Unreadable"], tuple[Problem]]:
        """Rebuild from the problem, so that the exception crosses process borders whole."""
        return (Unreadable, (self.problem,))


def unreadable(code: str, *, where: str, what: str, try_: str) -> Unreadable:
    """Return (not raise) an `Unreadable` with an error-level problem."""
    return Unreadable(Problem(severity="error", code=code, where=where, what=what, try_=try_))
