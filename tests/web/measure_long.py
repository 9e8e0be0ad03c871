"""Measure how soon a long or large score answers in a real browser: ``python -m tests.web.measure_long [SCORE…]``.

From the file's choice to the answer's sentence, to the first music, and to all of it: seconds, and seconds of processor
time of the page's program and the browser together, which hold on a busy machine, too. Invented scores: 1,000 measures;
44 parts in 15 MB; the march for a section of 30. Files that are named are measured beside them.
"""

import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

import psutil

from tests.benchmarks import making
from tests.benchmarks.measuring import Figure, shown_s
from tests.web.browsing import expect, opened_tab, rested, started_browser
from tests.web.conftest import SAMPLES
from tests.web.running import served

LONGEST_MS = 120_000
FIRST_S, LARGE_MEASURES, ROUNDS = 2.0, 136, 5
PARTS = (*(f"Flute {k}" for k in range(1, 31)), "Trombone 1", "Trombone 2", "Bass Trombone", "Euphonium", "Tuba 1",
         "Tuba 2", *(f"Horn {k}" for k in range(1, 9)))


def section(players: int) -> str:
    """Return a section file of many players."""
    horns = ("tenor-f", "tenor", "bass-independent", "euphonium-3", "euphonium-4-compensating")
    return "".join(f'[[player]]\nname = "Chair {k + 1}"\nhorns = ["{horns[k % len(horns)]}"]\nlow = "E2"\n'
                   f'high = "F4"\nlevel = "intermediate"\n' for k in range(players))


class Spent:
    """Processor time of a process and all that it started. [s]"""

    def __init__(self, *roots: int) -> None:
        self.roots, self.seen = roots, {}

    def __call__(self) -> float:
        for root in self.roots:
            for process in [psutil.Process(root), *psutil.Process(root).children(recursive=True)]:
                with suppress(psutil.NoSuchProcess):
                    times = process.cpu_times()
                    self.seen[process.pid] = times.user + times.system
        return sum(self.seen.values())


def browsers() -> list[int]:
    """Ids of the browsers that this process started."""
    return [process.pid for process in psutil.Process().children(recursive=True) if "chrom" in process.name()]


def waited(spent: Spent, steps: dict[str, Callable[[], object]]) -> Iterator[tuple[str, float, float]]:
    """Wait for one thing after another: its name, seconds and processor seconds since the beginning."""
    begun_s, before_s = time.perf_counter(), spent()
    for name, wait in steps.items():
        wait()
        yield name, time.perf_counter() - begun_s, spent() - before_s


def opened(page, score: Path, pid: int) -> Iterator[tuple[str, float, float]]:
    """Choose a file; yield, as in `waited`, when the page says so, its first answer, first music and all of it."""
    spent = Spent(pid, *browsers())
    page.locator("#summary").evaluate("place => place.replaceChildren()")
    page.locator("#music").evaluate("place => place.replaceChildren()")
    page.set_input_files("#file", str(score))
    said = page.locator("#start-busy, #busy").locator("visible=true").first
    yield from waited(spent, {
        "told": lambda: expect(said).to_be_visible(timeout=LONGEST_MS),
        "answer": lambda: expect(page.locator("#summary")).not_to_be_empty(timeout=LONGEST_MS),
        "first music": lambda: expect(page.locator("#music svg .mark").first).to_be_visible(timeout=LONGEST_MS),
        "all music": lambda: expect(page.locator("#to-come")).to_be_hidden(timeout=LONGEST_MS),
    })
    rested(page)


def looked_at(page, score: Path, pid: int) -> None:
    """Print how soon a score's part answers."""
    for name, took_s, processor_s in opened(page, score, pid):
        print(f"{score.name} ({score.stat().st_size / 1e6:.1f} MB), {name}: {took_s:.1f} s, {processor_s:.1f} s of "
              "processor time", flush=True)
    print(f"  {page.locator('#music > svg').count()} systems, {page.locator('#music .hot[role=button]').count()} notes")
    page.locator("#home").click()


def fitted(page, folder: Path, pid: int, players: int) -> None:
    """Print how soon a large section has its verdict."""
    file = folder / "section.toml"
    file.write_text(section(players), encoding="utf-8")
    page.set_input_files("#file-section", str(SAMPLES / "harbour-march-trio.musicxml"))
    expect(page.locator("#view-section")).to_be_visible()
    rested(page)
    page.set_input_files("#section-file", str(file))
    expect(page.locator("#members fieldset")).to_have_count(players)
    spent = Spent(pid, *browsers())
    page.locator("#fit").click()
    for name, took_s, processor_s in waited(spent, {"verdict": lambda: expect(
            page.locator("#verdict")).to_be_visible(timeout=LONGEST_MS)}):
        print(f"{players} players, {name}: {took_s:.1f} s, {processor_s:.1f} s of processor time")


def figures() -> list[Figure]:
    """Rows of the table: a large score's first answer in a browser, and what is told meanwhile."""
    found: list[dict[str, tuple[float, float]]] = []
    with served() as (process, address), tempfile.TemporaryDirectory() as folder:
        score = Path(folder) / "orchestra.musicxml"
        score.write_bytes(making.score(PARTS, LARGE_MEASURES))
        size = score.stat().st_size / 1e6
        for browser in started_browser():
            for page in opened_tab(browser, address, "laptop"):
                for _ in range(ROUNDS):
                    found.append({name: times for name, *times in opened(page, score, process.pid)})
                    page.locator("#home").click()

    def middle(name: str, which: int) -> float:
        return statistics.median(one[name][which] for one in found)

    return [Figure(what=f"{what} on the page, score of {size:.0f} MB, as one waits (of processor time, the browser's "
                   f"too, {shown_s(middle(name, 1))}; told that it is read after {shown_s(middle('told', 0))}) / 2 s",
                   ours=shown_s(middle(name, 0)), theirs=shown_s(FIRST_S), value=middle(name, 0) / FIRST_S, limit=1)
            for name, what in (("answer", "first answer"), ("first music", "first music"))]


def main(named: list[str]) -> None:
    """Measure all."""
    with served() as (process, address), tempfile.TemporaryDirectory() as folder:
        scores = [Path(folder) / "thousand.musicxml", Path(folder) / "44-parts.musicxml"]
        scores[0].write_bytes(making.study(1000))
        scores[1].write_bytes(making.score(PARTS, 200))
        for browser in started_browser():
            for page in opened_tab(browser, address, "laptop"):
                for score in [*scores, *map(Path, named)]:
                    looked_at(page, score, process.pid)
                fitted(page, Path(folder), process.pid, 30)


if __name__ == "__main__":
    main(sys.argv[1:])
