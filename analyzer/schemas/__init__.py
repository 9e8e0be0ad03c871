"""JSON Schemas (draft 2020-12) of every document that a command prints, one file a document.

The files are built by `analyzer.schemas.build`; each stands alone.
"""

import json
from pathlib import Path
from typing import Any

_FOLDER = Path(__file__).parent


def schema_names() -> tuple[str, ...]:
    """Return the names of all schemas: a document's ``schema`` without ``lowbrass.`` and version."""
    return tuple(sorted(path.stem for path in _FOLDER.glob("*.json")))


def schema(name: str) -> dict[str, Any]:
    """Return the JSON Schema of a document, by its name (``"map"``) or by what its ``schema`` says.

    Raises
    ------
    ValueError
        If there is no document of that name.

    Examples
    --------
    >>> schema("lowbrass.chart/1")["title"]
    'lowbrass.chart/1'
    """
    wanted = name.removeprefix("lowbrass.").partition("/")[0]
    if wanted not in schema_names():
        raise ValueError(f"there is no schema '{name}'; known: {', '.join(schema_names())}.")
    found: dict[str, Any] = json.loads((_FOLDER / f"{wanted}.json").read_text(encoding="utf-8"))
    return found
