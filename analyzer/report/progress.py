"""What a player has learned, told: document and text."""

from pathlib import Path
from typing import Any

from analyzer.plan.player import Player
from analyzer.plan.progress import move_text

SCHEMA = "lowbrass.progress/1"


def progress_document(path: Path, player: Player) -> dict[str, Any]:
    """Return the JSON document; `learned` is null where every state counts as learned."""
    return {"schema": SCHEMA, "file": path.name, "name": player.name,
            "learned": None if player.learned is None else list(player.learned),
            "secure": [move_text(pair) for pair in player.secure]}


def progress_text(player: Player) -> str:
    """Return the same in words."""
    learned = "every valve state, as none is listed"
    if player.learned is not None:
        learned = ", ".join(player.learned) or "none yet"
    secure = ", ".join(move_text(pair) for pair in player.secure) or "none yet"
    return "\n".join([player.name, f"  learned: {learned}", f"  secure, both ways: {secure}"])
