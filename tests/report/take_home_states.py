"""Every state of a take-home page on four screens, as pictures to look at, and what is wrong with each.

Write the pictures, print the faults (axe-core, targets below 44 pixels, sideways scrolling, complaints)::

    python -m tests.report.take_home_states FOLDER [PAGE.html] [STATE...]
"""

import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from tests.axe import faults
from tests.commands.test_map import SAMPLES, run

CHROMIUM = "/usr/bin/chromium"
SIZES = ((360, 740), (390, 844), (768, 1024), (1366, 768))
TARGETS = """() => [...document.querySelectorAll("button, select, input, summary, a")]
    .filter((thing) => thing.getClientRects().length)
    .map((thing) => [thing.id || thing.textContent, (thing.closest("label") ?? thing).getBoundingClientRect()])
    .filter(([, box]) => box.height < 43.5 || box.width < 43.5).map(([name]) => name)"""
TONE = """() => { navigator.mediaDevices.getUserMedia = async () => {
    const context = new AudioContext(), tone = context.createOscillator(), to = context.createMediaStreamDestination();
    tone.frequency.value = 88;
    tone.connect(to);
    tone.start();
    return to.stream;
}; }"""
NO_MICROPHONE = "Object.defineProperty(navigator, 'mediaDevices', { value: undefined })"


def _play(page: Any, counted: bool) -> None:
    if not counted:
        page.locator("#count").uncheck()
    page.locator("#play").click()
    page.wait_for_timeout(1200)


def _range(page: Any) -> None:
    page.locator("#choose").click()
    for nth in (2, 6):
        note = page.locator("#music g.note").nth(nth)
        note.evaluate("(note) => note.scrollIntoView({ block: 'center' })")
        box = note.bounding_box()
        page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)


def _listen(page: Any, button: str) -> None:
    page.evaluate(TONE)
    page.locator(button).click()
    page.wait_for_timeout(1500)
    page.locator("#gauge").evaluate("(gauge) => gauge.scrollIntoView({ block: 'center' })")


def _recall(page: Any) -> None:
    page.locator("#hide").check()
    page.locator("#music g.note").first.focus()
    page.keyboard.press("ArrowRight")
    page.evaluate("scrollTo(0, 0)")


def _ladder(page: Any) -> None:
    page.locator("#ladder-begin").click()
    for _ in range(4):
        page.locator("#clean").click()


def _open_all(page: Any) -> None:
    for nth in range(2):
        page.locator("summary").nth(nth).click()
    page.evaluate("scrollTo(0, document.body.scrollHeight)")


STATES: dict[str, Callable[[Any], object]] = {
    "first": lambda page: None, "counting in": lambda page: _play(page, True),
    "playing": lambda page: _play(page, False), "range": _range, "recall": _recall,
    "tuner": lambda page: _listen(page, "#tune"), "recording": lambda page: _listen(page, "#record"),
    "ladder": _ladder, "large print": lambda page: page.locator("#large").click(),
    "practice": lambda page: page.locator("#more").click(), "foot": _open_all,
    "dark": lambda page: None, "calm": lambda page: _play(page, False),
    "no microphone": lambda page: (page.locator("#tune").click(), page.locator("#gauge").scroll_into_view_if_needed()),
}


def looked_at(started: Any, path: Path, state: str, size: tuple[int, int], picture: Path | None = None) -> list[str]:
    """Bring a page into a state; return its faults, and write its picture where one is asked for."""
    context = started.new_context(viewport={"width": size[0], "height": size[1]},
                                  color_scheme="dark" if state == "dark" else "light",
                                  reduced_motion="reduce" if state == "calm" else "no-preference")
    page = context.new_page()
    found: list[str] = []
    page.on("console", lambda message: found.append(message.text))
    page.on("pageerror", lambda error: found.append(str(error)))
    if state == "no microphone":
        page.add_init_script(NO_MICROPHONE)
    page.goto(path.as_uri())
    page.locator("body[data-ready=yes]").wait_for(timeout=60_000)
    STATES[state](page)
    page.wait_for_timeout(200)
    if picture is not None:
        page.screenshot(path=picture)
    found += faults(page)
    found += [f"small: {name}" for name in page.evaluate(TARGETS)]
    wide = page.evaluate("document.documentElement.scrollWidth")
    found += [f"{wide} pixels wide"] if wide > size[0] else []
    context.close()
    return found


def all_states(path: Path, folder: Path | None = None, states: Sequence[str] = tuple(STATES),
               ) -> Iterator[tuple[str, tuple[int, int], list[str]]]:
    """Yield each state, size and its faults."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=CHROMIUM, args=[
            "--no-sandbox", "--autoplay-policy=no-user-gesture-required"])
        for state in states:
            for size in SIZES:
                picture = folder / f"{path.stem} {state} {size[0]}.png" if folder else None
                yield state, size, looked_at(started, path, state, size, picture)
        started.close()


def etude(folder: Path) -> Path:
    """Make the page of the etude."""
    path = folder / "etude.html"
    done = run("take-home", SAMPLES / "attachment-etude.musicxml", "-o", path)
    assert done.returncode == 0, done.stderr
    return path


if __name__ == "__main__":
    target = Path(sys.argv[1])
    target.mkdir(parents=True, exist_ok=True)
    given = [Path(word) for word in sys.argv[2:] if word.endswith(".html")]
    asked = [word for word in sys.argv[2:] if not word.endswith(".html")] or tuple(STATES)
    with tempfile.TemporaryDirectory() as place:
        for one in given or [etude(Path(place))]:
            for name, (width, _), wrong in all_states(one.resolve(), target, asked):
                print(f"{name}, {width}: {'; '.join(wrong) or 'nothing'}", flush=True)
