"""Connections that bring no request, or do not take their answer, are let go: who holds many keeps nobody else out."""

import asyncio
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_TIME_S = 5.0
"""Longest time for the head of a request; judged: on this very machine it takes a few milliseconds."""
TAKING_TIME_S, TAKING_BYTES = 10.0, 64 * 2**10
"""In so long so much of an answer must be taken, or the rest of it; judged: on this machine it takes milliseconds."""
MOST_SILENT = 100
"""Connections without a request that may stand at once; judged: a browser holds six. The oldest gives way."""
MOST_CONNECTIONS = 600
"""Connections in all, above which a new one is refused; judged: below the 1024 files that most systems let open."""


def protocol() -> "type[H11Protocol]":
    """Return uvicorn's protocol with a limit to silence."""
    from uvicorn.protocols.http.h11_impl import H11Protocol

    class Impatient(H11Protocol):
        made_s = 0.0
        head_timer: asyncio.TimerHandle | None = None
        taking_timer: asyncio.TimerHandle | None = None
        untaken: tuple[object, int] = (None, 0)        # the answer on its way, and how much of it nobody took yet

        def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
            super().connection_made(transport)
            self.made_s = self.loop.time()
            # One that is being let go stands among them a moment longer; many may come in that moment.
            silent = [other for other in self.connections if isinstance(other, Impatient) and other.waits_for_head()
                      and not other.transport.is_closing()]
            if len(silent) > MOST_SILENT:
                min(silent, key=lambda other: other.made_s).transport.abort()
            self.begin_waiting()
            self.taking_timer = self.loop.call_later(TAKING_TIME_S, self.look_whether_taken)

        def connection_lost(self, exc: Exception | None) -> None:
            self.end_waiting()
            if self.taking_timer is not None:
                self.taking_timer.cancel()
            super().connection_lost(exc)

        def data_received(self, data: bytes) -> None:
            super().data_received(data)
            # A kept connection that begins another request has no longer for it than a new one.
            if not self.waits_for_head():
                self.end_waiting()
            elif self.head_timer is None:
                self.begin_waiting()

        def waits_for_head(self) -> bool:
            return self.cycle is None or self.cycle.response_complete

        def begin_waiting(self) -> None:
            self.head_timer = self.loop.call_later(HEAD_TIME_S, self.drop)

        def end_waiting(self) -> None:
            if self.head_timer is not None:
                self.head_timer.cancel()
                self.head_timer = None

        def look_whether_taken(self) -> None:
            """Also of a connection that is being closed: that waits until all is taken."""
            left = self.transport.get_write_buffer_size()
            cycle, before = self.untaken
            if left and cycle is self.cycle and left > before - TAKING_BYTES and before:
                self.transport.abort()
                return
            self.untaken = self.cycle, left
            self.taking_timer = self.loop.call_later(TAKING_TIME_S, self.look_whether_taken)

        def drop(self) -> None:
            self.head_timer = None
            if self.waits_for_head() and not self.transport.is_closing():
                self.transport.abort()

    return Impatient
