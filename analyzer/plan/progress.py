"""How far a player has come: valve states learned and moves that are secure, as texts that a teacher can edit.

A move is told by the two labels of the hand, without pitches, and is good in both directions: ``T1 to 4``. In short,
with a dash, where that is clear: ``T1-4``. Labels count on every horn that has them: ``1 to 2`` are two positions on a
slide and two valves on a euphonium.
"""

import re
from collections.abc import Iterable
from typing import Any

Pair = tuple[str, str]
"""The labels of a move, as `Candidate.label` has them."""

_STATE = re.compile(r"[A-Z]+|[1-9](-[1-9])*")
_LABEL = re.compile(r"[A-Z]*[1-9][#b]?|0|[1-9](-[1-9])+")
_BETWEEN = re.compile(r"\s*(?:→|>|–)\s*|\s+to\s+|\s+-\s+")


def parse_state(text: str) -> str:
    """Read a valve state, such as ``T``, ``TS`` or ``1-3``.

    Raises
    ------
    ValueError
        If it is none.

    Examples
    --------
    >>> parse_state(" TS "), parse_state("1-3")
    ('TS', '1-3')
    """
    state = text.strip()
    if not _STATE.fullmatch(state):
        raise ValueError(f"'{text}' is no valve state")
    return state


def parse_move(text: str) -> Pair:
    """Read a move.

    Raises
    ------
    ValueError
        If it is none, or if it could be read in two ways.

    Examples
    --------
    >>> parse_move("T1-4"), parse_move("T1 to 2#"), parse_move("1-3 to 0")
    (('T1', '4'), ('T1', '2#'), ('1-3', '0'))
    """
    plain = text.strip().replace("♯", "#").replace("♭", "b")
    ends = _BETWEEN.split(plain)
    if len(ends) == 1:
        ends = plain.split("-")
    if len(ends) != 2 or not all(_LABEL.fullmatch(end) for end in ends) or ends[0] == ends[1]:
        raise ValueError(f"'{text}' is no move")
    return ends[0], ends[1]


def move_text(pair: Pair) -> str:
    """Return a move from the player file.

    Examples
    --------
    >>> move_text(("T1", "4"))
    'T1 to 4'
    """
    return f"{pair[0]} to {pair[1]}"


def both_ways(pairs: Iterable[Pair]) -> frozenset[Pair]:
    """Return the moves in both directions.

    Examples
    --------
    >>> sorted(both_ways([("T1", "4")]))
    [('4', 'T1'), ('T1', '4')]
    """
    return frozenset(way for a, b in pairs for way in ((a, b), (b, a)))


def recorded(text: str, *, learned: Iterable[str] = (), secure: Iterable[Pair] = (), again: Iterable[str] = ()) -> str:
    """Return a player file with more learned and secure, or some of it taken back; all else stays as it is written.

    Parameters
    ----------
    text : str
        The file, valid TOML.
    learned, secure : iterables
        Valve states and moves to add; what stands there already is not added twice. A file without `learned` counts
        every state as learned, so there is nothing to add to it.
    again : iterable of str
        States or moves to take back, as the file or the user writes them.

    Raises
    ------
    ValueError
        If something to take back does not stand there, or names a state and a move alike.
    ImportError
        If tomlkit (extra `progress`) is not installed.
    """
    import tomlkit

    document = tomlkit.parse(text)
    player: Any = document.setdefault("player", tomlkit.table())
    if "learned" in player:
        for state in learned:
            if state not in player["learned"]:
                player["learned"].append(state)
    for pair in secure:
        if not _places(player, pair):
            player.setdefault("secure", tomlkit.array()).append(move_text(pair))
    for one in again:
        _take_back(player, one)
    return tomlkit.dumps(document)


def _places(player: Any, pair: Pair) -> list[int]:
    """Where a move stands in the list, in either direction."""
    return [k for k, text in enumerate(player.get("secure", ())) if parse_move(text) in (pair, pair[::-1])]


def _take_back(player: Any, text: str) -> None:
    state = text.strip()
    states = [k for k, known in enumerate(player.get("learned", ())) if known == state]
    try:
        moves = _places(player, parse_move(text))
    except ValueError:
        moves = []
    if states and moves:
        raise ValueError(f"'{text}' is a valve state and a move here; write the move with 'to'")
    if not states and not moves:
        raise ValueError(f"'{text}' stands neither in learned nor in secure")
    for key, places in (("learned", states), ("secure", moves)):
        for k in reversed(places):
            del player[key][k]


def with_limits(text: str, limits: dict[str, float]) -> str:
    """Return a player file with these numbers under ``[player]``; all else stays as it is written.

    Raises
    ------
    ImportError
        If tomlkit (extra `progress`) is not installed.
    """
    import tomlkit

    document = tomlkit.parse(text)
    player: Any = document.setdefault("player", tomlkit.table())
    for key, value in limits.items():
        player[key] = value
    return tomlkit.dumps(document)
