"""What a stranger stumbled over on the page: measures without a way to them, ticks one by one, words cut off."""

import re
from pathlib import Path

import pytest
from pypdf import PdfReader

from tests.commands.test_paper_here import SIZES as PAPER
from tests.web.browsing import SIZES, WAIT_MS, expect, opened_tab, rested, settled, take_sample
from tests.web.conftest import SAMPLES
from tests.web.test_horns import mine

# How much wider than its box the widest name in each list of horns is. [px]
CUT = """() => [...document.querySelectorAll('select')].filter((one) => one.offsetParent
        && [...one.options].some(({ textContent }) => /trombone|euphonium/i.test(textContent))).map((one) => {
    const look = getComputedStyle(one), pen = document.createElement('canvas').getContext('2d');
    pen.font = look.font;
    const arrow = 20, sides = parseFloat(look.paddingLeft) + parseFloat(look.paddingRight);
    const names = [...one.options].map(({ textContent }) => textContent.replace(' (assumed)', ''));
    return [one.id, one.clientWidth - sides - arrow - Math.max(...names.map((name) => pen.measureText(name).width))];
})"""


def section_open(page, score: str = "harbour-march-trio.musicxml") -> None:
    page.set_input_files("#file-section", str(SAMPLES / score))
    expect(page.locator("#view-section")).to_be_visible(timeout=WAIT_MS)
    rested(page)


def test_the_section_s_answer_leads_to_the_measures_that_go_wrong(laptop) -> None:
    section_open(laptop, "deep-water-bass-trombone.musicxml")
    laptop.locator("#member-0-name").fill("K. L.")
    laptop.locator("#member-0-horns").select_option("tenor")
    laptop.locator("#fit").click()
    expect(laptop.locator("#verdict")).to_be_visible(timeout=WAIT_MS)
    rested(laptop)
    row = laptop.locator("#fitted tbody tr", has_text="K. L.")
    expect(row).to_contain_text(re.compile(r"cannot be played as written.* \(measures? \d"))
    # What cannot be played stands open, and what to rehearse first is named as on the saved page.
    expect(laptop.locator("#fitted .finding.stop").first).to_be_visible()
    first = laptop.locator("#fitted .first li").first
    expect(first).to_contain_text("(beyond)")
    measure = re.match(r"m\. (\S+) ", first.text_content())[1]
    first.locator("button").click()
    expect(laptop.locator("#view-marks")).to_be_visible()
    settled(laptop)
    expect(laptop.locator("#picked-said")).to_have_text(f"Measure {measure}")
    expect(laptop.locator("#bands div")).to_have_count(1)
    # The music is that of the player who sits there, on that horn.
    expect(laptop.locator("#music .hot:focus")).to_have_attribute(
        "aria-label", re.compile(f"^Measure {measure}, .*cannot be played"), timeout=WAIT_MS)
    expect(laptop.locator("#heading")).to_contain_text("Tenor trombone in B flat, straight")
    expect(laptop.locator("#horn")).to_have_value("tenor")
    laptop.locator("#undo").click()
    settled(laptop)
    expect(laptop.locator("#horn")).to_have_value("")


def test_changes_are_ticked_all_at_once_or_not_at_all(laptop) -> None:
    laptop.set_input_files("#file-bass", str(SAMPLES / "deep-water-bass-trombone.musicxml"))
    expect(laptop.locator("#review-said")).not_to_be_empty(timeout=WAIT_MS)
    rested(laptop)
    laptop.locator("#horn").select_option("tenor")
    expect(laptop.locator("#view-review h2")).to_contain_text("straight", timeout=WAIT_MS)
    rested(laptop)
    boxes = laptop.locator("#changes input")
    count = boxes.count()
    assert count > 1
    laptop.get_by_role("button", name="Tick none").click()
    expect(laptop.locator("#changes input:checked")).to_have_count(0)
    for button in ("#apply", "#playable"):
        expect(laptop.locator(button)).to_be_disabled()
    boxes.first.check()
    expect(laptop.locator("#apply")).to_be_enabled()
    laptop.get_by_role("button", name="Tick all").click()
    expect(laptop.locator("#changes input:checked")).to_have_count(count)


def test_the_bar_names_the_measures_of_the_loop(laptop) -> None:
    take_sample(laptop)
    laptop.locator("#practice-first").click()
    bar = laptop.locator("#picked-said")
    expect(bar).to_contain_text("Measure")
    laptop.locator("#play-speed").focus()
    if laptop.locator("#play").text_content() == "Stop":
        laptop.locator("#play").click()
    laptop.locator("#play-from").select_option("3")
    laptop.locator("#play-to").select_option("5")
    expect(bar).to_have_text("Measures 3 to 5")
    # Of other measures nothing is chosen.
    laptop.locator("#from").fill("9")
    laptop.locator("#from").blur()
    settled(laptop)
    expect(laptop.locator("#picked")).to_be_hidden()


def test_who_clicks_before_the_page_knows_its_horns_is_led_on(browser, address: str) -> None:
    held = []

    def hold(route) -> None:
        held.append(route)

    for page in opened_tab(browser, address, "laptop"):
        page.route("**/api/start", hold)
        page.reload()
        page.locator("#to-horns").click()
        while not held:
            page.wait_for_timeout(20)
        held[0].continue_()
        expect(page.locator("#charted table")).to_be_visible(timeout=WAIT_MS)


@pytest.mark.parametrize("size", list(SIZES))
def test_names_of_horns_are_not_cut_off(browser, address: str, size: str) -> None:
    for page in opened_tab(browser, address, size):
        section_open(page)
        seen = page.evaluate(CUT)
        page.locator("#tab-review").click()
        rested(page)
        if not page.locator("#horn").is_visible():
            page.locator("#setup-said").click()
        seen += page.evaluate(CUT)
        for view in ("compare", "chart", "change"):
            page.locator("#tab-horns").click()
            page.locator(f"#sub-{view}").click()
            rested(page)
            seen += page.evaluate(CUT)
        assert len(seen) > 7
        assert [one for one in seen if one[1] < 0] == []


def test_a_horn_of_one_s_own_is_chosen_for_a_player(laptop) -> None:
    laptop.evaluate("""async (profile) => {
        const { post } = await import('/state.js'), { tell } = await import('/state.js');
        const found = await (await post('/api/horns/keep', { profile, file: 'mine.toml', keep: true })).json();
        tell('own-horns', found.own);
    }""", mine())
    section_open(laptop)
    laptop.locator("#member-0-horns").select_option("mine")
    laptop.locator("#fit").click()
    expect(laptop.locator("#fitted tbody")).to_contain_text("mine", timeout=WAIT_MS)


@pytest.mark.parametrize(("locale", "paper"), [("en-US", "letter"), ("en-GB", "a4")])
def test_paper_is_that_of_the_browser_s_country_until_another_is_chosen(browser, address: str, locale: str,
                                                                        paper: str, tmp_path: Path) -> None:
    other = {"a4": "letter", "letter": "a4"}[paper]
    for page in opened_tab(browser, address, "laptop", locale=locale):
        take_sample(page)
        expect(page.locator("#print-paper")).to_have_value(paper)
        expect(page.locator("#paper-said")).to_contain_text("was supposed, from the language of this browser")
        for chosen in (paper, other):
            page.locator("#print-paper").select_option(chosen)
            with page.expect_download() as found:
                page.locator("[data-ending='.pdf']").click()
            found.value.save_as(tmp_path / "part.pdf")
            box = PdfReader(tmp_path / "part.pdf").pages[0].mediabox
            assert (round(float(box.width)), round(float(box.height))) == PAPER[chosen]
        expect(page.locator("#paper-said")).to_be_empty()
        # It holds for everything that is printed, and stays so.
        page.locator("#tab-practice").click()
        expect(page.locator("#drill-paper")).to_have_value(other)
        rested(page)
        page.wait_for_timeout(600)
        page.reload()
        expect(page.locator("#drill-paper")).to_have_value(other, timeout=WAIT_MS)
