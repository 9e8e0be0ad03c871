"""What the page asks, read within bounds and with care; the same `Request` as the command line's comes out."""

import asyncio
import datetime as dt
import json
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, cast, get_args
from urllib.parse import unquote

from analyzer.analysis import Request
from analyzer.horns.horn import Horn
from analyzer.horns.profiles import horn_names, load_horn
from analyzer.intonation.targets import Intonation
from analyzer.marking.pins import MOST_PINS
from analyzer.paper_here import Paper
from analyzer.plan.player import KEYS, Player, player_of
from analyzer.problem import Unreadable, unreadable
from analyzer.report.plain import FIELD_NAMES, of_field, plain
from analyzer.review.ossia import Refusal, read_refusal
from analyzer.score.transposing import READINGS, Reads
from analyzer.web.security import RefusedError

if TYPE_CHECKING:
    from starlette.requests import Request as HttpRequest

UPLOAD_TIME_S = 30.0
STALL_S = 3.0
"""Longest time without a further piece of a body; judged: it comes from this very machine."""
_CONTROL = re.compile(r"[\x00-\x1f\x7f\u200e\u200f\u202a-\u202e\u2066-\u2069]")
_SPLIT = "Export only the low-brass parts, or split the score."

MOST_PICTURES = 100
"""Pictures of one part that stand at once; the longest that is planned is engraved in 63."""
MOST_COMPARED = 4
"""Horns side by side at once; judged: more columns do not fit a laptop."""

@dataclass(frozen=True, slots=True, kw_only=True)
class PinnedNote:
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
    pins: tuple[PinnedNote, ...]
    width_px: int
    chosen: int | None = None
    reads: Reads | None = None
    intonation: Intonation = "equal"

    def request(self, pins: Mapping[tuple[int | None, str, int], str] | None = None) -> Request:
        """Return the request for all lines of the part."""
        return Request(parts=(self.part,), horns=(self.horn,) if self.horn else (), measures=self.measures,
                       pins=pins or {}, player=self.player, tempo_bpm=self.tempo_bpm, reads=self.reads,
                       intonation=self.intonation)

    @property
    def key(self) -> object:
        """What an analysis without pins depends on."""
        return (self.part, self.horn, self.measures, self.tempo_bpm, self.player, self.reads, self.intonation)


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """What stands on the page when it asks: names of the answer, the pictures, and the answer whose marks they have."""

    answer: str
    pictures: tuple[str, ...]
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
    pictures = found.get("pictures", [])
    if not isinstance(pictures, list) or len(pictures) > MOST_PICTURES or not all(
            isinstance(name, str) and len(name) < 40 for name in pictures):
        raise _wrong("standing", f"has no list of at most {MOST_PICTURES} pictures")
    return Standing(answer=_text(found, "answer"), pictures=tuple(pictures), marks=_text(found, "marks"))


def read_place(given: dict[str, Any], key: str) -> int | None:
    """Read the place of a measure in its part, from 0; None where it is not given.

    Raises
    ------
    Unreadable
        If it is no such number.
    """
    found = _number(given, key, 0, 10**6)
    return None if found is None else int(found)


OwnPath = Callable[[str], str | None]
"""Where the profile of a horn of one's own lies, by its name."""


def read_asked(given: object, own: OwnPath = lambda _: None) -> Asked:
    """Read the question that the page sent; `own` finds horns that are not of the list.

    Raises
    ------
    Unreadable
        If a value is of a wrong kind or outside its range.
    """
    if not isinstance(given, dict):
        raise _wrong("the question", "is no object")
    horn = read_horn(given, "horn", own) if _text(given, "horn") else ""
    first, last = _text(given, "from").strip(), _text(given, "to").strip()
    measures = (first or last, last or first) if first or last else None
    tempo = _number(given, "tempo", 10, 600)
    pins = given.get("pins", [])
    if not isinstance(pins, list) or len(pins) > MOST_PINS:
        raise _wrong("pins", f"must be a list of at most {MOST_PINS}")
    chosen = _number(given, "chosen", 0, 10**7)
    return Asked(
        part=_text(given, "part"), line=int(_number(given, "line", 1, 99) or 1), horn=horn, measures=measures,
        tempo_bpm=tempo, player=_player(given.get("player", {})), pins=tuple(_pin(pin) for pin in pins),
        width_px=read_width(given), chosen=None if chosen is None else int(chosen),
        reads=_reads(given), intonation=_intonation(given),
    )


def read_width(given: dict[str, Any]) -> int:
    """Return the room for pictures, rounded: two windows of nearly one size shall have one picture. [px]"""
    return max(300, min(2400, int(_number(given, "width", 1, 100000) or 900) // 10 * 10))


def _reads(given: dict[str, Any]) -> Reads | None:
    value = _text(given, "reads")
    if value and value not in READINGS:
        raise _wrong("reads", f"is none of {' and '.join(READINGS)}")
    return READINGS.get(value)


def _intonation(given: dict[str, Any]) -> Intonation:
    value = _text(given, "intonation") or "equal"
    if value not in get_args(Intonation):
        raise _wrong("intonation", f"is none of {' and '.join(get_args(Intonation))}")
    return cast(Intonation, value)


def read_horn(given: dict[str, Any], key: str, own: OwnPath) -> str:
    """Read a horn: its name in the list, or the file of one's own.

    Raises
    ------
    Unreadable
        If there is none of that name.
    """
    name = _text(given, key)
    found = name if name in horn_names() else own(name)
    if found is None:
        raise unreadable("bad-question", where="horn", what=f"there is no horn '{name[:40]}'" if name else
                         "no horn is chosen", try_="Choose one of the list.")
    return found


def one_of(given: dict[str, Any], key: str, *known: str) -> str:
    """Read one of some words; the first where none is told. Raises as `read_asked`."""
    value = _text(given, key) or known[0]
    if value not in known:
        raise _wrong(key, f"is none of {', '.join(known)}")
    return value


def read_paper(given: dict[str, Any]) -> Paper:
    """Read the paper to print on, A4 where none is told. Raises as `read_asked`."""
    return "letter" if one_of(given, "paper", "a4", "letter") == "letter" else "a4"


def number(given: dict[str, Any], key: str, low: float, high: float) -> float | None:
    """Read a number, None where it is not told. Raises as `read_asked`."""
    return _number(given, key, low, high)


def a_day(given: dict[str, Any], key: str) -> dt.date | None:
    """Read a day, None where it is not told. Raises as `read_asked`."""
    text = _text(given, key)
    if not text:
        return None
    try:
        return dt.date.fromisoformat(text[:10])
    except ValueError:
        raise unreadable("bad-question", where="first day", what=f"'{text[:20]}' is no day", try_="Choose one.") \
            from None


def whole_number(given: dict[str, Any], key: str, low: int, high: int) -> int | None:
    """Read a whole number, None where it is not told. Raises as `read_asked`."""
    value = _number(given, key, low, high)
    return None if value is None else int(value)


def read_player(given: dict[str, Any]) -> Player:
    """Read the fields of a player. Raises as `read_asked`."""
    return _player(given.get("player", {}))


def read_horns(given: dict[str, Any], own: OwnPath) -> tuple[Horn, ...]:
    """Read the horns to compare, by name.

    Raises
    ------
    Unreadable
        If they are not two to four different ones of the list.
    """
    names = given.get("horns")
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names) or (
            not 2 <= len(set(names)) <= MOST_COMPARED):
        raise unreadable("bad-question", where="horns", what=f"must be two to {MOST_COMPARED} different horns",
                         try_="Choose others.")
    return tuple(load_horn(read_horn({"horn": name}, "horn", own)) for name in dict.fromkeys(names))


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


def _pin(given: object) -> PinnedNote:
    if not isinstance(given, dict):
        raise _wrong("pins", "one of them is no object")
    ref = given.get("ref")
    if isinstance(ref, bool) or not isinstance(ref, int) or not 0 <= ref < 10**7:
        raise _wrong("pins", "one of them names no note")
    return PinnedNote(part=_text(given, "part"), line=int(_number(given, "line", 1, 99) or 1), ref=ref,
               label=_text(given, "label", 12))


def _player(given: object) -> Player:
    if not isinstance(given, dict) or len(given) > len(KEYS):
        raise _wrong("player", "must be the fields of a player")
    table = {key: value for key, value in given.items() if value not in ("", None)}
    for key in table:
        if key not in KEYS:
            raise _wrong("player", f"has no field '{str(key)[:40]}'")
    try:
        return player_of(table)
    except Unreadable as error:
        problem = error.problem
        key = next((key for key in KEYS if problem.what.startswith(key)), "")
        raise unreadable(problem.code, where=f"player, {FIELD_NAMES.get(key, 'fields')}",
                         what=of_field(key, problem.what), try_=plain(problem.try_)) from None


def read_refusals(given: dict[str, Any]) -> tuple[Refusal, ...]:
    """Read the changes that the reader does not want, as the command line has them; another form is skipped."""
    texts = given.get("refuse", [])
    return tuple(found for text in texts if isinstance(text, str) for found in [read_refusal(text)] if found) \
        if isinstance(texts, list) else ()


async def read_body(request: "HttpRequest", most: int, try_: str = _SPLIT) -> bytes:
    """Read a body of at most `most` bytes.

    Raises
    ------
    RefusedError
        If it is longer, does not come in time, or breaks off.
    """
    from starlette.requests import ClientDisconnect

    pieces: list[bytes] = []
    size = 0
    try:
        loop = asyncio.get_running_loop()
        end_s = loop.time() + UPLOAD_TIME_S
        async with asyncio.timeout(min(STALL_S, UPLOAD_TIME_S)) as patience:
            async for piece in request.stream():
                patience.reschedule(min(end_s, loop.time() + STALL_S))
                size += len(piece)
                if size > most:
                    limit = f"{most // 2**20} MiB" if most >= 2**20 else f"{most // 2**10} KiB"
                    raise RefusedError(413, f"That is more than {limit}, more than is needed here. {try_}")
                pieces.append(piece)
    except TimeoutError:
        raise RefusedError(408, "The file did not arrive in time. Try again.") from None
    except ClientDisconnect:
        raise RefusedError(400, "The connection broke off.") from None
    return b"".join(pieces)


async def read_json(request: "HttpRequest", most: int) -> dict[str, Any]:
    """Read a body that is one JSON object.

    Raises
    ------
    RefusedError
        As for `read_body`.
    Unreadable
        If it is anything else.
    """
    body = await read_body(request, most, "Load the page again.")
    try:
        given = json.loads(body)
    except (ValueError, RecursionError):
        given = None
    if not isinstance(given, dict):
        raise unreadable("bad-question", where="the question", what="cannot be read", try_="Load the page again.")
    return given


async def read_text(request: "HttpRequest", most: int) -> tuple[str, str]:
    """Read a body that is a text file; return the text and the file's name.

    Raises
    ------
    RefusedError
        As for `read_body`.
    Unreadable
        If it is no UTF-8.
    """
    name = file_name(request.headers.get("x-file-name", ""))
    body = await read_body(request, most, "Choose the text file that was meant.")
    try:
        return body.decode("utf-8-sig"), name
    except UnicodeDecodeError:
        raise unreadable("not-text", where=name, what="the file is not UTF-8 text", try_="Save it as UTF-8.") from None


def file_name(header: str) -> str:
    """Return a plain file name from what the browser sent: its last part, without control signs, not too long.

    Examples
    --------
    >>> file_name("..%2F..%2Fetc%2Fpasswd")
    'passwd'
    """
    name = _CONTROL.sub("", unquote(header, errors="replace")).replace("\\", "/").rsplit("/", 1)[-1].strip()
    if name in ("", ".", ".."):
        return "score"
    return name if len(name) <= 120 else f"{name[:100]}…{name[-15:]}"
