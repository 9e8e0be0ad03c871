"""Three people at the page, with the mouse and with keys alone, on a phone and a laptop: student, director, bass."""

import re
import signal
import sys
from pathlib import Path

import pytest

from tests.web import measure_journeys
from tests.web.browsing import HANDS, SIZES, WAIT_MS, expect, let_go, opened_tab, rested, settled, unfolded
from tests.web.conftest import SAMPLES
from tests.web.running import served

_PHONE, _LAPTOP = ("phone", "mouse"), ("laptop", "keyboard")


def by(*plain: tuple[str, str]) -> pytest.MarkDecorator:
    """Try a journey on both sizes and with both hands; these in the plain run, the others with the whole suite."""
    ways = [(size, hand) for size in SIZES for hand in HANDS]
    return pytest.mark.parametrize(("tab", "kind"), [
        pytest.param(*way, marks=() if way in plain else pytest.mark.whole) for way in ways], indirect=["tab"])


def kept(folder: Path) -> list[Path]:
    """Every file that is kept there."""
    return [path for path in folder.rglob("*") if path.is_file()]


def _pull_the_attachment(page) -> None:
    """Open a bass part, and have a horn of one's own with its slide pulled."""
    page.set_input_files("#file-bass", str(SAMPLES / "deep-water-bass-trombone.musicxml"))
    expect(page.locator("#review-said")).not_to_be_empty(timeout=WAIT_MS)
    rested(page)
    page.locator("#horn").select_option("bass-single")
    page.get_by_role("button", name="Pull the attachment").click()
    expect(page.locator("#horn")).to_have_value("bass-pulled-past-E", timeout=WAIT_MS)
    rested(page)


@by(_PHONE, _LAPTOP)
def test_a_student_maps_a_passage_pins_a_note_and_hears_it(tab, kind: str) -> None:
    hands = HANDS[kind](tab)
    hands.press("#samples li:first-child button")
    settled(tab)
    unfolded(tab, hands)
    hands.write("#from", "9")
    hands.write("#to", "12")
    settled(tab)
    note = tab.locator("#music .hot[role=button]").first
    expect(note).to_have_attribute("aria-label", re.compile("^Measure 9, note 1"))
    hands.press("#music .hot[tabindex='0']")
    expect(tab.locator("#choices")).to_be_visible()
    for _ in range(12):
        if tab.locator("#list .choice").count() > 1:
            break
        hands.press("#after")
    label = tab.locator("#list .choice").nth(1).get_attribute("data-label")
    hands.press("#list .choice[aria-pressed=false]")
    settled(tab)
    expect(tab.locator("#pins li")).to_have_count(1)
    expect(tab.locator("#music .pinned[role=button]")).to_have_attribute(
        "aria-label", re.compile(f"played {label.replace('#', ' sharp')}, chosen by you"))
    hands.press("#close")
    settled(tab)
    hands.press("#play")
    expect(tab.locator("#music .sounding").first).to_be_visible(timeout=WAIT_MS)
    expect(tab.locator("#slide .label")).to_be_visible()
    hands.press("#play")
    expect(tab.locator("#play")).to_have_text("Play")
    expect(tab.locator("#music .sounding")).to_have_count(0)


@by(_LAPTOP)
def test_a_director_checks_the_fit(tab, kind: str) -> None:
    hands = HANDS[kind](tab)
    hands.press("#samples li:nth-child(5) button")
    # This sample comes through the director's door.
    expect(tab.locator("#view-section")).to_be_visible(timeout=WAIT_MS)
    rested(tab)
    # A section of one's own, with a mistake: it is named at its field.
    hands.write("#member-0-low", "H2")
    hands.press("#fit")
    expect(tab.locator("#mistakes")).to_contain_text("player 1, lowest note: it is 'H2'")
    expect(tab.locator("#member-0-low")).to_have_attribute("aria-invalid", "true")
    # The invented section, less its euphonium players, does not suit the march as it is.
    hands.press("#section-sample")
    expect(tab.locator("#members fieldset")).to_have_count(6)
    hands.press("#fit")
    expect(tab.locator("#verdict")).to_contain_text("The piece suits this section.", timeout=WAIT_MS)
    assert tab.evaluate("() => document.activeElement.textContent").startswith("The piece suits this section.")
    expect(tab.locator("#fitted tbody")).to_contain_text("Player 4")
    with tab.expect_download() as found:
        hands.press("#section-said")
        hands.press("#fit-page")
    assert found.value.suggested_filename == "harbour-march-trio-section.html"
    for _ in range(2):
        if kind == "keyboard":
            hands.reach("#member-0-name")
        hands.press("#members fieldset:nth-child(4) > button.quiet")
    expect(tab.locator("#members fieldset")).to_have_count(4)
    hands.press("#member-back")
    expect(tab.locator("#members fieldset")).to_have_count(5)
    hands.press("#members fieldset:nth-child(4) > button.quiet")
    expect(tab.locator("#fit-old")).to_be_visible()
    hands.press("#fit")
    expect(tab.locator("#verdict")).not_to_contain_text("The piece suits this section.", timeout=WAIT_MS)
    expect(tab.locator("#fitted")).to_contain_text("Euphonium")
    rested(tab)
    tab.reload()
    expect(tab.locator("#members fieldset")).to_have_count(4, timeout=WAIT_MS)
    expect(tab.locator("#view-section")).to_be_visible()


@by(_PHONE)
def test_a_bass_part_is_reviewed(tab, kind: str) -> None:
    hands = HANDS[kind](tab)
    hands.press("#samples li:nth-child(3) button")
    expect(tab.locator("#review-said")).not_to_be_empty(timeout=WAIT_MS)
    rested(tab)
    unfolded(tab, hands)
    hands.choose("#horn", "bass-single")
    rested(tab)
    expect(tab.locator("#review-said")).to_contain_text("cannot be played as written", timeout=WAIT_MS)
    expect(tab.locator("#view-review h2")).to_contain_text("with F attachment")
    gap = tab.locator(".finding.stop", has_text="B1 cannot be played")
    expect(gap.first).to_be_visible()
    expect(gap.first.locator("ul")).to_contain_text("Use a horn that has it: bass trombone with two")
    hands.press("#changes button")
    expect(tab.locator("#changes .was svg .note").first).to_be_visible(timeout=WAIT_MS)
    expect(tab.locator("#changes .now svg .mark").first).to_be_visible()
    rested(tab)
    written = tab.locator("#review-said").text_content()
    with tab.expect_download() as found:
        hands.press("#playable")
    assert found.value.suggested_filename == "deep-water-bass-trombone-playable.musicxml"
    # Applied: the changed notes can be played; one click brings back what was written.
    hands.press("#apply")
    expect(tab.locator("#rewritten")).to_be_visible(timeout=WAIT_MS)
    settled(tab)
    hands.turn("review")
    expect(tab.locator("#review-said")).not_to_contain_text(written.split(",")[0], timeout=WAIT_MS)
    rested(tab)
    hands.press("#as-written")
    expect(tab.locator("#rewritten")).to_be_hidden()
    expect(tab.locator("#review-said")).to_have_text(written, timeout=WAIT_MS)
    rested(tab)
    # Another horn closes the gap, without leaving the review.
    hands.choose("#horn", "bass-independent")
    expect(tab.locator("#view-review h2")).to_contain_text("two independent valves", timeout=WAIT_MS)
    expect(tab.locator(".finding.stop", has_text="B1 cannot be played")).to_have_count(0)
    # A measure leads to its note.
    hands.press(".finding .places button")
    expect(tab.locator("#view-marks")).to_be_visible()
    settled(tab)
    expect(tab.locator("#music .hot:focus")).to_have_attribute("aria-label", re.compile("^Measure "), timeout=WAIT_MS)
    hands.turn("compare")
    expect(tab.locator("#compared table").first).to_contain_text("Slide travel", timeout=WAIT_MS)
    hands.choose("#horn-b", "bass-single")
    expect(tab.locator("#compared thead").first).to_contain_text("with F attachment", timeout=WAIT_MS)


@pytest.mark.skipif(sys.platform == "win32", reason="signals")
def test_three_doors_by_touch_then_a_kill_another_port_and_forgetting(browser, tmp_path: Path) -> None:
    state = tmp_path / "state"
    with served(state=state) as (process, address):
        for page in opened_tab(browser, address, "phone"):
            finger = measure_journeys.Finger(page)
            measure_journeys.section(finger)
            assert finger.clicks <= measure_journeys.MOST_CLICKS
            # The way is changed without choosing the file again.
            finger.press("#tab-marks")
            settled(page)
            finger.press("#home")
            page.set_input_files("#file-bass", str(SAMPLES / "deep-water-bass-trombone.musicxml"))
            expect(page.locator("#review-said")).to_contain_text("as written", timeout=WAIT_MS)
            expect(page.locator("#review-said")).to_be_in_viewport()
            rested(page)
            finger.press("#home")
            page.set_input_files("#file", str(SAMPLES / "attachment-etude.musicxml"))
            settled(page)
            expect(page.locator("#summary")).to_contain_text("can be played")
            expect(page.locator("#summary")).to_be_in_viewport()
            finger.press("#music .hot[role=button][aria-label^='Measure 11, note 3:']")
            with page.expect_response("**/api/remember"):
                finger.press("#list .choice[aria-pressed=false]")
            settled(page)
            expect(page.locator("#pins li")).to_have_count(1)
            rested(page)
            page.wait_for_timeout(600)
            process.send_signal(signal.SIGKILL)
            process.wait(timeout=30)
    assert len(kept(state)) == 7
    with served(state=state) as (_, address):
        for page in opened_tab(browser, address, "phone", fresh_page=False):
            expect(page.locator("#recent li")).to_have_count(3)
            expect(page.locator("#memory-said")).to_have_text("Kept on this computer: 3 scores, 1 section.")
            page.locator("#recent button").first.tap()
            settled(page)
            expect(page.locator("#pins li")).to_have_count(1)
            page.locator("#home").tap()
            page.locator("#forget-all").tap()
            expect(page.locator("#memory-said")).to_have_text("Nothing is kept on this computer yet.")
            assert kept(state) == []
            page.locator("#put-back").tap()
            expect(page.locator("#recent li")).to_have_count(3)
            page.locator("#forget-all").tap()
            expect(page.locator("#recent li")).to_have_count(0)
            assert kept(state) == []
            page.reload()
            expect(page.locator("#samples li").first).to_be_visible()
            expect(page.locator("#recent")).to_be_hidden()
            page.wait_for_timeout(600)
            assert kept(state) == []


def test_what_is_not_to_be_kept_leaves_no_file(browser, tmp_path: Path) -> None:
    with served(state=tmp_path / "state") as (_, address):
        for page in opened_tab(browser, address, "laptop"):
            page.locator("#dont-keep").check()
            page.set_input_files("#file-section", str(SAMPLES / "harbour-march-trio.musicxml"))
            expect(page.locator("#view-section")).to_be_visible(timeout=WAIT_MS)
            rested(page)
            page.locator("#member-0-name").fill("A. B.")
            page.locator("#tab-marks").click()
            settled(page)
            page.locator("#horn").select_option("tenor")
            settled(page)
            page.wait_for_timeout(800)
            assert kept(tmp_path) == []
            assert page.evaluate("() => sessionStorage.getItem('lowbrass')") is None
            # The program lets the score go: it is opened once more, and kept as little.
            page.locator("#dont-keep").evaluate(
                "box => { box.checked = false; box.dispatchEvent(new Event('change')); }")
            let_go(page)
            with page.expect_request("**/api/open*") as asked:
                page.locator("#horn").select_option("")
            assert asked.value.url.endswith("keep=no")
            settled(page)


@pytest.mark.whole
@pytest.mark.parametrize("hand", list(measure_journeys.HANDS))
@pytest.mark.parametrize("way", list(measure_journeys.JOURNEYS))
def test_from_a_chosen_file_to_the_answer_in_six_clicks(browser, address: str, way: str, hand: str) -> None:
    make = measure_journeys.HANDS[hand]
    for page in opened_tab(browser, address, make.size):
        counting = make(page)
        measure_journeys.JOURNEYS[way](counting)
        assert counting.clicks <= measure_journeys.MOST_CLICKS
        if page.locator("#play").text_content() == "Stop":
            page.locator("#play").click()


@pytest.mark.skipif(sys.platform == "win32", reason="signals")
def test_what_is_typed_is_found_after_a_kill_and_forgotten_without_a_file(browser, tmp_path: Path) -> None:
    state = tmp_path / "state"
    with served(state=state) as (process, address):
        for page in opened_tab(browser, address, "laptop"):
            page.set_input_files("#file-section", str(SAMPLES / "harbour-march-trio.musicxml"))
            expect(page.locator("#view-section")).to_be_visible(timeout=WAIT_MS)
            rested(page)
            page.locator("#section-ready button").first.click()
            page.locator("#section-new").click()
            page.locator("#section-name").fill("Brass")
            # Half a name, and the field still has the focus.
            with page.expect_response("**/api/remember"):
                page.locator("#member-0-name").press_sequentially("K. L")
            page.wait_for_timeout(600)
            process.send_signal(signal.SIGKILL)
            process.wait(timeout=30)
    assert kept(state)
    with served(state=state) as (_, other):
        assert other.split("#")[0] != address.split("#")[0]
        for page in opened_tab(browser, other, "laptop", fresh_page=False):
            page.locator("#recent button").first.click()
            expect(page.locator("#view-section")).to_be_visible(timeout=WAIT_MS)
            rested(page)
            expect(page.locator("#section-which option")).to_have_text(["My section", "Brass"])
            expect(page.locator("#section-which")).to_have_value("Brass")
            expect(page.locator("#member-0-name")).to_have_value(re.compile("K\\. L"))
            # A horn with its slide pulled is kept, too.
            page.locator("#home").click()
            _pull_the_attachment(page)
            assert list(state.rglob("horn-*.toml"))
            page.locator("#home").click()
            page.locator("#forget-all").click()
            expect(page.locator("#memory-said")).to_have_text("Nothing is kept on this computer yet.")
            page.wait_for_timeout(600)
            assert kept(state) == []
            # On a shared computer: neither the score nor the horn nor the section comes to the disk.
            page.locator("#dont-keep").check()
            _pull_the_attachment(page)
            page.locator("#tab-section").click()
            rested(page)
            page.locator("#section-name").fill("Nobody's")
            page.wait_for_timeout(800)
            assert kept(state) == []
