"""When a take-home page is ready on a slow phone, how long it takes to make, how large it is.

Print the tables (Markdown)::

    python -m tests.benchmarks.test_bench_home

The phone is Chromium with its processor slowed four times, the page opened from a file. Ready is when a mark stands in
the view in its own face, painted, and the controls answer: looked for from outside at every frame. The time as one
waits is that of two cores, other work on them included; the main thread's own time, which the limit is put to, hardly
is, and leaves a fifth for the browser's other processes.
"""

import os
import resource
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.benchmarks import making
from tests.benchmarks.measuring import Figure, shown_s

REPEATS = 7
SLOWED = 4
MOST_S, MADE_S, MOST_BYTES = 1.0, 2.0, 1_500_000
ETUDE = Path(__file__).parents[2] / "sample_scores" / "attachment-etude.musicxml"
# At every frame: is a mark in sight, in its face, and the page done? Then when that frame is over.
SEEN = """(function look() { requestAnimationFrame(() => {
    const box = document.querySelector(".sheet [data-ref]")?.getBoundingClientRect();
    const faces = document.fonts.status === "loaded";
    if (!document.body?.dataset.ready || !box?.width || box.top > innerHeight || !faces) return look();
    const after = new MessageChannel();
    after.port1.onmessage = () => { performance.mark("take-home seen"); window.seen_ms = performance.now(); };
    after.port2.postMessage(0);
}); })();"""


@contextmanager
def browser() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        yield started
        started.close()


def ready_s(started: Any, path: Path, slowed: int) -> tuple[float, float]:
    """Seconds from opening a page until it is ready, and those of the main thread itself until then."""
    context = started.new_context(viewport={"width": 390, "height": 844}, device_scale_factor=2)
    page = context.new_page()
    context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": slowed})
    page.add_init_script(SEEN)
    traced = started.new_browser_cdp_session()
    events: list[dict[str, Any]] = []
    over: list[object] = []
    traced.on("Tracing.dataCollected", lambda told: events.extend(told["value"]))
    traced.on("Tracing.tracingComplete", lambda told: over.append(told))
    traced.send("Tracing.start", {"transferMode": "ReportEvents", "traceConfig": {"includedCategories": [
        "devtools.timeline", "disabled-by-default-devtools.timeline", "blink.user_timing"]}})
    page.goto(path.as_uri())
    while not page.evaluate("window.seen_ms ?? 0"):
        page.wait_for_timeout(50)
    found = page.evaluate("window.seen_ms") / 1000
    traced.send("Tracing.end")
    while not over:
        page.wait_for_timeout(50)
    traced.detach()
    context.close()
    return found, _main_thread_s(events, found)


def _main_thread_s(events: Sequence[dict[str, Any]], ready: float) -> float:
    """Processor time of the thread that says when the page was seen, in the time before."""
    seen = next(event for event in events if event["name"] == "take-home seen")
    thread = seen["pid"], seen["tid"]
    return sum(event.get("tdur", 0) for event in events
               if event["name"] == "RunTask" and (event["pid"], event["tid"]) == thread
               and seen["ts"] - ready * 1e6 <= event["ts"] < seen["ts"]) / 1e6


def made(folder: Path, score: Path) -> tuple[Path, float]:
    """Make the page of a score in a process of its own; return it and the processor time of all of that process."""
    page = folder / f"{score.stem}.html"
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, "-m", "analyzer", "take-home", score, "-o", page], check=True,
                   capture_output=True)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return page, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def figures() -> list[Figure]:
    """Rows of the table: an etude of 32 measures, and a part of 300 measures beside it."""
    with tempfile.TemporaryDirectory() as name, browser() as started:
        folder = Path(name)
        long = folder / "long.musicxml"
        long.write_bytes(making.study(300))
        short_page, long_page = made(folder, ETUDE)[0], made(folder, long)[0]
        costs = [statistics.median(made(folder, score)[1] for _ in range(3)) for score in (ETUDE, long)]
        ready_s(started, short_page, 1)                       # the browser's own beginning is not the page's
        rounds = [[ready_s(started, page, slowed) for page, slowed in (
            (short_page, SLOWED), (long_page, SLOWED), (short_page, 1))] for _ in range(REPEATS)]
        short, far, plain = (statistics.median(one[nth][0] for one in rounds) for nth in range(3))
        own, own_far, own_plain = (statistics.median(one[nth][1] for one in rounds) for nth in range(3))
        sizes = [page.stat().st_size for page in (short_page, long_page)]
    return [
        Figure(what=f"page of 32 measures until ready, processor slowed {SLOWED} times, main thread's own time (as one "
                    f"waits {shown_s(short)}, not slowed {shown_s(plain)}, load {os.getloadavg()[0]:.0f}) / a second",
               ours=shown_s(own), theirs=shown_s(MOST_S), value=own / MOST_S, limit=0.8),
        Figure(what="the same / not slowed", ours=shown_s(own), theirs=shown_s(own_plain), value=own / own_plain,
               limit=10),
        Figure(what=f"page of 300 measures, 2,400 notes, until ready (as one waits {shown_s(far)}) / of 32 measures",
               ours=shown_s(own_far), theirs=shown_s(own), value=own_far / own, limit=2),
        Figure(what="page of 32 measures made, processor time of the command / two seconds", ours=shown_s(costs[0]),
               theirs=shown_s(MADE_S), value=costs[0] / MADE_S, limit=1),
        Figure(what="page of 300 measures made / of 32 measures", ours=shown_s(costs[1]), theirs=shown_s(costs[0]),
               value=costs[1] / costs[0], limit=10),
        Figure(what="bytes of the page of 32 measures / 1.5 MB", ours=f"{sizes[0] / 1e6:.2f} MB", theirs="1.50 MB",
               value=sizes[0] / MOST_BYTES, limit=1),
        Figure(what="bytes of the page of 300 measures / of 32 measures", ours=f"{sizes[1] / 1e6:.2f} MB",
               theirs=f"{sizes[0] / 1e6:.2f} MB", value=sizes[1] / sizes[0], limit=12),
    ]


@pytest.mark.benchmark_suite
def test_page_is_ready_small_and_made_in_time() -> None:
    pytest.importorskip("playwright.sync_api")
    found = figures()
    assert [figure.row() for figure in found if figure.value > figure.limit] == []


if __name__ == "__main__":
    from tests.benchmarks.measuring import table

    print(table(figures()))
