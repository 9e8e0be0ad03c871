"""Clients that do not take their answers are let go; those that take them, however long they are, are served."""

import asyncio
import socket

import pytest

pytest.importorskip("uvicorn", reason="the extra web is not installed")
import uvicorn

from analyzer.web import clients

ANSWER = b"x" * 16 * 2**20


async def app(scope, receive, send) -> None:
    assert scope["type"] == "http"
    await send({"type": "http.response.start", "status": 200,
                "headers": [(b"content-length", str(len(ANSWER)).encode())]})
    await send({"type": "http.response.body", "body": ANSWER})


async def _with_server(work) -> object:
    listener = socket.socket()
    listener.bind(("127.0.0.1", 0))
    listener.listen()
    server = uvicorn.Server(uvicorn.Config(app, log_level="error", lifespan="off", http=clients.protocol()))
    running = asyncio.ensure_future(server.serve(sockets=[listener]))
    try:
        return await work(listener.getsockname()[1])
    finally:
        server.should_exit = server.force_exit = True
        await running
        listener.close()


async def _asked(port: int) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    reader, writer = await asyncio.open_connection("127.0.0.1", port, limit=4096)
    writer.write(b"GET / HTTP/1.1\r\nHost: x\r\n\r\n")
    await writer.drain()
    return reader, writer


async def _taken(reader: asyncio.StreamReader, piece: int, pause_s: float) -> int:
    """Read as a client does that takes so much at once and waits between; return how much came."""
    count = 0
    while count < len(ANSWER):
        found = await reader.read(piece)
        if not found:
            break
        count += len(found)
        await asyncio.sleep(pause_s)
    return count


@pytest.mark.parametrize(("pause_s", "whole"), [(0.0, True), (30.0, False)])
def test_who_takes_nothing_is_dropped(monkeypatch, pause_s: float, whole: bool) -> None:
    monkeypatch.setattr(clients, "TAKING_TIME_S", 0.4)

    async def work(port: int) -> bool:
        reader, writer = await _asked(port)
        if pause_s:
            # Nothing is read; what the system itself holds of it is not all. Then the end comes, before the whole.
            await asyncio.sleep(2.0)
        try:
            count = await _taken(reader, 65536, 0.0)
        except ConnectionResetError:
            count = 0
        writer.close()
        return count >= len(ANSWER)

    assert asyncio.run(_with_server(work)) is whole


def test_others_are_answered_meanwhile(monkeypatch) -> None:
    monkeypatch.setattr(clients, "TAKING_TIME_S", 0.4)

    async def work(port: int) -> list[bool]:
        held = [await _asked(port) for _ in range(20)]
        answered = []
        for _ in range(3):
            reader, writer = await _asked(port)
            answered.append(await _taken(reader, 65536, 0.0) >= len(ANSWER))
            writer.close()
        for _, writer in held:
            writer.close()
        return answered

    assert asyncio.run(_with_server(work)) == [True] * 3
