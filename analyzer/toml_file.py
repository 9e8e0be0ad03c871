"""TOML files read key by key: wrong types and unknown keys become one clear line with file and line number."""

import json
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from analyzer.problem import Unreadable, unreadable

CODE = "toml"
_KIND_WORDS = {str: "a text in quotes", float: "a number", int: "a whole number", bool: "true or false"}


class Table:
    """One table of a TOML file. Take its keys, then call `done`, which refuses what was not taken.

    Parameters
    ----------
    data : dict
        The parsed table.
    text : str
        The whole file, for line numbers.
    file : str
        The file as the user named it.
    heading : str
        The table's heading as written, such as ``tube`` or ``attachment``; empty for the top of the file.
    nth : int
        Which table of that heading, from 0, where the heading may be repeated.
    """

    def __init__(self, data: dict[str, Any], *, text: str, file: str, heading: str = "", nth: int = 0) -> None:
        """Wrap a parsed table; see the class for the parameters."""
        self.data = data
        self.text = text
        self.file = file
        self.heading = heading
        self._nth = nth
        self._taken: set[str] = set()

    def problem(self, key: str, what: str, try_: str, *, code: str = CODE) -> Unreadable:
        """Return (not raise) the problem of one key, with its line; no line where the table came without its text."""
        where = f"{self.file}, line {self.line(key)}" if self.text else self.file
        return unreadable(code, where=where, what=what, try_=try_)

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
                raise self.problem(
                    key, f"'{key}' is missing{self._of()}", f"Add {key} = ... with {_KIND_WORDS[kind]}."
                )
            return default
        value = self.data[key]
        if kind is float and isinstance(value, int) and not isinstance(value, bool):
            value = float(value)
        if not isinstance(value, kind) or (kind is int and isinstance(value, bool)):
            raise self.problem(key, f"'{key}' is {value!r}{self._of()}", f"Give {_KIND_WORDS[kind]}.")
        return value

    def number(self, key: str, low: float, high: float, default: Any = ...) -> float:
        """Return a number between `low` and `high`, or the problem of one outside."""
        value: float = self.take(key, float, default)
        if self.has(key) and not low <= value <= high:
            raise self.problem(key, f"'{key}' is {value:g}{self._of()}", f"Give a number from {low:g} to {high:g}.")
        return value

    def word(self, key: str, words: tuple[str, ...], default: Any = ...) -> str:
        """Return a text that is one of `words`."""
        value: str = self.take(key, str, default)
        if self.has(key) and value not in words:
            listed = ", ".join(f"'{word}'" for word in words)
            raise self.problem(key, f"'{key}' is '{value}'{self._of()}", f"Give one of {listed}.")
        return value

    def numbers(self, key: str, low: int, high: int) -> tuple[int, ...]:
        """Return a list of whole numbers between `low` and `high`."""
        self._taken.add(key)
        value = self.data.get(key)
        if not isinstance(value, list) or not value or not all(
            isinstance(item, int) and not isinstance(item, bool) and low <= item <= high for item in value
        ):
            found = f"is {value!r}" if key in self.data else "is missing"
            mend = f"Give a list such as [1, 2], each {low} to {high}."
            raise self.problem(key, f"'{key}' {found}{self._of()}", mend)
        return tuple(value)

    def table(self, key: str) -> "Table":
        """Return a table that must be there."""
        self._taken.add(key)
        heading = f"{self.heading}.{key}" if self.heading else key
        value = self.data.get(key)
        if not isinstance(value, dict):
            raise self.problem(key, f"the table [{heading}] is missing", f"Add [{heading}] with its keys.")
        return Table(value, text=self.text, file=self.file, heading=heading)

    def tables(self, key: str) -> Iterator["Table"]:
        """Yield the tables of a repeated heading, in order; none where it is absent."""
        self._taken.add(key)
        value = self.data.get(key, [])
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            raise self.problem(key, f"'{key}' is no list of tables", f"Write each under a heading [[{key}]].")
        for nth, item in enumerate(value):
            yield Table(item, text=self.text, file=self.file, heading=key, nth=nth)

    def done(self) -> None:
        """Refuse keys that nothing asked for.

        Raises
        ------
        Unreadable
            With the first of them and the keys that are known.
        """
        for key in self.data:
            if key not in self._taken:
                known = ", ".join(sorted(self._taken))
                raise self.problem(key, f"unknown key '{key}'{self._of()}", f"Known here: {known}.")

    def _of(self) -> str:
        return f" in [{self.heading}]" if self.heading else ""

    def line(self, key: str) -> int:
        """Line of a key of this table, from 1; the table's own line where the key is absent."""
        lines = self.text.splitlines()
        start, end = self._span(lines)
        quoted = re.escape(key)
        pattern = re.compile(rf"""\s*(?:{quoted}|"{quoted}"|'{quoted}')\s*[=.]""")
        sub = f"{self.heading}.{key}" if self.heading else key
        heading = re.compile(rf"\s*\[\[?\s*{re.escape(sub)}\s*\]")
        for number in range(start, end):
            if pattern.match(lines[number]):
                return number + 1
        # A table that only its inner tables name has no line of its own: take the first of those.
        inner = re.compile(rf"\s*\[\[?\s*{re.escape(self.heading)}\." if self.heading and not start else r"(?!)")
        for pattern in (heading, inner):
            for number, line in enumerate(lines):
                if pattern.match(line):
                    return number + 1
        return max(start, 1)

    def _span(self, lines: list[str]) -> tuple[int, int]:
        """First line after the table's heading and the line of the next heading, from 0."""
        start = 0
        if self.heading:
            mine = re.compile(rf"\s*\[\[?\s*{re.escape(self.heading)}\s*\]")
            found = [number for number, line in enumerate(lines) if mine.match(line)]
            start = found[min(self._nth, len(found) - 1)] + 1 if found else 0
        headings = (number for number in range(start, len(lines)) if lines[number].lstrip().startswith("["))
        return start, next(headings, len(lines))


def read_table(path: Path, shown: str = "") -> Table:
    """Read a TOML file. `shown` is its name in problems, else the bare file name.

    Raises
    ------
    Unreadable
        If the file cannot be opened, is no UTF-8 or no TOML.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")     # some editors put a mark before the first letter
    except UnicodeDecodeError as error:
        line = error.object.count(b"\n", 0, error.start) + 1
        what = f"the file is not UTF-8 text (byte {error.object[error.start]:#04x})"
        raise unreadable("not-text", where=f"{path}, line {line}", what=what, try_="Save it as UTF-8.") from None
    except OSError as error:
        what = f"the file cannot be read ({error.strerror or error})"
        raise unreadable("no-file", where=str(path), what=what, try_="Check the name and the folder.") from None
    return parse_table(text, shown or path.name)


def parse_table(text: str, shown: str) -> Table:
    """Read TOML text; `shown` names its file in problems.

    Raises
    ------
    Unreadable
        If the text is no TOML.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        match = re.fullmatch(r"(.*) \(at (?:line (\d+), column \d+|end of document)\)", str(error), re.DOTALL)
        what, line = (match[1], match[2]) if match else (str(error), None)
        where = f"{shown}, line {line or max(len(text.splitlines()), 1)}"
        raise unreadable(
            CODE, where=where, what=f"this is not TOML: {what[:1].lower()}{what[1:]}",
            try_="Write key = value; texts stand in double quotes.",
        ) from None
    return Table(data, text=text, file=shown)


def toml_value(value: object) -> str:
    """Return a text, a number, a truth value or a list of them as TOML writes it.

    What JSON writes of these, TOML reads alike, but for the delete sign; halves of a pair of signs, which no UTF-8 file
    can hold, become question marks.

    Examples
    --------
    >>> toml_value('7" bell'), toml_value(["T", "TS"]), toml_value(True)
    ('"7\\\\" bell"', '["T", "TS"]', 'true')
    """
    text = json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return text.encode("utf-8", "replace").decode()
