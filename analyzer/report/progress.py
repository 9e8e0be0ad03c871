"""What a player has learned, told: document and text."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from analyzer.plan.heard import Heard
from analyzer.plan.player import Player
from analyzer.plan.practiced import Practiced
from analyzer.plan.progress import move_text

SCHEMA = "lowbrass.progress/1"


def progress_document(path: Path, player: Player, practiced: Sequence[Practiced] = (),
                      heard: Sequence[Heard] = ()) -> dict[str, Any]:
    """Return the JSON document; `learned` is null where every state counts as learned."""
    return {"schema": SCHEMA, "file": path.name, "name": player.name,
            "learned": None if player.learned is None else list(player.learned),
            "secure": [move_text(pair) for pair in player.secure],
            "practiced": [{"score": row.score, "part": row.part, "measures": list(row.measures), "beat": row.beat,
                           "bpm": row.bpm, "goal_bpm": row.goal_bpm, "times": row.times, "last_day": row.last_day}
                          for row in practiced],
            "heard": [{"score": row.score, "part": row.part, "measures": list(row.measures), "day": row.day,
                       "notes": row.notes, "right": row.right, "late": row.late,
                       "median_off_cents": row.median_off_cents} for row in heard]}


def progress_text(player: Player, practiced: Sequence[Practiced] = (), heard: Sequence[Heard] = ()) -> str:
    """Return the same in words."""
    learned = "every valve state, as none is listed"
    if player.learned is not None:
        learned = ", ".join(player.learned) or "none yet"
    secure = ", ".join(move_text(pair) for pair in player.secure) or "none yet"
    ticked = [f"  {row.said()}" for row in practiced]
    if ticked:
        ticked.append("  Ticks are the student's own word; what is secure is yours to say (--secure).")
    by_passage: dict[tuple[str, str, tuple[str, str]], list[Heard]] = {}
    for row in heard:
        by_passage.setdefault(row.passage, []).append(row)
    for (score, part, (first, last)), rows in by_passage.items():
        ticked.append(f"  recorded: {score}, {part}, mm. {first}-{last}")
        ticked += [f"    {row.said()}" for row in rows[-5:]]
    return "\n".join([player.name, f"  learned: {learned}", f"  secure, both ways: {secure}", *ticked])
