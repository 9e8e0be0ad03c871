"""Slurs and glissandi of the .mscx form: two ends that name each other, joined when both are met.

An end without a fellow (its staff is another, its file is damaged) is left out: half a slur would tie everything that
follows. Ends may come in either order, as the file writes one voice of a measure after the other.
"""

from collections.abc import Callable, Hashable

Write = Callable[[str, int], None]
"""Takes "start" or "stop" and the number of the pair."""


class Pairs:
    """Pairs of one kind in one part."""

    def __init__(self) -> None:
        self.begun: dict[Hashable, list[tuple[int, Write]]] = {}
        self.ended: dict[Hashable, list[Write]] = {}
        self.used: set[int] = set()

    def number(self) -> int:
        """Return a number, 1 to 16, that no open pair has."""
        return next((number for number in range(1, 17) if number not in self.used), 16)

    def start(self, key: Hashable, write: Write) -> None:
        """Note a beginning."""
        waiting = self.ended.get(key)
        if waiting:
            number = self.number()
            write("start", number)
            waiting.pop(0)("stop", number)
            return
        number = self.number()
        self.used.add(number)
        self.begun.setdefault(key, []).append((number, write))

    def stop(self, key: Hashable, write: Write) -> None:
        """Note an end."""
        waiting = self.begun.get(key)
        if not waiting:
            self.ended.setdefault(key, []).append(write)
            return
        number, begin = waiting.pop(0)
        self.used.discard(number)
        begin("start", number)
        write("stop", number)

    def next_measure(self) -> None:
        """Forget ends without a beginning: a later one cannot be theirs."""
        self.ended.clear()
