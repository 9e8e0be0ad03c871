"""TOML files read key by key: wrong types and unknown keys become one clear line with file and line number.

Every reader of such a file (horn, player, section, pins, preferences) takes its values here, so that a number is finite
and within its range, a list holds what it should, and a word is a known one, by the same rule and in the same words.
"""

import json
import re
import tomllib
from collections.abc import Callable, Iterator
from functools import cached_property
from pathlib import Path
from typing import Any

from analyzer.files import read_file
from analyzer.pitch import parse_pitch
from analyzer.problem import Problem, Unreadable, unreadable

CODE = "toml"
MOST_BYTES = 256 * 2**10
"""Largest file that is read; judged: a band of a hundred players with every key has a tenth of it."""
_MOST_DOTS = 16
_DEEP = re.compile(
    rf"""(?:(?:(?<![\w-])[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){{{_MOST_DOTS}}}""")
_HEADING = re.compile(r"\s*\[\[?([^\[\]]+)\]\]?\s*(?:#.*)?")
_KEY = re.compile(r"""\s*(?:"([^"]*)"|'([^']*)'|([\w-]+))\s*[=.]""")
_KIND_WORDS = {str: "a text in quotes", float: "a number", int: "a whole number", bool: "true or false"}
_LONGEST_SHOWN = 60


class _Places:
    """Where headings and keys stand in a file, looked up once for all problems. Lines count from 1."""

    def __init__(self, text: str) -> None:
        self.headings: dict[str, list[int]] = {}
        self.keys: dict[int, dict[str, int]] = {0: {}}
        heading = 0
        for number, row in enumerate(text.splitlines(), 1):
            if match := _HEADING.fullmatch(row):
                heading = number
                name = ".".join(part.strip().strip("\"'") for part in match[1].split("."))
                self.headings.setdefault(name, []).append(number)
                self.keys[number] = {}
            elif match := _KEY.match(row):
                self.keys[heading].setdefault(match[1] or match[2] or match[3] or "", number)

    def line(self, heading: str, nth: int, key: str) -> int:
        found = self.headings.get(heading, ()) if heading else ()
        start = found[min(nth, len(found) - 1)] if found else 0
        if key in self.keys[start]:
            return self.keys[start][key]
        inner = self.headings.get(f"{heading}.{key}" if heading else key)
        if inner:
            return inner[0]
        if heading and not start:
            # A table that only its inner tables name has no line of its own: take the first of those.
            under = (lines[0] for name, lines in self.headings.items() if name.startswith(f"{heading}."))
            return min(under, default=1)
        return max(start, 1)


class Table:
    """One table of a TOML file. Take its keys, then call `done`, which refuses what was not taken.

    Parameters
    ----------
    data : dict
        The parsed table.
    file : str
        The file as the user named it.
    text : str
        The whole file, for line numbers; empty where the table came without one.
    heading : str
        The table's heading as written, such as ``tube`` or ``attachment``; empty for the top of the file.
    nth : int
        Which table of that heading, from 0, where the heading may be repeated.
    code : str
        Code of the problems.
    mistakes : list, optional
        Where given, a mistake is put here with its line (0 without one) and reading goes on with the key's default;
        else it is raised.
    """

    def __init__(self, data: dict[str, Any], *, file: str, text: str = "", heading: str = "", nth: int = 0,
                 code: str = CODE, mistakes: list[tuple[int, Problem]] | None = None) -> None:
        """Wrap a parsed table; see the class for the parameters."""
        self.data = data
        self.text = text
        self.file = file
        self.heading = heading
        self.code = code
        self.mistakes = mistakes
        self._nth = nth
        self._taken: set[str] = set()

    @cached_property
    def _places(self) -> _Places:
        return _Places(self.text)

    def problem(self, key: str, what: str, try_: str, *, code: str = "") -> Unreadable:
        """Return (not raise) the problem of one key, with its line; no line where the table came without its text."""
        where = f"{self.file}, line {self.line(key)}" if self.text else self.file
        return unreadable(code or self.code, where=where, what=what, try_=try_)

    def refuse(self, key: str, what: str, try_: str) -> None:
        """Raise the problem of one key, or note it where mistakes are gathered."""
        found = self.problem(key, what, try_)
        if self.mistakes is None:
            raise found
        self.mistakes.append((self.line(key) if self.text else 0, found.problem))

    def has(self, key: str) -> bool:
        """Tell whether the key stands in the file."""
        return key in self.data

    def take(self, key: str, kind: type[Any], default: Any = ...) -> Any:
        """Return the value of a key (`kind` is str, float, int or bool).

        Raises
        ------
        Unreadable
            If it is missing without a default, or of another kind.
        """
        self._taken.add(key)
        if key not in self.data:
            if default is ...:
                self.refuse(key, f"{key} is missing{self._of()}", f"Add {key} = ... with {_KIND_WORDS[kind]}.")
            return None if default is ... else default
        value = self.data[key]
        if kind is float and isinstance(value, int) and not isinstance(value, bool):
            return value
        if not isinstance(value, kind) or (kind is int and isinstance(value, bool)):
            self._wrong(key, f"Give {_KIND_WORDS[kind]}.")
            return None if default is ... else default
        return value

    def number(self, key: str, low: float, high: float, default: Any = ..., *, unit: str = "") -> Any:
        """Return a number between `low` and `high`, or the problem of one outside (as every NaN is).

        `unit` follows the range in the mend, with the space or comma before it.
        """
        if not self.has(key):
            return self.take(key, float, default)
        self._taken.add(key)
        value = self.data[key]
        if not isinstance(value, int | float) or isinstance(value, bool) or not low <= value <= high:
            self._wrong(key, f"Give a number from {low:g} to {high:g}{unit}.")
            return None if default is ... else default
        return float(value)

    def word(self, key: str, words: tuple[str, ...], default: Any = ..., *, also: tuple[str, ...] = ()) -> Any:
        """Return a text that is one of `words`; those of `also` are taken, too, and not offered."""
        if not self.has(key):
            return self.take(key, str, default)
        self._taken.add(key)
        if self.data[key] in words or self.data[key] in also:
            return self.data[key]
        self._wrong(key, f"Give one of {_listed(words)}.")
        return None if default is ... else default

    def pitch(self, key: str, default: Any = ..., *, also: tuple[str, ...] = ()) -> Any:
        """Return a sounding pitch written as a text [MIDI], or one of the words `also` as it is."""
        if not self.has(key):
            return self.take(key, str, default)
        self._taken.add(key)
        value = self.data[key]
        if value in also:
            return value
        try:
            return parse_pitch(value).midi if isinstance(value, str) else self._no_pitch(key, default, also)
        except ValueError:
            return self._no_pitch(key, default, also)

    def words(self, key: str, example: str, default: Any = ..., *, known: tuple[str, ...] = (), least: int = 0,
              read: Callable[[str], Any] | None = None) -> Any:
        """Return a list of texts as a tuple; `example` is one as TOML has it.

        Each is one of `known` where that is given; there are at least `least`. `read` makes something of each, and
        says by a ValueError what is wrong with one.
        """
        self._taken.add(key)
        if key not in self.data and default is not ...:
            return default
        value = self.data.get(key)
        fits = isinstance(value, list) and len(value) >= least and all(
            isinstance(item, str) and (not known or item in known) for item in value)
        if not fits or not isinstance(value, list):
            mend = f"Give a list such as {example}{f'; known are {_listed(known)}' if known else ''}."
            self._wrong(key, mend)
            return () if default is ... else default
        try:
            return tuple(read(item) for item in value) if read else tuple(value)
        except ValueError as error:
            self.refuse(key, str(error), f"Give a list such as {example}.")
            return () if default is ... else default

    def numbers(self, key: str, low: int, high: int) -> tuple[int, ...]:
        """Return a list of whole numbers between `low` and `high`."""
        self._taken.add(key)
        value = self.data.get(key)
        if not isinstance(value, list) or not value or not all(
            isinstance(item, int) and not isinstance(item, bool) and low <= item <= high for item in value
        ):
            self._wrong(key, f"Give a list such as [1, 2], each {low} to {high}.")
            return ()
        return tuple(value)

    def table(self, key: str) -> "Table":
        """Return a table that must be there."""
        self._taken.add(key)
        heading = f"{self.heading}.{key}" if self.heading else key
        value = self.data.get(key)
        if not isinstance(value, dict):
            found = "is missing" if value is None else "is no table"
            self.refuse(key, f"the table [{heading}] {found}", f"Add [{heading}] with its keys.")
            value = {}
        return self._inner(value, heading)

    def tables(self, key: str) -> Iterator["Table"]:
        """Yield the tables of a repeated heading, in order; none where it is absent."""
        self._taken.add(key)
        value = self.data.get(key, [])
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            self.refuse(key, f"'{key}' is no list of tables",
                        f"Write [[{key}]], with two brackets on each side, above each.")
            return
        for nth, item in enumerate(value):
            yield self._inner(item, key, nth)

    def done(self) -> None:
        """Refuse keys that nothing asked for.

        Raises
        ------
        Unreadable
            With the first of them and the keys that are known.
        """
        known = ", ".join(sorted(self._taken))
        for key in self.data:
            if key not in self._taken:
                self.refuse(key, f"unknown key '{_cut(key)}'{self._of()}", f"Known here: {known}.")

    def line(self, key: str) -> int:
        """Line of a key of this table, from 1; the table's own line where the key is absent."""
        return self._places.line(self.heading, self._nth, key)

    def _inner(self, data: dict[str, Any], heading: str, nth: int = 0) -> "Table":
        inner = Table(data, file=self.file, text=self.text, heading=heading, nth=nth, code=self.code,
                      mistakes=self.mistakes)
        inner.__dict__["_places"] = self._places        # the same file: looked through once
        return inner

    def _no_pitch(self, key: str, default: Any, also: tuple[str, ...]) -> Any:
        self._wrong(key, f'Give a sounding pitch such as "F3"{f", or {_listed(also)}" if also else ""}.')
        return None if default is ... else default

    def _wrong(self, key: str, try_: str) -> None:
        found = f"is {_shown(self.data[key])}" if key in self.data else "is missing"
        self.refuse(key, f"{key} {found}{self._of()}", try_)

    def _of(self) -> str:
        return f" in [{self.heading}]" if self.heading else ""


def read_table(path: Path, shown: str = "", *, code: str = CODE) -> Table:
    """Read a TOML file. `shown` is its name in problems, else the bare file name; `code` that of its problems.

    Raises
    ------
    Unreadable
        If the file cannot be opened, is larger than `MOST_BYTES`, is no UTF-8 or no TOML.
    """
    data = read_file(path, MOST_BYTES)
    try:
        text = data.decode("utf-8-sig")                 # some editors put a mark before the first letter
    except UnicodeDecodeError as error:
        line = error.object.count(b"\n", 0, error.start) + 1
        what = f"the file is not UTF-8 text (byte {error.object[error.start]:#04x})"
        raise unreadable("not-text", where=f"{path}, line {line}", what=what, try_="Save it as UTF-8.") from None
    return parse_table(text.replace("\r\n", "\n").replace("\r", "\n"), shown or path.name, code=code)


def parse_table(text: str, shown: str, *, code: str = CODE) -> Table:
    """Read TOML text; `shown` names its file in problems, `code` is that of problems with its keys.

    Raises
    ------
    Unreadable
        If the text is no TOML, or of a kind that no file of ours has: too long, or nested too deep.
    """
    deep = _DEEP.search(text)
    if len(text) > MOST_BYTES or deep:
        line = f", line {text.count(chr(10), 0, deep.start()) + 1}" if deep else ""
        what = f"a key has more than {_MOST_DOTS} dots" if deep else f"it is longer than {MOST_BYTES // 2**10} KiB"
        raise unreadable(CODE, where=f"{shown}{line}", what=what, try_="Check that this is the file you mean.")
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        match = re.fullmatch(r"(.*) \(at (?:line (\d+), column \d+|end of document)\)", str(error), re.DOTALL)
        what, found = (match[1], match[2]) if match else (str(error), None)
        where = f"{shown}, line {found or max(len(text.splitlines()), 1)}"
        raise unreadable(
            CODE, where=where, what=f"this is not TOML: {what[:1].lower()}{what[1:]}",
            try_="Write key = value; texts stand in double quotes.",
        ) from None
    except RecursionError:
        raise unreadable(CODE, where=shown, what="its lists or tables are nested too deep",
                         try_="Check that this is the file you mean.") from None
    except ValueError:                                  # a whole number beyond what Python turns into one
        line = next((f", line {nth}" for nth, row in enumerate(text.split("\n"), 1) if re.search(r"\d{999}", row)), "")
        raise unreadable(CODE, where=f"{shown}{line}", what="a number has thousands of digits",
                         try_="Give a number of ordinary length.") from None
    return Table(data, text=text, file=shown, code=code)


def toml_value(value: object) -> str:
    """Return a text, a number, a truth value, a list of them or a table of them as TOML writes it.

    What JSON writes of these, TOML reads alike, but for the delete sign; halves of a pair of signs, which no UTF-8 file
    can hold, become question marks.

    Examples
    --------
    >>> toml_value('7" bell'), toml_value(["T", "TS"]), toml_value(True)
    ('"7\\\\" bell"', '["T", "TS"]', 'true')
    >>> toml_value({"staff_mm": 10, "dynamics": "above"})
    '{"staff_mm" = 10, "dynamics" = "above"}'
    """
    if isinstance(value, dict):
        return "{" + ", ".join(f"{toml_value(str(key))} = {toml_value(one)}" for key, one in value.items()) + "}"
    text = json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return text.encode("utf-8", "replace").decode()


def _listed(words: tuple[str, ...]) -> str:
    return ", ".join(f'"{word}"' for word in words)


def _cut(text: str) -> str:
    return text if len(text) <= _LONGEST_SHOWN else f"{text[:_LONGEST_SHOWN]} …"


def _shown(value: object) -> str:
    """Return a value as a person would recognize it, cut where it is long."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "a table"
    if hasattr(value, "isoformat"):
        return str(value.isoformat())
    try:
        return _cut(f"{value:g}" if isinstance(value, float) else repr(value))
    except (ValueError, RecursionError):                # digits by the thousand, lists in lists in lists
        return "too long to show"
