"""What a student ticked on a take-home page: read without trust, and kept in the player file.

A practice file comes from a phone, by mail or a shared drive: everything in it is checked and bounded, and it only says
what was ticked. What is secure stays the teacher's word.
"""

import json
import re
from dataclasses import dataclass
from math import isfinite
from typing import Any

from analyzer.plain import one_line
from analyzer.problem import Unreadable, unreadable

SCHEMA = "lowbrass.practice/1"
MOST_BYTES = 1_000_000
_MOST_TICKS = 5_000
_LONGEST = 120                           # letters of a name
_DAY = re.compile(r"\d{4}-\d\d-\d\d")
AGAIN = "Ask the student to save it again from the page."


@dataclass(frozen=True, slots=True, kw_only=True)
class Practiced:
    """Clean times of one passage: `bpm` is the fastest, in the printed beat, of a goal of `goal_bpm`."""

    score: str
    part: str
    measures: tuple[str, str]
    beat: str
    bpm: float
    goal_bpm: float
    times: int
    last_day: str

    @property
    def key(self) -> tuple[str, str, tuple[str, str]]:
        """What tells one passage from another."""
        return self.score, self.part, self.measures

    def said(self) -> str:
        """Say it for the teacher."""
        first, last = self.measures
        place = f"m. {first}" if first == last else f"mm. {first}-{last}"
        goal = "the goal" if self.bpm >= self.goal_bpm else f"of {self.goal_bpm:g}"
        return (f"{self.score}, {self.part}, {place}: ticked clean {self.times} time{'s' if self.times != 1 else ''}, "
                f"fastest at {self.beat} = {self.bpm:g} ({goal}), last on {self.last_day}")


def read_practice(data: bytes, name: str) -> tuple[Practiced, ...]:
    """Read a practice file, one entry a passage.

    Raises
    ------
    Unreadable
        If it is no practice file, or holds anything that such a file cannot hold.
    """
    try:
        given = json.loads(data.decode("utf-8"), parse_constant=_refused)
    except (ValueError, RecursionError):
        raise _wrong(name, "this is no practice file: it is not JSON") from None
    if not isinstance(given, dict) or given.get("schema") != SCHEMA:
        raise _wrong(name, "this is no practice file of a take-home page")
    part = given.get("part")
    score, named = _text(given.get("title") or given.get("score"), "score", name), _text(
        part.get("name") if isinstance(part, dict) else None, "part", name)
    told = given.get("beat")
    beat: dict[str, Any] = told if isinstance(told, dict) else {}
    goal = _number(given.get("goal_bpm"), "goal_bpm", name)
    said = _text(beat.get("unit", "quarter"), "beat", name)
    clean = given.get("clean")
    if not isinstance(clean, list) or len(clean) > _MOST_TICKS:
        raise _wrong(name, f"its list of ticks is missing or longer than {_MOST_TICKS}")
    found: dict[tuple[str, str], list[tuple[float, str]]] = {}
    for tick in clean:
        measures = tick.get("measures") if isinstance(tick, dict) else None
        if not isinstance(measures, list) or len(measures) != 2:
            raise _wrong(name, "a tick does not say which measures it is about")
        day = tick.get("at")
        if not isinstance(day, str) or not _DAY.fullmatch(day):
            raise _wrong(name, "a tick has no date")
        place = (_text(measures[0], "measure", name), _text(measures[1], "measure", name))
        found.setdefault(place, []).append((_number(tick.get("bpm"), "bpm", name), day))
    return tuple(Practiced(score=score, part=named, measures=place, beat=said, goal_bpm=goal,
                           bpm=max(bpm for bpm, _ in ticks), times=len(ticks), last_day=max(day for _, day in ticks))
                 for place, ticks in found.items())


def kept(text: str, entries: tuple[Practiced, ...]) -> str:
    """Return a player file with these entries in place of older ones of the same passages; all else stays.

    Raises
    ------
    ImportError
        If tomlkit (extra `progress`) is not installed.
    """
    import tomlkit

    document = tomlkit.parse(text)
    rows: Any = document.get("practiced")
    if rows is None:
        rows = tomlkit.aot()
        document["practiced"] = rows
    for entry in entries:
        for place in reversed(range(len(rows))):
            row = rows[place]
            if (row.get("score"), row.get("part"), tuple(row.get("measures", ()))) == entry.key:
                del rows[place]
        row = tomlkit.table()
        for field, value in (("score", entry.score), ("part", entry.part), ("measures", list(entry.measures)),
                             ("beat", entry.beat), ("bpm", entry.bpm), ("goal_bpm", entry.goal_bpm),
                             ("times", entry.times), ("last_day", entry.last_day)):
            row[field] = value
        rows.append(row)
    return tomlkit.dumps(document)


def practiced_of(tables: Any) -> tuple[Practiced, ...]:
    """Return the entries of a parsed player file that are whole; what else stands there is left alone."""
    found = []
    for row in tables if isinstance(tables, list) else ():
        try:
            first, last = row["measures"]
            found.append(Practiced(
                score=_text(row["score"], "score", ""), part=_text(row["part"], "part", ""),
                measures=(_text(first, "measure", ""), _text(last, "measure", "")), beat=_text(row["beat"], "beat", ""),
                bpm=_number(row["bpm"], "bpm", ""), goal_bpm=_number(row["goal_bpm"], "goal_bpm", ""),
                times=int(_number(row["times"], "times", "")), last_day=_text(row["last_day"], "last_day", "")))
        except (Unreadable, KeyError, TypeError, ValueError):
            continue
    return tuple(found)


def _refused(word: str) -> None:
    raise ValueError(word)


def _text(value: Any, what: str, name: str) -> str:
    if not isinstance(value, str) or not value.strip() or len(value) > _LONGEST:
        raise _wrong(name, f"its {what} is missing or is no short text")
    return one_line(value.strip())


def _number(value: Any, what: str, name: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value) or not 1 <= value <= 5000:
        raise _wrong(name, f"its {what} is no number from 1 to 5000")
    return float(value)


def _wrong(name: str, what: str) -> Unreadable:
    return unreadable("not-practice", where=name, what=what, try_=AGAIN)
