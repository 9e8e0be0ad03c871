"""Files are read within bounds, and written whole or not at all."""

import os
import stat
import tempfile
from pathlib import Path

from analyzer.problem import unreadable


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


def write_file(path: Path, content: bytes) -> None:
    """Write a file whole or not at all.

    Raises
    ------
    Unreadable
        If it cannot be written; nothing is left behind.
    """
    temporary: str | None = None
    try:
        handle, temporary = tempfile.mkstemp(dir=path.parent or Path(), prefix=f".{path.name}.")
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        Path(temporary).chmod(path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_umask())
        Path(temporary).replace(path)
    except OSError as error:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)
        raise unreadable("cannot-write", where=str(path), what=f"cannot be written ({error.strerror})",
                         try_="Choose another folder or name.") from error


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
