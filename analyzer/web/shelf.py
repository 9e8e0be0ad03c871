"""Folders of scores for the page: one of this computer by its path, or files that were chosen while it runs."""

import itertools
import secrets
import tempfile
from collections import OrderedDict
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from analyzer.library.files import Entry
from analyzer.problem import unreadable
from analyzer.web.security import RefusedError

MOST_FILES = 2000
MOST_BYTES = 500 * 2**20
"""Of chosen files; judged: a school's library of scores has some hundred of 100 KiB. A larger one has a folder."""
MOST_HELD = 4
"""Answers that are kept for their files; judged: one for each tool, and one to go back to."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Folder:
    """A folder to be looked through, and what it is called."""

    path: Path
    name: str


@dataclass(slots=True, kw_only=True)
class Held:
    """What an answer rests on, for the files that may be asked of it: what was found, and where the scores lie."""

    kind: str
    found: Any
    entries: list[Entry] = field(default_factory=list)


class Shelf:
    """Chosen files, in a folder that goes with the page, and the answers given last."""

    def __init__(self) -> None:
        self._temporary: tempfile.TemporaryDirectory[str] | None = None
        self._folder: Path | None = None
        self._bytes = 0
        self._files = itertools.count()
        self._held: OrderedDict[str, Held] = OrderedDict()

    def clear(self) -> None:
        """Put everything away."""
        self._held.clear()
        self._folder = None
        self._bytes = 0
        if self._temporary is not None:
            self._temporary.cleanup()
            self._temporary = None

    def begin(self) -> None:
        """Make room for files to be chosen; those before go."""
        self.clear()
        self._temporary = tempfile.TemporaryDirectory(prefix="lowbrass-")
        self._folder = Path(self._temporary.name)
        self._files = itertools.count()

    def add(self, data: bytes, name: str) -> int:
        """Put a file there; return how many there are now. Files of one name are told apart.

        Raises
        ------
        RefusedError
            If there are too many, or nothing was begun.
        """
        if self._folder is None:
            raise RefusedError(409, "Choose the files once more.")
        number = next(self._files)
        self._bytes += len(data)
        if number >= MOST_FILES or self._bytes > MOST_BYTES:
            raise RefusedError(413, f"That is more than {MOST_FILES} files or {MOST_BYTES // 2**20} MiB. Give the "
                                    "folder by its path instead.")
        path = self._folder / name
        if path.exists():
            path = self._folder / f"{path.stem} ({number}){path.suffix}"
        path.write_bytes(data)
        return number + 1

    def folder_of(self, given: dict[str, Any]) -> Folder:
        """Return the folder that a question means: ``folder`` is a path, empty for the files that were chosen.

        Raises
        ------
        Unreadable
            If there is no such folder, or nothing was chosen.
        """
        text = given.get("folder", "")
        if not isinstance(text, str) or len(text) > 4096 or "\0" in text:
            raise unreadable("bad-question", where="folder", what="must be a path", try_="Write it anew.")
        if not text.strip():
            if self._folder is None or self.none_given(given):
                raise unreadable("no-folder", where="folder", what="no folder is given and no files are chosen",
                                 try_="Write where your scores lie, or choose the files.")
            return Folder(path=self._folder, name="the files that were chosen")
        path = Path(text.strip().strip("\"'")).expanduser()
        if not path.is_absolute():
            path = Path.home() / path
        if not path.is_dir():
            raise unreadable("no-folder", where=str(path), what="there is no such folder on this computer",
                             try_="Copy the path from the file manager, or choose the files.")
        return Folder(path=path, name=str(path))

    def none_given(self, given: dict[str, Any]) -> bool:
        """Whether a question names no folder and no files were chosen."""
        return not str(given.get("folder") or "").strip() and (self._folder is None or not any(self._folder.iterdir()))

    def hold(self, held: Held) -> str:
        """Keep what an answer rests on; return its id."""
        name = secrets.token_urlsafe(9)
        self._held[name] = held
        while len(self._held) > MOST_HELD:
            self._held.popitem(last=False)
        return name

    def held(self, name: object, *kinds: str) -> Held:
        """Return what was kept under an id.

        Raises
        ------
        RefusedError
            If it is no longer here.
        """
        found = self._held.get(name) if isinstance(name, str) else None
        if found is None or found.kind not in kinds:
            raise RefusedError(410, "This answer is no longer here. Look through the folder once more.")
        return found
