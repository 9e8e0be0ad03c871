"""What the page asks, read with care: settings, pins, player; the same `Request` as the command line's comes out."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from analyzer.analysis import Request
from analyzer.horns.horn import Horn
from analyzer.horns.profiles import horn_names, load_horn
from analyzer.marking.pins import MOST_PINS
from analyzer.plan.player import KEYS, Player, player_from
from analyzer.problem import Unreadable, unreadable
from analyzer.score.transposing import READINGS, Reads

MOST_COMPARED = 4
"""Horns side by side at once; judged: more columns do not fit a laptop."""
_FIELDS = {
    "outermost_position": "outermost position", "reach_mm": "reach", "attachment_ceiling": "attachment up to",
    "max_slide_speed_mm_s": "slide speed", "slide_acceleration_m_s2": "slide acceleration",
    "tongue_notes_s": "tongued notes a second", "slur_notes_s": "lip-slurred notes a second",
    "valve_notes_s": "valve changes a second", "low": "lowest note", "high": "highest note", "height_cm": "height",
    "learned": "learned valves", "name": "name", "secure": "secure moves", "level": "level",
    "cannot": "valves that cannot be pressed", "attachment_in_tune": "note in tune on the attachment in first",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Pin:
    """One choice kept by hand: the note is named by its `ref`, its place among all notes of the part."""

    part: str
    line: int
    ref: int
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One question about an open score. `width_px` is the room for the music [px], `chosen` the note looked at."""

    part: str
    line: int
    horn: str
    measures: tuple[str, str] | None
    tempo_bpm: float | None
    player: Player
    pins: tuple[Pin, ...]
    width_px: int
    chosen: int | None = None
    reads: Reads | None = None

    def request(self, pins: Mapping[tuple[int | None, str, int], str] | None = None) -> Request:
        """Return the request for all lines of the part."""
        return Request(parts=(self.part,), horns=(self.horn,) if self.horn else (), measures=self.measures,
                       pins=pins or {}, player=self.player, tempo_bpm=self.tempo_bpm, reads=self.reads)

    @property
    def key(self) -> object:
        """What an analysis without pins depends on."""
        return (self.part, self.horn, self.measures, self.tempo_bpm, self.player, self.reads)


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """What stands on the page when it asks: names of the answer, of the picture, of the answer whose marks it has."""

    answer: str
    picture: str
    marks: str


def read_standing(given: dict[str, Any]) -> Standing:
    """Read what stands on the page; empty where it tells nothing.

    Raises
    ------
    Unreadable
        If a name is none.
    """
    found = given.get("standing", {})
    if not isinstance(found, dict):
        raise _wrong("standing", "is no object")
    return Standing(answer=_text(found, "answer"), picture=_text(found, "picture"), marks=_text(found, "marks"))


def read_asked(given: object) -> Asked:
    """Read the question that the page sent.

    Raises
    ------
    Unreadable
        If a value is of a wrong kind or outside its range.
    """
    if not isinstance(given, dict):
        raise _wrong("the question", "is no object")
    horn = _text(given, "horn")
    if horn and horn not in horn_names():
        raise _wrong("horn", f"there is no horn '{horn[:40]}'")
    first, last = _text(given, "from").strip(), _text(given, "to").strip()
    measures = (first or last, last or first) if first or last else None
    tempo = _number(given, "tempo", 10, 600)
    pins = given.get("pins", [])
    if not isinstance(pins, list) or len(pins) > MOST_PINS:
        raise _wrong("pins", f"must be a list of at most {MOST_PINS}")
    width, chosen = _number(given, "width", 1, 100000), _number(given, "chosen", 0, 10**7)
    return Asked(
        part=_text(given, "part"), line=int(_number(given, "line", 1, 99) or 1), horn=horn, measures=measures,
        tempo_bpm=tempo, player=_player(given.get("player", {})), pins=tuple(_pin(one) for one in pins),
        # Rounded: two windows of nearly one size shall have one picture.
        width_px=max(300, min(2400, int(width or 900) // 10 * 10)), chosen=None if chosen is None else int(chosen),
        reads=_reads(given),
    )


def _reads(given: dict[str, Any]) -> Reads | None:
    value = _text(given, "reads")
    if value and value not in READINGS:
        raise _wrong("reads", f"is none of {' and '.join(READINGS)}")
    return READINGS.get(value)


def read_horns(given: dict[str, Any]) -> tuple[Horn, ...]:
    """Read the horns to compare, by name.

    Raises
    ------
    Unreadable
        If they are not two to four different ones of the list.
    """
    names = given.get("horns")
    if not isinstance(names, list) or not all(isinstance(name, str) and name in horn_names() for name in names) or (
            not 2 <= len(set(names)) <= MOST_COMPARED):
        raise unreadable("bad-question", where="horns", what=f"must be two to {MOST_COMPARED} different horns",
                         try_="Choose others.")
    return tuple(load_horn(name) for name in dict.fromkeys(names))


def _wrong(where: str, what: str) -> Unreadable:
    return unreadable("bad-question", where=where, what=what, try_="Load the page again.")


def _text(given: dict[str, Any], key: str, most: int = 200) -> str:
    value = given.get(key, "")
    if not isinstance(value, str) or len(value) > most:
        raise _wrong(key, "must be a short text")
    return value


def _number(given: dict[str, Any], key: str, low: float, high: float) -> float | None:
    value = given.get(key)
    if value is None or value == "":
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value) or not (
            low <= value <= high):
        raise unreadable("bad-question", where=key, what=f"must be a number from {low:g} to {high:g}",
                         try_="Change it.")
    return float(value)


def _pin(given: object) -> Pin:
    if not isinstance(given, dict):
        raise _wrong("pins", "one of them is no object")
    ref = given.get("ref")
    if isinstance(ref, bool) or not isinstance(ref, int) or not 0 <= ref < 10**7:
        raise _wrong("pins", "one of them names no note")
    return Pin(part=_text(given, "part"), line=int(_number(given, "line", 1, 99) or 1), ref=ref,
               label=_text(given, "label", 12))


def _player(given: object) -> Player:
    if not isinstance(given, dict) or len(given) > len(KEYS):
        raise _wrong("player", "must be the fields of a player")
    table = {key: value for key, value in given.items() if value not in ("", None)}
    for key in table:
        if key not in KEYS:
            raise _wrong("player", f"has no field '{str(key)[:40]}'")
    try:
        return player_from(table, "player", "")
    except Unreadable as error:
        problem = error.problem
        key = next((key for key in KEYS if problem.what.startswith(key)), "")
        what = f"it{problem.what.removeprefix(key)}" if key else problem.what
        raise unreadable(problem.code, where=f"player, {_FIELDS.get(key, 'fields')}", what=what,
                         try_=problem.try_) from None
