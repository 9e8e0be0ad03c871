"""What tests in a real browser share: how it is started, when the page has come to rest, hands on mouse or keyboard."""

import shutil
from collections.abc import Iterator
from typing import Any

import httpx
import pytest

from tests.axe import faults  # noqa: F401  (used by the tests)
from tests.web.calls import QUESTIONS, call_of, check_question

pytest.importorskip("uvicorn", reason="the extra web is not installed")
pytest.importorskip("verovio", reason="the extra engrave is not installed")
sync_api: Any = pytest.importorskip("playwright.sync_api",
                                    reason="playwright is not installed, so no real browser is tried")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
if CHROMIUM is None:
    pytest.skip("no Chromium is installed, so no real browser is tried", allow_module_level=True)

expect = sync_api.expect
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync"]
SIZES = {"phone": (390, 844), "laptop": (1366, 768)}
WAIT_MS = 20000


def started_browser() -> Iterator[object]:
    with sync_api.sync_playwright() as started:
        one = started.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield one
        one.close()


def opened_tab(browser, address: str, size: str, *, fresh_page: bool = True, **more: object) -> Iterator[object]:
    width, height = SIZES[size]
    # The language tells the paper; where nothing else is asked for, it is A4.
    context = browser.new_context(viewport={"width": width, "height": height}, has_touch=size == "phone",
                                  **{"locale": "en-GB", **more})
    page = context.new_page()
    page.set_default_timeout(WAIT_MS)
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text) if message.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: said.append(str(error)))
    asked: list[tuple[str, str | None]] = []
    page.on("request", lambda request: asked.append((request.url, request.post_data))
            if call_of(request.url) in QUESTIONS else None)
    if fresh_page:
        fresh(address)
    page.goto(address)
    yield page
    context.close()
    for address, question in asked:
        check_question(address, question)
    # A style or script that the policy forbids would be told here. Refused requests are told too; some tests want them.
    assert [line for line in said if "status of 4" not in line] == []


def fresh(address: str) -> None:
    """Have the program behind the page forget what the test before left there."""
    base, _, key = address.partition("#key=")
    httpx.post(f"{base}api/forget", json={}, headers={"X-Lowbrass-Token": key}, timeout=60).raise_for_status()


def take_sample(page, name: str = "Attachment etude") -> None:
    page.locator("#samples").get_by_role("button", name=name).click()
    expect(page.locator("#work")).to_be_visible(timeout=WAIT_MS)
    if page.locator("#tab-marks").get_attribute("aria-selected") != "true":
        rested(page)
        page.locator("#tab-marks").click()
    settled(page)


def settled(page) -> None:
    expect(page.locator("#music svg .hot").first).to_be_visible(timeout=WAIT_MS)
    rested(page)


def rested(page) -> None:
    expect(page.locator('#work[aria-busy="false"]')).to_have_count(1, timeout=WAIT_MS)


WAYS = {"horns": ("chart", "change", "compare", "own"), "practice": ("drill", "hear"),
        "library": ("survey", "search", "course")}


def way_to(view: str) -> tuple[str, ...]:
    """The buttons that lead to a view: two at most."""
    way = next((way for way, views in WAYS.items() if view in views), None)
    return (f"#tab-{way}", f"#sub-{view}") if way else (f"#tab-{view}",)


def let_go(page) -> None:
    """Have the program answer the next plan as if it had let the score go.

    The others are passed on, not left alone: where a route ends with its first answer (`times=1`), the browser is told
    so while the page asks on, and now and then its next request is told to nobody.
    """
    answered = []

    def once(route) -> None:
        if answered:
            route.continue_()
            return
        answered.append(route)
        route.fulfill(status=404, json={"line": "This score is no longer open here."})

    page.route("**/api/plan", once)


SMALL = """() => [...document.querySelectorAll('button, select, summary, .button, .door, input:not([type=file])')]
    .filter((element) => element.offsetParent && !element.classList.contains('hidden'))
    .map((element) => [element.id || element.textContent.trim().slice(0, 30),
        (element.closest('label') ?? element).getBoundingClientRect()])
    .filter(([, { width, height }]) => height < 43.5 || width < 43.5)
    .map(([name, { width, height }]) => [name, width, height])"""
"""What is smaller than a finger. WCAG 2.2, success criterion 2.5.5 (AAA): 44 by 44 CSS pixels."""


class Mouse:
    """Does what a hand on the mouse (or a finger) does."""

    def __init__(self, page) -> None:
        self.page = page

    def press(self, selector: str) -> None:
        self.page.locator(selector).first.click()

    def write(self, selector: str, text: str) -> None:
        self.page.locator(selector).fill(text)
        self.page.locator(selector).blur()

    def choose(self, selector: str, value: str) -> None:
        self.page.locator(selector).select_option(value)

    def turn(self, view: str) -> None:
        for button in way_to(view):
            self.press(button)


class Keyboard:
    """Does the same with keys alone: Tab to get there, arrows within, Enter to do it."""

    def __init__(self, page) -> None:
        self.page = page

    def reach(self, selector: str) -> None:
        for _ in range(250):
            if self.page.evaluate("(one) => Boolean(document.activeElement?.matches(one))", selector):
                return
            self.page.keyboard.press("Tab")
        raise AssertionError(f"{selector} is not reached with Tab")

    def press(self, selector: str) -> None:
        self.reach(selector)
        self.page.keyboard.press("Enter")

    def write(self, selector: str, text: str) -> None:
        self.reach(selector)
        self.page.keyboard.press("Control+a")
        self.page.keyboard.type(text)
        self.page.keyboard.press("Tab")

    def choose(self, selector: str, value: str) -> None:
        self.reach(selector)
        for _ in range(20):
            if self.page.evaluate("() => document.activeElement.value") == value:
                return
            before = self.page.evaluate("() => document.activeElement.selectedIndex")
            self.page.keyboard.press("ArrowDown")
            rested(self.page)
            # A list that is filled anew has its focus anew.
            self.reach(selector)
            if self.page.evaluate("() => document.activeElement.selectedIndex") == before:
                break
        assert self.page.evaluate("() => document.activeElement.value") == value

    def turn(self, view: str) -> None:
        tab, *within = way_to(view)
        self.reach("[role=tab]")
        for _ in range(7):
            if self.page.evaluate("() => document.activeElement.id") == tab[1:]:
                break
            self.page.keyboard.press("ArrowRight")
        else:
            raise AssertionError(f"{view} is not reached with the arrow keys")
        for button in within:
            self.press(button)


HANDS = {"mouse": Mouse, "keyboard": Keyboard}


def unfolded(page, hands: "Mouse | Keyboard") -> None:
    """Open the settings where a phone folds them."""
    if page.locator("#setup-said").is_visible() and not page.locator("#part").is_visible():
        hands.press("#setup > summary")
