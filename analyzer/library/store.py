"""What a survey has done so far, in one SQLite file: every record is kept whole or not at all, and done once."""

import hashlib
import json
import sqlite3
from collections.abc import Iterable
from importlib import metadata
from pathlib import Path
from types import TracebackType
from typing import Any

from analyzer.horns.profiles import data_digest as horns_digest
from analyzer.library.files import Entry
from analyzer.library.survey import OF_THE_MOMENT, Record
from analyzer.plan.familiarity import data_digest as judgement_digest
from analyzer.problem import Unreadable, unreadable

_APPLICATION_ID = 0x6C6F7762       # "lowb": tells our files from other databases
_FORMAT = 2


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
        The SQLite file, made if it is not there; None keeps the records in memory.
    options : dataclass
        Records that were made with others stay in the file and are not seen.

    Raises
    ------
    Unreadable
        If the file is no store of ours, cannot be written, or another survey has it open.
    """

    def __init__(self, path: Path | None, options: Any) -> None:
        self.path = path
        self.settings = settings_key(options)
        try:
            self._base = sqlite3.connect(":memory:" if path is None else path, isolation_level=None, timeout=1.0)
            self._open()
        except sqlite3.Error as error:
            raise self._wrong(error) from error

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
        base.execute("CREATE TABLE IF NOT EXISTS record (name TEXT, content TEXT, settings TEXT, record TEXT NOT NULL, "
                     "PRIMARY KEY (name, content, settings)) WITHOUT ROWID")
        base.execute(f"PRAGMA application_id = {_APPLICATION_ID}")
        base.execute("COMMIT")

    def __enter__(self) -> "Store":
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        self._base.close()

    def names(self, entries: Iterable[Entry]) -> set[str]:
        """Return the names of those entries whose records are there already."""
        kept = set(self._base.execute("SELECT name, content FROM record WHERE settings = ?", (self.settings,)))
        return {one.name for one in entries if (one.name, one.sha256) in kept}

    def done(self, entries: Iterable[Entry]) -> dict[str, Record]:
        """Return the records that are there already for these entries, by name."""
        kept = {(name, content): text for name, content, text in self._base.execute(
            "SELECT name, content, record FROM record WHERE settings = ?", (self.settings,))}
        there = [one for one in entries if (one.name, one.sha256) in kept]
        # Read as one text, so that the keys of thousands of records are the same objects: half the memory.
        texts = ",".join(kept[one.name, one.sha256] for one in there)
        return dict(zip((one.name for one in there), json.loads(f"[{texts}]"), strict=True))

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
        try:
            self._base.execute("INSERT INTO record VALUES (?, ?, ?, ?)",
                               (entry.name, entry.sha256, self.settings,
                                json.dumps(record, ensure_ascii=False)))
        except sqlite3.Error as error:
            raise self._wrong(error) from error
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
        return unreadable("cannot-write", where=where, what=f"the store cannot be used ({text})",
                          try_="Check folder, rights and free space, or name another file with --store.")
