"""Names of files that every file system takes, in folders where others keep theirs too."""

import re
import unicodedata
from collections.abc import Iterable, Iterator
from pathlib import Path

_FORBIDDEN = re.compile(r'[\x00-\x1f\x7f-\x9f<>:"/\\|?*\u200e\u200f\u202a-\u202e\u2066-\u2069]+')
_RESERVED = frozenset({"con", "prn", "aux", "nul", *(f"com{nth}" for nth in range(1, 10)),
                       *(f"lpt{nth}" for nth in range(1, 10))})
_MOST_BYTES = 120
_HALF = re.compile(r"\.lowbrass\.[A-Za-z0-9_]{8}")          # what a killed run leaves: see `files.write_file`


def safe_name(text: str) -> str:
    """Return a text as a file name without an ending: no path, no sign that some system refuses, not too long.

    Examples
    --------
    >>> safe_name("Jo/../x: 1st. "), safe_name("con")
    ('Jo x 1st', 'con_')
    """
    name = unicodedata.normalize("NFC", _FORBIDDEN.sub(" ", text).replace("..", " "))
    name = " ".join(name.split()).strip(" .")
    while len(name.encode()) > _MOST_BYTES:
        name = name[:-1]
    name = name.strip(" .") or "player"
    return f"{name}_" if name.casefold() in _RESERVED else name


def file_name(number: int, text: str, ending: str, taken: Iterable[str]) -> str:
    """Return a numbered name that differs from those taken, whatever the case of letters."""
    used = {name.casefold() for name in taken}
    bare = f"{number:02d} {safe_name(text)}"
    name, nth = f"{bare}{ending}", 2
    while name.casefold() in used:
        name, nth = f"{bare} ({nth}){ending}", nth + 1
    return name


def stale(folder: Path) -> Iterator[Path]:
    """Yield what a killed run of ours left half-written in a folder."""
    for path in folder.iterdir():
        if _HALF.fullmatch(path.name) and path.is_file() and not path.is_symlink():
            yield path
