"""What a running page takes at its bounds: ``python -m tests.web.measure_bounds`` prints seconds and memory.

Memory is the proportional set size of the server and its processes (proc(5), smaps_rollup), looked at ten times a
second; seconds are those of the client.
"""

import asyncio
import json
import os
import re
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, NamedTuple

import httpx

from tests.score.build import note, score
from tests.web.running import served
from tests.web.test_serve import children

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_scores"
MIB = 2**20


def memory_mib(pid: int) -> float:
    """Return what a process and its children take. [MiB]"""
    total = 0.0
    for each in (pid, *children(pid)):
        try:
            found = re.search(r"^Pss:\s+(\d+) kB", Path(f"/proc/{each}/smaps_rollup").read_text(), re.MULTILINE)
        except OSError:
            continue
        total += int(found[1]) / 1024 if found else 0
    return total


@contextmanager
def watched(pid: int) -> Iterator[Callable[[], float]]:
    """Look at the memory all the while; yield what tells the most so far."""
    most, done = [0.0], threading.Event()

    def look() -> None:
        while not done.wait(0.1):
            most[0] = max(most[0], memory_mib(pid))

    thread = threading.Thread(target=look)
    thread.start()
    try:
        yield lambda: most[0]
    finally:
        done.set()
        thread.join()


def many_notes(count: int) -> bytes:
    """Return a trombone part of so many eighth notes, as short as MusicXML allows."""
    pitches = ("Bb2", "C3", "D3", "Eb3", "F3", "G3", "A3", "Bb3")
    measure = "".join(note(pitch, 2) for pitch in pitches)
    return score(*[measure] * (count // len(pitches)))


class Found(NamedTuple):
    """What was measured, as text and in figures."""

    said: str
    most_mib: float = 0.0
    answered: int = 0


class Client:
    """A browser's part, without the browser."""

    def __init__(self, address: str) -> None:
        self.base, key = address.split("#key=")
        self.head = {"X-Lowbrass-Token": key}

    def post(self, path: str, content: bytes | str) -> httpx.Response:
        return httpx.post(f"{self.base}api/{path}", content=content, headers=self.head, timeout=180)

    def opened(self, data: bytes) -> httpx.Response:
        return self.post("open?keep=no", data)

    @staticmethod
    def question(found: dict[str, Any], **more: object) -> str:
        return json.dumps({"session": found["session"], "part": found["parts"][0]["id"], "line": 1, "width": 900,
                           **more})


def sixty_uploads(address: str, pid: int) -> Found:
    """Sixty scores opened and planned, each another part of the samples' size."""
    client = Client(address)
    files = [path.read_bytes() for path in sorted(SAMPLES.glob("*.m*l"))]
    with watched(pid) as most:
        begin = time.perf_counter()
        for nth in range(60):
            found = client.opened(files[nth % len(files)]).json()
            assert client.post("plan", client.question(found)).status_code == 200
            assert client.post("music", client.question(found)).status_code == 200
        seconds = time.perf_counter() - begin
        left = memory_mib(pid)
    return Found(f"60 scores opened, planned, engraved: {seconds:.1f} s, {most():.0f} MiB at most, {left:.0f} after",
                 most(), 60)


def large_uploads(address: str, pid: int) -> Found:
    """Sixty uploads of a large score (5 MiB), at once."""
    data = many_notes(40_000)
    head = {"X-Lowbrass-Token": Client(address).head["X-Lowbrass-Token"]}

    async def all_at_once() -> list[int]:
        async with httpx.AsyncClient(base_url=Client(address).base, headers=head, timeout=600) as client:
            replies = await asyncio.gather(*(client.post("api/open?keep=no", content=data) for _ in range(60)))
            return [reply.status_code for reply in replies]

    with watched(pid) as most:
        begin = time.perf_counter()
        codes = asyncio.run(all_at_once())
        seconds = time.perf_counter() - begin
    return Found(f"60 uploads of {len(data) / MIB:.1f} MiB at once: {codes.count(200)} opened, {seconds:.1f} s, "
                 f"{most():.0f} MiB at most", most(), codes.count(200))


def too_many_notes(address: str, pid: int, count: int) -> Found:
    """Open a part of so many notes and ask for its plan, its music and its review."""
    client, data = Client(address), many_notes(count)
    said, answered, line = [], 0, ""
    with watched(pid) as most:
        begin = time.perf_counter()
        found = client.opened(data).json()
        said.append(f"opened after {time.perf_counter() - begin:.1f} s")
        for path in ("plan", "music", "review", "sound"):
            begin = time.perf_counter()
            answer = client.post(path, client.question(found))
            said.append(f"{path} {answer.status_code} after {time.perf_counter() - begin:.1f} s")
            answered += answer.status_code == 200
            line = line if answer.status_code == 200 else answer.json()["line"]
    answered = answered or int("are more than are planned at once" in line)
    return Found(f"{count:,} notes, {len(data) / MIB:.0f} MiB: {', '.join(said)}; {most():.0f} MiB at most. {line}",
                 most(), answered)


def hundred_clients(address: str, pid: int) -> Found:
    """A hundred clients that open a score and ask for its plan, at once."""
    data, client = (SAMPLES / "attachment-etude.musicxml").read_bytes(), Client(address)

    async def one(session: httpx.AsyncClient) -> tuple[int, float]:
        begin = time.perf_counter()
        found = await session.post("api/open?keep=no", content=data)
        reply = await session.post("api/plan", content=client.question(found.json()))
        return reply.status_code, time.perf_counter() - begin

    async def all_at_once() -> list[tuple[int, float]]:
        async with httpx.AsyncClient(base_url=client.base, headers=client.head, timeout=300,
                                     limits=httpx.Limits(max_connections=100)) as session:
            return await asyncio.gather(*(one(session) for _ in range(100)))

    with watched(pid) as most:
        replies = asyncio.run(all_at_once())
    good = sum(code == 200 for code, _ in replies)
    return Found(f"100 clients at once: {good} answered, slowest {max(s for _, s in replies):.1f} s, {most():.0f} MiB",
                 most(), good)


def given_up(address: str, pid: int) -> Found:
    """A plan of 19,000 notes that is given up after half a second: how long until another answer comes."""
    client = Client(address)
    found = client.opened(many_notes(19_000)).json()
    small = client.opened((SAMPLES / "attachment-etude.musicxml").read_bytes()).json()
    before = children(pid)
    with suppress(httpx.ReadTimeout):
        httpx.post(f"{client.base}api/plan", content=client.question(found), headers=client.head, timeout=0.5)
    begin = time.perf_counter()
    assert client.post("plan", client.question(small)).status_code == 200
    seconds = time.perf_counter() - begin
    time.sleep(3)
    gone = sum(each not in children(pid) for each in before)
    return Found(f"a plan given up: its process ended: {gone == 1}; the next answer after {seconds:.1f} s", 0, gone)


def main() -> None:
    """Measure one after another, each with a page of its own."""
    print(f"load {os.getloadavg()[0]:.0f}")
    for measure in (sixty_uploads, hundred_clients, given_up, large_uploads,
                    lambda address, pid: too_many_notes(address, pid, 19_000),
                    lambda address, pid: too_many_notes(address, pid, 200_000)):
        with served() as (process, address):
            time.sleep(1)
            print(measure(address, process.pid).said, flush=True)


if __name__ == "__main__":
    main()
