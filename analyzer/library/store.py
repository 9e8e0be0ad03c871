"""What a survey has done so far, in one SQLite file: every record is kept whole or not at all, and done once."""

import hashlib
import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from importlib import metadata
from pathlib import Path
from types import TracebackType
from typing import Any, NoReturn

from analyzer.horns.profiles import data_digest as horns_digest
from analyzer.library.files import Entry
from analyzer.library.survey import OF_THE_MOMENT, Record
from analyzer.plan.familiarity import data_digest as judgement_digest
from analyzer.problem import Unreadable, unreadable

_APPLICATION_ID = 0x6C6F7762       # "lowb": tells our files from other databases
_FORMAT = 3
_KINDS: dict[str, tuple[type, ...]] = {
    "status": (str,), "reason": (str,), "problem": (dict, type(None)), "title": (str,), "content": (str, type(None)),
    "problems": (list,), "lines": (list,)}
"""What every record holds; a kind of work may add to it."""


def settings_key(options: Any) -> str:
    """Return what the records depend on besides the file: all that is asked (its ``repr``), the program's version, and
    digests of the data that it judges by, so that old judgements never come back as new.
    """
    try:
        version = metadata.version("lowbrass")
    except metadata.PackageNotFoundError:
        version = "unknown"
    return hashlib.sha256(f"{_FORMAT} {version} {judgement_digest()} {horns_digest()} {options!r}".encode()).hexdigest()


class Store:
    """Records by (name, content, settings). A transaction each, so that a kill at any moment loses none.

    Parameters
    ----------
    path : Path or None
        The SQLite file, made if it is not there; None keeps the records in a file of the moment, gone with the store.
    options : dataclass
        Records that were made with others stay in the file and are not seen.

    Each record has a digest; one that is not as it was kept is taken out when the store is opened and counted in
    `damaged`, and its file is done again.

    Raises
    ------
    Unreadable
        If the file is no store of ours, comes from a newer version, cannot be written, or another survey has it open.
    """

    def __init__(self, path: Path | None, options: Any) -> None:
        self.path = path
        self.settings = settings_key(options)
        self.damaged = 0
        if path is not None and path.exists() and not path.is_file():
            raise unreadable("not-a-store", where=str(path), what="this is a folder, a pipe or a device, no store",
                             try_="Name a new file with --store.")
        with self._problems():
            self._base = sqlite3.connect(path or "", isolation_level=None, timeout=1.0)
            # What is no text any more does not match its digest; it must not end the reading.
            self._base.text_factory = lambda data: data.decode("utf-8", "replace")
            self._open()
            self._take_out_damaged()

    def _open(self) -> None:
        base = self._base
        # One survey at a time; the lock goes with the process, also when it is killed.
        base.execute("PRAGMA locking_mode = EXCLUSIVE")
        base.execute("BEGIN IMMEDIATE")
        tables = base.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
        mine = base.execute("PRAGMA application_id").fetchone()[0]
        if tables and mine != _APPLICATION_ID:
            base.execute("ROLLBACK")
            raise unreadable("not-a-store", where=str(self.path), what="this is another program's database",
                             try_="Name a new file with --store.")
        version = base.execute("PRAGMA user_version").fetchone()[0]
        if version > _FORMAT:
            base.execute("ROLLBACK")
            raise unreadable("newer-store", where=str(self.path), what="a newer lowbrass made this store",
                             try_="Use that one, or name a new file with --store.")
        if tables and version < _FORMAT:
            # Nothing that an older version kept would be seen again: what it judged by has changed since.
            base.execute("DROP TABLE IF EXISTS record")
        base.execute("CREATE TABLE IF NOT EXISTS record (name TEXT, content TEXT, settings TEXT, record TEXT NOT NULL, "
                     "digest TEXT NOT NULL, PRIMARY KEY (name, content, settings)) WITHOUT ROWID")
        if (mine, version) != (_APPLICATION_ID, _FORMAT):
            base.execute(f"PRAGMA application_id = {_APPLICATION_ID}")
            base.execute(f"PRAGMA user_version = {_FORMAT}")
        base.execute("COMMIT")

    def _take_out_damaged(self) -> None:
        bad = [(name, content) for name, content, text, digest in self._base.execute(
            "SELECT name, content, record, digest FROM record WHERE settings = ?", (self.settings,))
            if digest != self._digest(name, content, text) or not _whole(text)]
        self._base.executemany("DELETE FROM record WHERE name IS ? AND content IS ? AND settings = ?",
                               [(*key, self.settings) for key in bad])
        self.damaged = len(bad)

    def _digest(self, name: object, content: object, text: object) -> str:
        return hashlib.sha256("\0".join(map(str, (name, content, self.settings, text))).encode(
            "utf-8", "surrogatepass")).hexdigest()

    @contextmanager
    def _problems(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise self._wrong(error) from error

    def __enter__(self) -> "Store":
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        self.close()

    def names(self, entries: Iterable[Entry]) -> set[str]:
        """Return the names of those entries whose records are there already."""
        with self._problems():
            wanted = {one.name: one for one in entries}
            found = self._base.execute("SELECT name, content FROM record WHERE settings = ?", (self.settings,))
            # The entry's own name, not an equal one from the file: of thousands that counts.
            return {wanted[name].name for name, content in found if name in wanted and wanted[name].sha256 == content}

    def done(self, entries: Iterable[Entry], besides: Mapping[str, Record] | None = None) -> Mapping[str, Record]:
        """Return the records that are there already for these entries, by name; each is read when it is asked for.

        The store must stay open as long. `besides` are records that were not kept, and go before.
        """
        entries = list(entries)
        there = self.names(entries)
        return _Kept(self, {one.name: one.sha256 for one in entries if one.name in there}, besides or {})

    def record(self, name: str, content: str | None) -> Record:
        """Return one record that is there; KeyError if it is not."""
        with self._problems():
            found = self._base.execute("SELECT record FROM record WHERE name = ? AND content IS ? AND settings = ?",
                                       (name, content, self.settings)).fetchone()
        if found is None:
            raise KeyError(name)
        record: Record = json.loads(found[0])
        return record

    def close(self) -> None:
        """Close the file; what was not kept under a path is gone."""
        self._base.close()

    def keep(self, entry: Entry, record: Record) -> bool:
        """Keep one record, on disk before this returns, and tell so.

        What lies in the moment (`OF_THE_MOMENT`) is not kept, so that the next run tries it again.

        Raises
        ------
        Unreadable
            If the disk is full or the file cannot be written; what was kept before stays.
        """
        if record["problem"] and record["problem"]["code"] in OF_THE_MOMENT:
            return False
        # A plain INSERT: doing a file twice would be refused by the key, not pass unseen.
        text = json.dumps(record, ensure_ascii=False, allow_nan=False)
        with self._problems():
            self._base.execute("INSERT INTO record VALUES (?, ?, ?, ?, ?)",
                               (entry.name, entry.sha256, self.settings, text,
                                self._digest(entry.name, entry.sha256, text)))
        return True

    def _wrong(self, error: sqlite3.Error) -> Unreadable:
        where = str(self.path or "memory")
        text = str(error)
        if "locked" in text:
            return unreadable("store-in-use", where=where, what="another survey has this store open",
                              try_="Let it end first, or name another file with --store.")
        if "not a database" in text:
            return unreadable("not-a-store", where=where, what="this file is no store of a survey",
                              try_="Name a new file with --store.")
        if "malformed" in text or "no such column" in text or "no column named" in text or "columns but" in text:
            return unreadable("damaged-store", where=where, what=f"the store is damaged ({text})",
                              try_="Name a new file with --store; what it held is worked out again.")
        return unreadable("cannot-write", where=where, what=f"the store cannot be used ({text})",
                          try_="Check folder, rights and free space, or name another file with --store.")


class _Kept(Mapping[str, Record]):
    """Records of a store by the name of their file, read one at a time, and some that are at hand."""

    def __init__(self, store: Store, contents: Mapping[str, str | None], at_hand: Mapping[str, Record]) -> None:
        self._store, self._at_hand = store, at_hand
        self._contents = dict.fromkeys(at_hand) | dict(contents)

    def __getitem__(self, name: str) -> Record:
        if name in self._at_hand:
            return self._at_hand[name]
        return self._store.record(name, self._contents[name])

    def __iter__(self) -> Iterator[str]:
        return iter(self._contents)

    def __len__(self) -> int:
        return len(self._contents)

    def __contains__(self, name: object) -> bool:
        return name in self._contents


def _whole(text: object) -> bool:
    """Tell whether a text is a record: JSON without numbers that JSON has not, and of the right kinds."""
    try:
        record = json.loads(text, parse_constant=_no_number) if isinstance(text, str) else None
    except (ValueError, RecursionError):
        return False
    return (isinstance(record, dict) and all(isinstance(record.get(key, 0), kinds) for key, kinds in _KINDS.items())
            and all(isinstance(row, dict) for row in record["lines"]))


def _no_number(name: str) -> NoReturn:
    raise ValueError(f"{name} is no number of JSON")
