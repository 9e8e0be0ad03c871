"""What recordings of a passage came to, kept in the player file when the player asks for it: numbers, no sound."""

from dataclasses import dataclass
from typing import Any

from analyzer.plain import one_line

KEY = "heard"
MOST = 500
"""Recordings kept; the oldest go first. Judged: several years of a passage a day."""
_LONGEST = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """One recording: `right` of `notes` notes, `median_off_cents` whichever way in the middle (None: not to be read),
    `late` moves of the slide that came late; `day` is ``YYYY-MM-DD``.
    """

    score: str
    part: str
    measures: tuple[str, str]
    day: str
    notes: int
    right: int
    late: int
    median_off_cents: float | None

    @property
    def passage(self) -> tuple[str, str, tuple[str, str]]:
        """What tells one passage from another."""
        return self.score, self.part, self.measures

    def said(self) -> str:
        """Say it in a line."""
        off = "" if self.median_off_cents is None else f", {self.median_off_cents:.0f} cents off in the middle"
        late = f", {self.late} late" if self.late else ""
        return f"{self.day}: {self.right} of {self.notes} notes right{off}{late}"


def with_heard(text: str, new: Heard) -> str:
    """Return a player file with one recording more; all else stays as it is written.

    Raises
    ------
    ImportError
        If tomlkit (extra `progress`) is not installed.
    """
    import tomlkit

    document = tomlkit.parse(text)
    rows: Any = document.get(KEY)
    if rows is None:
        rows = tomlkit.aot()
        document[KEY] = rows
    row = tomlkit.table()
    for field, value in (("score", one_line(new.score)[:_LONGEST]), ("part", one_line(new.part)[:_LONGEST]),
                         ("measures", list(new.measures)), ("day", new.day), ("notes", new.notes),
                         ("right", new.right), ("late", new.late)):
        row[field] = value
    if new.median_off_cents is not None:
        row["median_off_cents"] = round(new.median_off_cents, 1)
    rows.append(row)
    while len(rows) > MOST:
        del rows[0]
    return tomlkit.dumps(document)


def heard_of(tables: Any, passage: tuple[str, str, tuple[str, str]] | None = None) -> tuple[Heard, ...]:
    """Return the recordings of a parsed player file that are whole, of one passage or of all, as they were kept."""
    found = []
    for row in tables if isinstance(tables, list) else ():
        try:
            first, last = (str(place) for place in row["measures"])
            off = row.get("median_off_cents")
            kept = Heard(score=str(row["score"]), part=str(row["part"]), measures=(first, last), day=str(row["day"]),
                         notes=int(row["notes"]), right=int(row["right"]), late=int(row["late"]),
                         median_off_cents=None if off is None else float(off))
        except (KeyError, TypeError, ValueError, AttributeError):
            continue
        if passage is None or kept.passage == (passage[0][:_LONGEST], passage[1][:_LONGEST], passage[2]):
            found.append(kept)
    return tuple(found)


def trend(kept: tuple[Heard, ...]) -> str:
    """Say how recordings of one passage go on, empty with fewer than two."""
    known = [row for row in kept if row.median_off_cents is not None]
    if len(known) < 2:
        return ""
    before, now = known[-2].median_off_cents or 0.0, known[-1].median_off_cents or 0.0
    first = known[0].median_off_cents or 0.0
    word = "better than" if now < before - 2 else "not as close as" if now > before + 2 else "as close as"
    return (f"Recording {len(known)} of this passage: {now:.0f} cents off in the middle, {word} the last one "
            f"({before:.0f}); the first had {first:.0f}.")
