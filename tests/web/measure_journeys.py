"""The three ways from a chosen file to its answer: ``python -m tests.web.measure_journeys [FOLDER]``.

By mouse on a laptop, by keys alone on a laptop, by touch on a phone of 390 by 844. Prints clicks (of keys: what was
done with Enter, and all keys that were pressed), seconds, and seconds of processor time of page and browser together,
which hold on a busy machine, too. With a folder the answers are kept there as pictures.
"""

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tests.web.browsing import WAIT_MS, expect, opened_tab, rested, settled, started_browser
from tests.web.conftest import SAMPLES
from tests.web.measure_long import Spent, browsers
from tests.web.running import served

MOST_CLICKS = 6


class Hand:
    """A hand on the mouse; counts what it does."""

    size = "laptop"

    def __init__(self, page) -> None:
        self.page, self.clicks, self.keys = page, 0, 0

    def press(self, selector: str) -> None:
        self.clicks += 1
        self.page.locator(selector).first.click()


class Finger(Hand):
    """A finger on a phone."""

    size = "phone"

    def press(self, selector: str) -> None:
        self.clicks += 1
        self.page.locator(selector).first.tap()


class Keys(Hand):
    """Keys alone: Tab to get there, Enter to do it."""

    def press(self, selector: str) -> None:
        place = "(one) => Boolean(document.activeElement?.matches(one))"
        for _ in range(200):
            if self.page.evaluate(place, selector):
                break
            self.keys += 1
            self.page.keyboard.press("Tab")
        else:
            raise AssertionError(f"{selector} is not reached with Tab")
        self.clicks += 1
        self.keys += 1
        self.page.keyboard.press("Enter")


HANDS = {"mouse": Hand, "keys": Keys, "touch": Finger}


def section(hand: Hand) -> None:
    """Does this piece suit my players? Verdict in sight."""
    page = hand.page
    page.set_input_files("#file-section", str(SAMPLES / "harbour-march-trio.musicxml"))
    expect(page.locator("#view-section")).to_be_visible(timeout=WAIT_MS)
    rested(page)
    hand.press("#section-ready button")
    hand.press("#fit")
    expect(page.locator("#verdict")).to_contain_text("section", timeout=WAIT_MS)
    expect(page.locator("#verdict")).to_be_in_viewport()
    rested(page)


def passage(hand: Hand) -> None:
    """Positions of the part in sight, the choices of a note of the music, and the passage heard."""
    page = hand.page
    page.set_input_files("#file", str(SAMPLES / "attachment-etude.musicxml"))
    settled(page)
    expect(page.locator("#summary")).to_contain_text("can be played")
    expect(page.locator("#summary")).to_be_in_viewport()
    hand.press("#music .hot[role=button][tabindex='0']")
    expect(page.locator("#choices")).to_be_visible()
    rested(page)
    hand.press("#close")
    settled(page)
    hand.press("#play")
    expect(page.locator("#music .sounding").first).to_be_visible(timeout=WAIT_MS)


def bass(hand: Hand) -> None:
    """What lies beyond the horn, each note before and after, and the part with notes that can be played."""
    page = hand.page
    page.set_input_files("#file-bass", str(SAMPLES / "deep-water-bass-trombone.musicxml"))
    expect(page.locator("#review-said")).to_contain_text("as written", timeout=WAIT_MS)
    expect(page.locator("#review-said")).to_be_in_viewport()
    rested(page)
    hand.press("#changes button")
    expect(page.locator("#changes .now svg .mark").first).to_be_visible(timeout=WAIT_MS)
    rested(page)
    hand.press("#apply")
    expect(page.locator("#rewritten")).to_be_visible(timeout=WAIT_MS)
    settled(page)


JOURNEYS: dict[str, Callable[[Hand], None]] = {"My section": section, "My passage": passage, "A bass part": bass}


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What one journey took."""

    journey: str
    hand: str
    clicks: int
    keys: int
    took_s: float
    processor_s: float


def told(browser, address: str, pid: int, folder: Path | None = None) -> list[Told]:
    """Go every way with every hand; keep a picture of each answer."""
    found = []
    for kind, make in HANDS.items():
        for name, go in JOURNEYS.items():
            for page in opened_tab(browser, address, make.size):
                hand, spent = make(page), Spent(pid, *browsers())
                begun_s, before_s = time.perf_counter(), spent()
                go(hand)
                found.append(Told(journey=name, hand=kind, clicks=hand.clicks, keys=hand.keys,
                                  took_s=time.perf_counter() - begun_s, processor_s=spent() - before_s))
                if folder:
                    folder.mkdir(parents=True, exist_ok=True)
                    page.screenshot(path=str(folder / f"{name.replace(' ', '-').lower()}-{kind}.png"))
                if page.locator("#play").is_visible() and page.locator("#play").text_content() == "Stop":
                    page.locator("#play").click()
    return found


def main(named: list[str]) -> None:
    """Print the table."""
    with served() as (process, address):
        for browser in started_browser():
            rows = told(browser, address, process.pid, Path(named[0]) if named else None)
    print("| way | hand | clicks | keys | seconds | processor seconds |\n| --- | --- | ---: | ---: | ---: | ---: |")
    for one in rows:
        print(f"| {one.journey} | {one.hand} | {one.clicks} | {one.keys or ''} | {one.took_s:.1f} | "
              f"{one.processor_s:.1f} |")


if __name__ == "__main__":
    main(sys.argv[1:])
