"""The trade's tools on the page in a real browser, each within two clicks: what they show, and how it is to use."""

import base64
import random
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.web.browsing import (
    SMALL,
    WAIT_MS,
    Keyboard,
    Mouse,
    expect,
    faults,
    opened_tab,
    rested,
    settled,
    take_sample,
    way_to,
)
from tests.web.conftest import SAMPLES
from tests.web.test_plain_views import plain_here
from tests.web.test_practice import lesson  # noqa: F401  (a fixture)


def done(page) -> None:
    expect(page.locator('#desk[aria-busy="true"]')).to_have_count(0, timeout=60_000)


def sound(page, size: str, *, axe: bool = True) -> None:
    """Nothing runs out of the page, nothing is too small for a finger, no fault for axe, no word of the terminal."""
    assert page.evaluate("() => document.documentElement.scrollWidth <= window.innerWidth")
    if size == "phone":
        assert page.evaluate(SMALL) == []
    if axe:
        assert faults(page) == []
    plain_here(page)


@pytest.mark.parametrize(("size", "scheme"), [("phone", "dark"), ("laptop", "light")])
def test_horns_without_a_score(browser, address: str, size: str, scheme: str) -> None:
    for page in opened_tab(browser, address, size, color_scheme=scheme):
        Mouse(page).turn("chart")
        expect(page.locator("#charted table")).to_be_visible(timeout=60_000)
        sound(page, size)
        page.locator("#chart-horn").select_option("euphonium-3")
        expect(page.locator("#charted caption")).to_have_text("Euphonium in B flat with three valves",
                                                              timeout=60_000)
        with page.expect_download() as found:
            page.get_by_role("button", name="Print for the wall (A4)").click()
        assert Path(found.value.path()).read_bytes().startswith(b"%PDF")
        Mouse(page).turn("change")
        expect(page.locator("#changed-horn .care")).to_be_visible(timeout=60_000)
        expect(page.locator("#changed-horn")).to_contain_text("only the horns are compared")
        expect(page.locator("#changed-horn")).to_contain_text("the teacher who is present decides")
        sound(page, size)
        page.locator("#change-after").select_option("tenor")
        expect(page.locator("#view-change .stuck")).to_contain_text("both horns are the same", timeout=WAIT_MS)
        sound(page, size, axe=False)


@pytest.mark.parametrize(("size", "scheme"), [("phone", "light"), ("laptop", "dark")])
def test_a_horn_of_one_s_own_is_typed_found_kept_and_forgotten(browser, address: str, size: str, scheme: str) -> None:
    rng = random.Random(2)
    for page in opened_tab(browser, address, size, color_scheme=scheme):
        Mouse(page).turn("own")
        expect(page.locator("#own-rows .reading").first).to_be_visible(timeout=WAIT_MS)
        sound(page, size)
        page.locator("#own-fit").click()
        expect(page.locator("#view-own .stuck")).to_contain_text("Write what the tuner shows", timeout=WAIT_MS)
        cents = page.locator("#own-rows [data-kind=cents]")
        for number in range(cents.count()):
            cents.nth(number).fill(f"{rng.gauss(-5, 2):.0f}")
        cents.nth(2).fill("400")
        page.locator("#own-fit").click()
        expect(page.locator("#view-own .stuck")).to_contain_text("B♭3 in 1: cents is 400", timeout=WAIT_MS)
        expect(cents.nth(2)).to_have_attribute("aria-invalid", "true")
        sound(page, size, axe=False)
        cents.nth(2).fill("-5")
        page.locator("#own-fit").click()
        expect(page.locator("#own-name")).to_be_visible(timeout=60_000)
        sound(page, size)
        page.locator("#own-name").fill("Anna's horn")
        page.get_by_role("button", name="Keep this horn").click()
        expect(page.locator(".kept-horns li")).to_contain_text("Anna-s-horn: Tenor trombone", timeout=WAIT_MS)
        # It is first in every list of horns, and stays over a reload with what was typed.
        page.reload()
        Mouse(page).turn("own")
        expect(page.locator(".kept-horns li")).to_have_count(1, timeout=WAIT_MS)
        expect(cents.nth(2)).to_have_value("-5")
        assert page.locator("#chart-horn option").first.get_attribute("value") == "Anna-s-horn"
        sound(page, size, axe=False)
        page.get_by_role("button", name="Forget: Anna-s-horn").click()
        expect(page.locator(".kept-horns li")).to_have_count(0, timeout=WAIT_MS)
        page.get_by_role("button", name="Undo: forget Anna-s-horn").click()
        expect(page.locator(".kept-horns li")).to_have_count(1, timeout=WAIT_MS)


@pytest.mark.parametrize(("size", "scheme"), [("phone", "light"), ("laptop", "dark")])
def test_our_library(browser, address: str, size: str, scheme: str, tmp_path: Path) -> None:
    for name in ("attachment-etude.musicxml", "harbour-march-trio.musicxml"):
        shutil.copy(SAMPLES / name, tmp_path / name)
    for page in opened_tab(browser, address, size, color_scheme=scheme):
        hands = Mouse(page)
        hands.turn("survey")
        sound(page, size)
        page.locator("#survey-go").click()
        expect(page.locator("#view-survey .stuck")).to_contain_text("Write where your scores lie", timeout=WAIT_MS)
        page.locator("#folder").fill("/no/such/folder")
        page.locator("#survey-go").click()
        expect(page.locator("#view-survey .stuck")).to_contain_text("no such folder", timeout=WAIT_MS)
        sound(page, size, axe=False)
        page.locator("#folder").fill(str(tmp_path))
        page.locator("#folder").press("Enter")
        expect(page.locator("#surveyed .verdict")).to_contain_text("2 files: 2 read", timeout=120_000)
        expect(page.locator("#surveyed .verdict")).to_contain_text("Attachment: ")
        assert page.evaluate("() => document.activeElement.className") == "verdict"
        sound(page, size)
        hands.turn("search")
        # The folder goes along from view to view.
        expect(page.locator("#folder")).to_have_value(str(tmp_path))
        page.locator("#search-go").click()
        expect(page.locator("#searched .verdict")).to_contain_text("lines suit", timeout=120_000)
        sound(page, size)
        hands.turn("course")
        page.locator("#course-weeks").select_option("2")
        page.locator("#course-go").click()
        expect(page.locator("#coursed .verdict")).to_contain_text("in 2 weeks", timeout=120_000)
        expect(page.locator("#coursed")).to_contain_text("The teacher who is present decides")
        sound(page, size)
        hands.turn("search")
        page.locator("#searched tbody button").first.click()
        expect(page.locator("#music svg .hot").first).to_be_visible(timeout=60_000)
        assert page.evaluate("() => document.documentElement.scrollWidth <= window.innerWidth")


def test_cancel_stops_a_search_and_chosen_files_are_looked_through(browser, address: str, tmp_path: Path) -> None:
    for page in opened_tab(browser, address, "laptop"):
        Mouse(page).turn("search")
        page.set_input_files("#folder-choose", [str(SAMPLES / name) for name in (
            "attachment-etude.musicxml", "evening-song-euphonium.musicxml")])
        expect(page.locator("#folder-files")).to_contain_text("2 files are chosen", timeout=60_000)
        # Slow enough to be seen: the answer is held back at the door.
        page.route("**/api/library/search", lambda route: None)
        page.locator("#search-go").click()
        expect(page.locator("#view-search .toil progress")).to_be_visible(timeout=WAIT_MS)
        sound(page, "laptop")
        page.locator("#view-search .stop").click()
        expect(page.locator("#view-search .toil")).to_be_hidden(timeout=WAIT_MS)
        expect(page.locator("#said")).to_have_text("Stopped.")
        page.unroute("**/api/library/search")
        page.locator("#search-go").click()
        expect(page.locator("#searched .verdict")).to_contain_text("suit", timeout=120_000)


@pytest.mark.parametrize(("size", "scheme"), [("phone", "dark"), ("laptop", "light")])
def test_a_practice_sheet(browser, address: str, size: str, scheme: str) -> None:
    for page in opened_tab(browser, address, size, color_scheme=scheme):
        take_sample(page)
        hands = Mouse(page)
        hands.turn("drill")
        expect(page.locator("#drilled .verdict")).to_contain_text("exercises from the hard moves", timeout=60_000)
        rested(page)
        sound(page, size)
        page.locator("#drill-weeks").select_option("2")
        expect(page.locator("#drilled")).to_contain_text("week 2, day 5", timeout=60_000)
        expect(page.locator("#drilled .care")).to_be_visible()
        page.locator("#drill-other").click()
        expect(page.locator("#drill-other")).to_have_text("Other patterns (these are no. 2)", timeout=60_000)
        rested(page)
        page.get_by_role("button", name="Show the sheet here").click()
        expect(page.locator("#drill-pages svg").first).to_be_visible(timeout=120_000)
        sound(page, size)
        with page.expect_download(timeout=120_000) as found:
            page.locator("#drilled").get_by_role("button", name="Print").click()
        assert Path(found.value.path()).read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(("size", "scheme"), [("phone", "light"), ("laptop", "dark")])
def test_a_recording_is_dropped_heard_and_played_along(browser, address: str, size: str, scheme: str,
                                                       lesson: Path) -> None:  # noqa: F811
    for page in opened_tab(browser, address, size, color_scheme=scheme):
        take_sample(page)
        hands = Mouse(page)
        hands.turn("hear")
        sound(page, size)
        page.set_input_files("#hear-file", files={"name": "words.wav", "mimeType": "audio/wav", "buffer": b"no sound"})
        expect(page.locator("#view-hear .stuck")).to_contain_text("is not a sound file", timeout=60_000)
        sound(page, size, axe=False)
        if size == "phone":
            page.locator("#setup-said").click()
        hands.write("#from", "1")
        hands.write("#to", "8")
        rested(page)
        if size == "phone":
            page.set_input_files("#hear-file", str(lesson))
        else:
            hands.turn("marks")
            dropped(page, "#music", lesson)
        expect(page.locator("#heard .verdict")).to_contain_text("notes as written", timeout=120_000)
        assert page.locator(".system-heard").count() >= 2
        # In the dark all of it is turned over, so that music in the page's own light ink would be dark on dark.
        assert page.locator(".system-heard > svg").first.evaluate("it => getComputedStyle(it).color") == "rgb(0, 0, 0)"
        expect(page.locator("#heard")).to_contain_text("A recording is not a grade")
        sound(page, size)
        page.locator("#hear-play").click()
        expect(page.locator(".cursor")).to_have_count(1, timeout=WAIT_MS)
        page.locator("#hear-play").click()
        expect(page.locator("#hear-play")).to_have_text("Play the recording")
        page.locator("#hear-along").click()
        expect(page.locator("#play")).to_be_focused()
        expect(page.locator("#play-clicks")).to_be_checked()


def test_a_class_is_opened_read_and_kept(browser, address: str, lesson: Path, tmp_path: Path) -> None:  # noqa: F811
    """Several files are a class; a phone's own form is read by the browser; slide and dashed line go along."""
    files = [shutil.copy(lesson, tmp_path / "Ann.wav")]
    if shutil.which("ffmpeg"):
        files.append(tmp_path / "Ben.webm")
        subprocess.run(["ffmpeg", "-loglevel", "error", "-i", lesson, "-c:a", "libopus", files[-1]], check=True)
    (tmp_path / "Cy.wav").write_text("no sound")
    files.append(tmp_path / "Cy.wav")
    for page in opened_tab(browser, address, "phone"):
        take_sample(page)
        hands = Mouse(page)
        hands.turn("hear")
        page.locator("#setup-said").click()
        hands.write("#from", "1")
        hands.write("#to", "8")
        rested(page)
        page.set_input_files("#hear-file", [str(path) for path in files])
        expect(page.locator("#heard .verdict")).to_contain_text("Choose a name", timeout=180_000)
        expect(page.locator("#heard tbody tr")).to_have_count(len(files))
        expect(page.locator("#heard tbody tr").last).to_contain_text("Not heard: this is not a sound file")
        sound(page, "phone")
        with page.expect_download(timeout=120_000) as found:
            page.get_by_role("button", name="Print: the table").click()
        assert Path(found.value.path()).read_bytes().startswith(b"%PDF")
        page.locator("#heard tbody button").last.click()
        expect(page.locator("#hear-one .verdict")).to_be_focused()
        page.locator("#hear-play").click()
        expect(page.locator("#hear-figure .outer")).to_be_visible(timeout=WAIT_MS)
        expect(page.locator("#hear-figure .wanted")).to_have_attribute("d", re.compile(r"^M[\d.]+ 14"), timeout=WAIT_MS)
        page.locator("#hear-play").click()
        expect(page.locator("#hear-figure")).to_be_hidden()
        page.locator(".keeping summary").click()
        with page.expect_download() as found:
            page.locator(".keeping").get_by_role("button", name="Keep it").click()
        assert "[[heard]]" in Path(found.value.path()).read_text(encoding="utf-8")
        expect(page.locator(".keeping")).to_contain_text("of 21 notes right")
        sound(page, "phone")


def dropped(page, place: str, path: Path) -> None:
    """Let a file fall on a place, as a hand with a mouse does."""
    files = page.evaluate_handle(
        """([name, content]) => {
          const held = new DataTransfer(), bytes = Uint8Array.from(atob(content), (sign) => sign.charCodeAt(0));
          held.items.add(new File([bytes], name, { type: "audio/wav" }));
          return held;
        }""", [path.name, base64.b64encode(path.read_bytes()).decode()])
    page.dispatch_event(place, "drop", {"dataTransfer": files})


def test_long_notes_are_tuned_to_their_chord_and_back(browser, address: str) -> None:
    for page in opened_tab(browser, address, "phone"):
        take_sample(page, "Quiet chorale trombones")
        expect(page.locator("#key-aim")).to_be_hidden()
        page.locator("#setup-said").click()
        page.locator("#intonation").select_option("just")
        # The third of B flat major lies 14 cents below equal temperament (5:4), which is 12 mm of slide in second.
        expect(page.locator("#music").get_by_text("out 12").first).to_be_visible(timeout=WAIT_MS)
        expect(page.locator("#key-aim")).to_be_visible()
        sound(page, "phone")
        page.locator("#undo").click()
        expect(page.locator("#music").get_by_text("out 12")).to_have_count(0, timeout=WAIT_MS)
        expect(page.locator("#intonation")).to_have_value("")


@pytest.mark.parametrize("size", ["phone", "laptop"])
def test_keys_alone_reach_every_tool(browser, address: str, size: str, tmp_path: Path) -> None:
    shutil.copy(SAMPLES / "attachment-etude.musicxml", tmp_path / "etude.musicxml")
    for page in opened_tab(browser, address, size):
        hands = Keyboard(page)
        hands.turn("change")
        expect(page.locator("#changed-horn .care")).to_be_visible(timeout=60_000)
        hands.choose("#change-after", "bass-single")
        expect(page.locator("#changed-horn")).to_contain_text("bass trombone", timeout=60_000)
        hands.turn("survey")
        hands.write("#folder", str(tmp_path))
        hands.press("#survey-go")
        expect(page.locator("#surveyed .verdict")).to_be_focused(timeout=120_000)
        hands.turn("search")
        hands.press("#search-go")
        expect(page.locator("#searched .verdict")).to_be_focused(timeout=120_000)
        hands.press("#searched tbody button")
        settled(page)
        hands.turn("drill")
        expect(page.locator("#drilled .verdict")).to_be_visible(timeout=60_000)
        rested(page)
        hands.turn("hear")
        hands.reach("#hear-file")
        hands.turn("compare")
        expect(page.locator("#compared table").first).to_be_visible(timeout=60_000)


def test_paper_has_the_answer_and_not_the_controls(browser, address: str, tmp_path: Path) -> None:
    pypdf = pytest.importorskip("pypdf")

    def printed(page) -> str:
        page.pdf(path=tmp_path / "print.pdf")
        return " ".join(sheet.extract_text() for sheet in pypdf.PdfReader(tmp_path / "print.pdf").pages)

    for page in opened_tab(browser, address, "laptop"):
        hands = Mouse(page)
        hands.turn("chart")
        expect(page.locator("#charted table")).to_be_visible(timeout=60_000)
        text = printed(page)
        assert "Every choice" in text
        assert "Our library" not in text
        assert "Large print" not in text
        hands.turn("change")
        expect(page.locator("#changed-horn .care")).to_be_visible(timeout=60_000)
        text = printed(page)
        assert "What to look at with the student present" in text
        assert "With care" in text
        assert "Print what moves" not in text
        take_sample_again(page)
        hands.turn("drill")
        expect(page.locator("#drilled .verdict")).to_be_visible(timeout=60_000)
        rested(page)
        text = printed(page)
        assert "Hard moves" in text
        assert "With care" in text
        assert "Other patterns" not in text


def take_sample_again(page) -> None:
    page.locator("#home").click()
    take_sample(page)


def test_a_view_of_a_score_asks_for_one(browser, address: str) -> None:
    for page in opened_tab(browser, address, "phone"):
        Mouse(page).turn("chart")
        for button in way_to("compare"):
            page.locator(button).click()
        expect(page.locator("#ask-score")).to_have_text("Choose a score: its part is planned on several horns.")
        expect(page.locator("#doors")).to_be_visible()
