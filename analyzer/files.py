"""Files are read within bounds, and written whole or not at all."""

import contextlib
import os
import stat
import sys
import tempfile
from collections.abc import Iterable
from pathlib import Path

from analyzer.plain import one_line
from analyzer.problem import Unreadable, unreadable

STANDARD_OUTPUT = Path("-")


def read_file(path: Path, most_bytes: int, *, where: str = "", folder: str = "Name one file in it.",
              large: str = "Check that this is the file you mean.") -> bytes:
    """Return the bytes of a file; what a user names is read here.

    What is no plain file (a folder, a pipe, a device) is refused before it is opened, so that nothing waits for a
    writer; a larger file before its bytes are fetched. `where` names the file in problems, else its path does; `folder`
    and `large` say what to try in those two cases.

    Raises
    ------
    Unreadable
        If there is no such file, it is no plain file, may not be read, or has more than `most_bytes`.
    """
    where = where or str(path)
    try:
        facts = path.stat()
        if stat.S_ISDIR(facts.st_mode):
            raise unreadable("no-file", where=where, what="this is a folder, not a file", try_=folder)
        if not stat.S_ISREG(facts.st_mode):
            raise unreadable("no-file", where=where, what="this is a device, a pipe or a socket, not a file",
                             try_="Save it as a file first, and name that.")
        if facts.st_size <= most_bytes:
            with path.open("rb") as file:
                data = file.read(most_bytes + 1)        # it may have grown since
        size = facts.st_size if facts.st_size > most_bytes else len(data)
    except FileNotFoundError:
        raise unreadable("no-file", where=where, what="there is no such file", try_="Check the name and the folder.") \
            from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise unreadable("no-file", where=where, what=f"the file cannot be read ({reason})",
                         try_="Check the name, the folder and that you may read it.") from None
    if size > most_bytes:
        raise unreadable("too-large", where=where,
                         what=f"the file has {_size(size)}, more than {_size(most_bytes)}", try_=large)
    return data


def _size(count: int) -> str:
    return f"{count / 2**20:.0f} MiB" if count >= 2**20 else f"{count / 2**10:.0f} KiB"


def write_file(path: Path, content: bytes | Iterable[bytes]) -> None:
    """Write a file whole or not at all, on disk before this returns; ``-`` is standard output.

    `content` may come in pieces, which are written as they are made.

    A symbolic link is followed: what it points to is written, the link stays. A kill at any moment leaves the old file
    or the new one.

    Raises
    ------
    Unreadable
        If it cannot be written, or is no regular file (a folder, a device, a pipe); nothing is left behind.
    """
    pieces = (content,) if isinstance(content, bytes) else content
    if path == STANDARD_OUTPUT:
        sys.stdout.flush()
        sys.stdout.buffer.writelines(pieces)
        sys.stdout.flush()
        return
    temporary: Path | None = None
    try:
        target = path.resolve()
        mode = _mode(target, path)
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=".lowbrass.")
        temporary = Path(name)
        with os.fdopen(handle, "wb") as file:
            file.writelines(pieces)
            file.flush()
            os.fsync(file.fileno())
        temporary.chmod(mode)
        temporary.replace(target)
        temporary = None
        _sync_folder(target.parent)
    except (OSError, ValueError, RuntimeError) as error:      # RuntimeError: links in a circle, on Python below 3.13
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise _cannot(path, f"cannot be written ({reason})") from error
    finally:
        # Also when the user breaks it off.
        if temporary is not None:
            temporary.unlink(missing_ok=True)


def _mode(target: Path, path: Path) -> int:
    """Return the rights of the file to be written: those of the one that is there, else those of any new file."""
    try:
        there = target.stat()
    except FileNotFoundError:
        return 0o666 & ~_umask()
    if not stat.S_ISREG(there.st_mode):
        kinds = ((stat.S_ISDIR, "a folder"), (stat.S_ISFIFO, "a pipe"), (stat.S_ISSOCK, "a socket"))
        kind = next((name for is_one, name in kinds if is_one(there.st_mode)), "a device")
        raise _cannot(path, f"is {kind}, not a file")
    return stat.S_IMODE(there.st_mode)


def _cannot(path: Path, what: str) -> Unreadable:
    return unreadable("cannot-write", where=one_line(str(path)), what=what, try_="Choose another folder or name.")


def _sync_folder(folder: Path) -> None:
    """Put the new name on disk too; where a folder cannot be opened or synced, the file alone has to do."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
