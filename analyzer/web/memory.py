"""What the page remembers on this computer: the last scores with what was set and pinned, and the section.

All lies in one folder as files that only their owner can read, each written whole or not at all, since the page's
address changes with every start, and with it the browser's own store.
"""

import contextlib
import hashlib
import json
import os
import shutil
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

from analyzer.failure import state_folder

MOST_SCORES = 12
MOST_BYTES = 50 * 2**20
"""Most that the copies of scores take together; judged: a school score has below 1 MiB, an opera 30."""
MOST_SETTINGS_BYTES = 2**20
"""Most that the settings and pins of one score, or the section, may take; what one question may bring."""


class Memory:
    """The files of the page in `folder`. Where the folder cannot be written, nothing is remembered, and it says so."""

    def __init__(self, folder: Path | None, *, most_scores: int = MOST_SCORES, most_bytes: int = MOST_BYTES) -> None:
        self.folder = folder
        self._most_scores = most_scores
        self._most_bytes = most_bytes
        self._lock = threading.Lock()
        self._forgotten: dict[str, bytes] = {}      # files forgotten last, in memory alone, to put them back

    def keep(self, data: bytes, name: str, title: str) -> str | None:
        """Keep a copy of a score; return its id, the same for the same file. None where it cannot be kept."""
        if self.folder is None or len(data) > self._most_bytes:
            return None
        found = hashlib.sha256(name.encode() + b"\0" + data).hexdigest()[:24]
        with self._lock:
            facts = self._facts(found) or {"settings": None}
            try:
                write_private(self.folder / f"{found}.score", data)
                _write_json(self.folder / f"{found}.json", {**facts, "name": name, "title": title, "used": time.time()})
            except OSError:
                return None
            self._drop_oldest()
        return found

    def settle(self, kept: str, settings: dict[str, Any]) -> bool:
        """Keep what is set and pinned for a score; tell whether the score is still kept."""
        with self._lock:
            facts = self._facts(kept)
            if facts is None or self.folder is None:
                return False
            with contextlib.suppress(OSError):
                _write_json(self.folder / f"{kept}.json", {**facts, "settings": settings, "used": time.time()})
                return True
        return False

    def score(self, kept: str) -> tuple[bytes, dict[str, Any]] | None:
        """Return a kept score's file and what is known of it: `name`, `title`, `settings`."""
        with self._lock:
            facts = self._facts(kept)
            if facts is None or self.folder is None:
                return None
            with contextlib.suppress(OSError):
                return (self.folder / f"{kept}.score").read_bytes(), facts
        return None

    def keep_desk(self, desk: dict[str, Any]) -> bool:
        """Keep the section and how the page looks; tell whether it is kept."""
        if self.folder is None:
            return False
        with self._lock, contextlib.suppress(OSError):
            _write_json(self.folder / "desk.json", desk)
            return True
        return False

    def all(self) -> dict[str, Any]:
        """Return what is kept, the score used last first, for the first screen."""
        with self._lock:
            scores = [{"id": kept, "name": facts["name"], "title": facts["title"],
                       "view": str((facts["settings"] or {}).get("view", "")), "used": facts["used"]}
                      for kept, facts in self._scores()]
            desk = _read_json(self.folder / "desk.json") if self.folder else None
        return {"folder": str(self.folder) if self.folder else None, "scores": scores, "desk": desk,
                "most_scores": self._most_scores, "most_mib": self._most_bytes // 2**20}

    def forget(self, kept: str) -> None:
        """Take away one score with all that was set for it."""
        if self.folder is None or not _is_id(kept):
            return
        with self._lock:
            self._forgotten = self._files(f"{kept}.*")
            for ending in (".score", ".json"):
                with contextlib.suppress(OSError):
                    (self.folder / f"{kept}{ending}").unlink()

    def forget_all(self) -> None:
        """Take away everything, the folder too.

        Raises
        ------
        OSError
            If something stays.
        """
        if self.folder is None:
            return
        with self._lock:
            self._forgotten = self._files("*")
            if self.folder.exists():
                shutil.rmtree(self.folder)
            with contextlib.suppress(OSError):
                self.folder.parent.rmdir()          # stays where it holds something else

    def put_back(self) -> None:
        """Keep again what was forgotten last, as long as the program has not ended."""
        if self.folder is None:
            return
        with self._lock, contextlib.suppress(OSError):
            for name, content in self._forgotten.items():
                write_private(self.folder / name, content)
            self._forgotten = {}
            self._drop_oldest()

    def _files(self, pattern: str) -> dict[str, bytes]:
        assert self.folder is not None
        found = {}
        for path in self.folder.glob(pattern):
            with contextlib.suppress(OSError):
                found[path.name] = path.read_bytes()
        return found

    def _facts(self, kept: str) -> dict[str, Any] | None:
        if self.folder is None or not _is_id(kept):
            return None
        facts = _read_json(self.folder / f"{kept}.json")
        if facts is None or not isinstance(facts.get("name"), str) or not isinstance(facts.get("title"), str) or \
                not isinstance(facts.get("used"), int | float) or not isinstance(facts.get("settings"), dict | None):
            return None
        return facts

    def _scores(self) -> list[tuple[str, dict[str, Any]]]:
        if self.folder is None or not self.folder.is_dir():
            return []
        found = [(path.stem, self._facts(path.stem)) for path in self.folder.glob("*.score")]
        return sorted(((kept, facts) for kept, facts in found if facts is not None),
                      key=lambda known: -known[1]["used"])

    def _drop_oldest(self) -> None:
        assert self.folder is not None
        total = 0
        for place, (kept, _) in enumerate(self._scores()):
            total += (self.folder / f"{kept}.score").stat().st_size
            if place >= self._most_scores or total > self._most_bytes:
                for ending in (".score", ".json"):
                    (self.folder / f"{kept}{ending}").unlink(missing_ok=True)


def memory_here() -> Memory:
    """Return this user's memory; where there is no home to write to, one that keeps nothing."""
    try:
        folder = state_folder() / "page"
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
        for left in folder.glob("*.part"):           # of a write that was cut off
            left.unlink(missing_ok=True)
    except (OSError, RuntimeError):
        return Memory(None)
    return Memory(folder)


def _is_id(text: str) -> bool:
    return len(text) == 24 and all(sign in "0123456789abcdef" for sign in text)


def write_private(path: Path, content: bytes) -> None:
    """Write a file that only its owner can read, whole or not at all."""
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    part = path.with_suffix(f"{path.suffix}.part")
    with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    part.replace(path)


def _write_json(path: Path, content: dict[str, Any]) -> None:
    write_private(path, json.dumps(content, ensure_ascii=False).encode())


def _read_json(path: Path) -> dict[str, Any] | None:
    try:
        found = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None
