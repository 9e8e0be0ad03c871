"""Connections that bring no request are let go, so that whoever holds many open keeps nobody else out."""

import asyncio
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_TIME_S = 5.0
"""Longest time for the head of a request; judged: on this very machine it takes a few milliseconds."""
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

        def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
            super().connection_made(transport)
            self.made_s = self.loop.time()
            silent = [other for other in self.connections if isinstance(other, Impatient) and other.waits_for_head()]
            if len(silent) > MOST_SILENT:
                min(silent, key=lambda other: other.made_s).transport.abort()
            self.begin_waiting()

        def connection_lost(self, exc: Exception | None) -> None:
            self.end_waiting()
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

        def drop(self) -> None:
            self.head_timer = None
            if self.waits_for_head() and not self.transport.is_closing():
                self.transport.abort()

    return Impatient
