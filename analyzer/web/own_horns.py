"""Horns of one's own: profiles read from a tuner or a file, kept on this computer and chosen by their names."""

import contextlib
import hashlib
import tempfile
from pathlib import Path
from typing import Any

from analyzer.horns.horn import Horn
from analyzer.horns.profiles import horn_from_text, horn_names, load_horn
from analyzer.problem import Unreadable, unreadable
from analyzer.report.plain import in_short
from analyzer.web.memory import Memory, write_private

MOST_HORNS = 24
"""Judged: a school's cupboard; more would make the list of horns unreadable."""


class OwnHorns:
    """The profiles beside the page's memory; those that are not to be kept lie in a folder that goes with the page."""

    def __init__(self, memory: Memory) -> None:
        self._memory = memory
        self._passing: tempfile.TemporaryDirectory[str] | None = None

    def all(self) -> dict[str, tuple[Horn, Path]]:
        """Return the horns and their files by name, in the order of their names; what cannot be read is left out."""
        found: dict[str, tuple[Horn, Path]] = {}
        for folder in self._folders():
            for path in sorted(folder.glob("horn-*.toml")):
                with contextlib.suppress(Unreadable, OSError):
                    horn = load_horn(str(path))
                    found[horn.name] = horn, path
        return dict(sorted(found.items()))

    def path(self, name: str) -> str | None:
        """Return the file of a horn, which every command takes in place of a name; None where it is not here."""
        known = self.all().get(name)
        return str(known[1]) if known else None

    def paths(self) -> dict[str, str]:
        """Return the file of every horn by its name."""
        return {name: str(path) for name, (_, path) in self.all().items()}

    def listed(self) -> list[dict[str, Any]]:
        """Return the horns for the page's list, as those that come with the project."""
        return [{"name": name, "description": f"{name}: {in_short(horn.description)}", "family": horn.family,
                 "own": True} for name, (horn, _) in self.all().items()]

    def text(self, name: str) -> str:
        """Return the profile of a horn as TOML.

        Raises
        ------
        Unreadable
            If there is no such horn here.
        """
        known = self.all().get(name)
        if known is None:
            raise unreadable("unknown-horn", where="horn", what=f"there is no horn '{name[:60]}' here",
                             try_="Choose one of the list.")
        return known[1].read_text(encoding="utf-8")

    def keep(self, text: str, shown: str, *, keeping: bool) -> Horn:
        """Add a horn, in place of one of the same name; `keeping` over the end of the page.

        Raises
        ------
        Unreadable
            If the text describes no horn, its name is that of a horn of the list, or there are too many.
        """
        horn = horn_from_text(text, shown)
        known = self.all()
        if horn.name in horn_names():
            raise unreadable("bad-horn", where=shown, what=f"'{horn.name}' is the name of a horn of the list",
                             try_="Give yours a name of its own.")
        if horn.name not in known and len(known) >= MOST_HORNS:
            raise unreadable("bad-horn", where=shown, what=f"there are {MOST_HORNS} horns here already",
                             try_="Forget one first.")
        content = text.encode()
        # Named by what is in it: who has planned with the one before sees that this is another.
        name = f"horn-{hashlib.sha256(content).hexdigest()[:16]}.toml"
        folder = self._memory.folder if keeping and self._memory.folder is not None else self._passing_folder()
        try:
            write_private(folder / name, content)
        except OSError as error:
            raise unreadable("cannot-write", where=str(folder), what=f"the horn cannot be kept ({error.strerror})",
                             try_="Save it as a file instead.") from None
        if horn.name in known and known[horn.name][1] != folder / name:
            known[horn.name][1].unlink(missing_ok=True)
        return horn

    def forget(self, name: str) -> None:
        """Take a horn away."""
        known = self.all().get(name)
        if known is not None:
            known[1].unlink(missing_ok=True)

    def end(self) -> None:
        """Let go of what was not to be kept."""
        if self._passing is not None:
            self._passing.cleanup()
            self._passing = None

    def _folders(self) -> list[Path]:
        return [folder for folder in (self._memory.folder, Path(self._passing.name) if self._passing else None)
                if folder is not None]

    def _passing_folder(self) -> Path:
        if self._passing is None:
            self._passing = tempfile.TemporaryDirectory(prefix="lowbrass-")
        return Path(self._passing.name)
