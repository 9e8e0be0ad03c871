"""Files are written whole or not at all."""

import os
import tempfile
from pathlib import Path

from analyzer.problem import unreadable


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
