"""What becomes of a fault of our own: one line for the user, and the traceback in a private file for a report."""

import os
import platform
import sys
import time
import traceback
from pathlib import Path


def state_folder() -> Path:
    """Return the folder for what the program keeps of itself; it may not be there yet.

    ``$LOWBRASS_STATE`` if that is set, else where the system keeps such things (XDG Base Directory Specification 0.8).
    """
    given = os.environ.get("LOWBRASS_STATE")
    if given:
        return Path(given)
    home = Path.home()
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or home / "AppData" / "Local") / "lowbrass"
    if sys.platform == "darwin":
        return home / "Library" / "Application Support" / "lowbrass"
    return Path(os.environ.get("XDG_STATE_HOME") or home / ".local" / "state") / "lowbrass"


def reported(error: BaseException) -> str:
    """Write down a fault that nothing caught and return the line for the user.

    The file holds the traceback, the versions and nothing else: no score, no file of a player, no command line. Only
    its owner can read it.
    """
    what = f"{type(error).__name__} in {_place(error)}"
    try:
        path = _written("".join(traceback.format_exception(error)))
    except (OSError, RuntimeError):                      # RuntimeError: no home is known
        return (f"lowbrass has a fault ({what}); nothing was written. A report could not be saved in the state folder "
                "either. [fault]")
    return (f"lowbrass has a fault ({what}). A report for its developers is in {path}; it holds no score. Look through "
            "it before you send it. [fault]")


def _place(error: BaseException) -> str:
    frames = traceback.extract_tb(error.__traceback__)
    if not frames:
        return "an unknown place"
    return f"{Path(frames[-1].filename).name}, line {frames[-1].lineno}"


def _written(trace: str) -> Path:
    import analyzer

    folder = state_folder()
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    path = folder / f"fault-{time.strftime('%Y%m%d-%H%M%S')}-{os.getpid()}.txt"
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "w", encoding="utf-8", errors="replace") as file:
        file.write(f"lowbrass {analyzer.__version__}, Python {platform.python_version()}, {platform.platform()}\n\n")
        file.write(trace)
    return path
