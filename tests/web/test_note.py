"""Working on the notes in a real browser: ways out of a note that cannot be played, measures chosen by hand or keys."""

import re
from pathlib import Path

import pytest

from analyzer.horns.candidates import candidates
from analyzer.horns.profiles import load_horn
from analyzer.pitch import parse_pitch
from analyzer.review.remedies import MOST_PULL_CENTS, least_pull, tuned
from tests.web.browsing import SMALL, WAIT_MS, Mouse, expect, faults, opened_tab, rested, settled, take_sample
from tests.web.test_app import opened, planned, question
from tests.web.test_plain_views import plain_here


def test_the_least_pull_is_the_least() -> None:
    """By trying every cent. B1 is the note between F attachment and pedals (common practice, no source)."""
    for name in ("bass-single", "tenor-f"):
        horn = load_horn(name)
        midi = parse_pitch("B1").midi
        found = least_pull(horn, midi)
        assert found
        loop, cents, out_mm = found
        tried = [one for one in range(MOST_PULL_CENTS + 1) if candidates(tuned(horn, loop, one), midi)]
        assert cents == tried[0]
        assert tried == list(range(tried[0], MOST_PULL_CENTS + 1))
        # A semitone of the F attachment's tube, 1.335 times the open one, is some 0.06 of it; half on each leg.
        assert out_mm == pytest.approx(horn.tube_mm * 2 ** (5 / 12) * (2 ** (cents / 1200) - 1) / 2, rel=0.03)
    assert least_pull(load_horn("bass-independent"), parse_pitch("B1").midi) is None
    assert least_pull(load_horn("euphonium-4"), parse_pitch("B1").midi) is None


def test_a_pulled_slide_is_a_horn_that_has_the_note(client) -> None:
    found = opened(client, "deep-water-bass-trombone.musicxml")
    before = planned(client, found, horn="bass-single")
    lacking = [note for note in before["notes"] if note["label"] is None and note["sounding"] == "B1"]
    assert lacking
    reply = client.post("/api/horns/pulled", json={"horn": "bass-single", "midi": lacking[0]["midi"], "keep": False})
    name = reply.json()["name"]
    after = planned(client, found, horn=name)
    assert all(note["label"] for note in after["notes"] if note["midi"] == lacking[0]["midi"])
    assert after["unplayable"] < before["unplayable"]
    assert client.post("/api/horns/pulled", json={"horn": "bass-independent", "midi": 35}).status_code == 400
    assert client.post("/api/horns/pulled", json={"horn": "bass-single"}).status_code == 400


def test_a_change_names_its_note(client) -> None:
    found = opened(client, "deep-water-bass-trombone.musicxml")
    notes = planned(client, found, horn="bass-single")["notes"]
    changes = client.post("/api/review", content=question(found, horn="bass-single")).json()["page"]["changes"]
    assert changes
    for change in changes:
        note = notes[change["index"]]
        assert f"measure {note['measure']}:" in change["said"]
        assert note["written"] in change["said"]


def lacking(page):
    return page.locator("#music .hot[role=button][aria-label*=': B1,'][aria-label*='cannot be played']")


def test_a_note_that_cannot_be_played_is_changed_left_or_found_elsewhere(tab) -> None:
    take_sample(tab, "Deep water bass trombone")
    tab.locator("#horn").evaluate("one => { one.closest('details').open = true; }")
    tab.locator("#horn").select_option("bass-single")
    settled(tab)
    before = lacking(tab).count()
    assert before == 2
    lacking(tab).first.click()
    tab.locator("#ways-look").click()
    expect(tab.locator("#ways .was svg .note").first).to_be_visible(timeout=WAIT_MS)
    expect(tab.locator("#ways .now svg .mark").first).to_be_visible()
    expect(tab.locator("#ways-found")).to_contain_text("Play it an octave up")
    tab.get_by_role("button", name="Leave it").click()
    expect(tab.locator("#ways-look")).to_be_visible()
    # Taken: this note alone; undone: as written.
    tab.locator("#ways-look").click()
    tab.get_by_role("button", name="Change this note").click()
    expect(tab.locator("#rewritten")).to_be_visible(timeout=WAIT_MS)
    settled(tab)
    expect(lacking(tab)).to_have_count(before - 1)
    tab.locator("#as-written").click()
    settled(tab)
    expect(lacking(tab)).to_have_count(before)
    # The slide pulled: marks on the attachment lie elsewhere, and the note is there; undone.
    lacking(tab).first.click()
    tab.locator("#ways-look").click()
    tab.get_by_role("button", name="Pull the attachment").click()
    expect(tab.locator("#horn")).to_have_value("bass-pulled-past-E", timeout=WAIT_MS)
    settled(tab)
    expect(lacking(tab)).to_have_count(0)
    tab.locator("#undo").click()
    settled(tab)
    expect(lacking(tab)).to_have_count(before)


def middle(page, measure: int, note: int) -> tuple[float, float]:
    box = page.locator(f"#music .hot[role=button][aria-label^='Measure {measure}, note {note}:']").bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def test_measures_are_chosen_by_drawing_over_them_and_by_keys(laptop) -> None:
    take_sample(laptop)
    laptop.locator("#music .hot[aria-label^='Measure 9, note 1:']").evaluate(
        "one => one.scrollIntoView({block: 'center'})")
    (x, y), end = middle(laptop, 9, 1), middle(laptop, 12, 1)
    laptop.mouse.move(x, y)
    laptop.mouse.down()
    laptop.mouse.move(x + 30, y)
    laptop.mouse.move(*end, steps=4)
    laptop.mouse.up()
    expect(laptop.locator("#picked-said")).to_have_text("Measures 9 to 12")
    expect(laptop.locator("#choices")).to_be_hidden()
    laptop.locator("#picked-loop").click()
    expect(laptop.locator("#music .sounding[role=button]").first).to_have_attribute(
        "aria-label", re.compile("^Measure (9|10|11|12),"), timeout=WAIT_MS)
    assert laptop.locator("#play-loop").is_checked()
    laptop.locator("#play").click()
    with laptop.expect_download(timeout=60000) as found:
        laptop.locator("#picked-take").click()
    assert found.value.suggested_filename == "attachment-etude-take-home.html"
    laptop.locator("#picked-only").click()
    settled(laptop)
    expect(laptop.locator("#music .hot[role=button]").first).to_have_attribute("aria-label", re.compile("^Measure 9,"))
    laptop.locator("#whole").click()
    settled(laptop)
    expect(laptop.locator("#whole")).to_be_hidden()
    # The same by keys: the first and the last measure of the loop at the note that has the focus.
    note = laptop.locator("#music .hot[role=button]")
    note.nth(0).focus()
    laptop.keyboard.press("[")
    expect(laptop.locator("#picked-said")).to_contain_text("Measures 1 to ")
    laptop.keyboard.press("]")
    expect(laptop.locator("#picked-said")).to_have_text("Measure 1")
    expect(laptop.locator("#music .hot:focus")).to_have_attribute("aria-label", re.compile("^Measure 1, note 1"))


def test_a_finger_draws_over_measures_and_still_scrolls(browser, address: str) -> None:
    for page in opened_tab(browser, address, "phone"):
        take_sample(page)
        page.locator("#music .hot[aria-label^='Measure 9, note 1:']").evaluate(
            "one => one.scrollIntoView({block: 'center'})")
        (x, y), end = middle(page, 9, 1), middle(page, 9, 2)
        touch = page.context.new_cdp_session(page)

        def send(kind: str, *points: tuple[float, float], to=touch) -> None:
            to.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": a, "y": b} for a, b in points]})

        send("touchStart", (x, y))
        for step in range(1, 9):
            send("touchMove", (x + (end[0] - x + 30) * step / 8, y))
        send("touchEnd")
        expect(page.locator("#picked-said")).to_contain_text("Measure")
        expect(page.locator("#choices")).to_be_hidden()
        page.locator("#picked-none").click()
        # Up and down is still the page's own way.
        at = page.evaluate("() => window.scrollY")
        send("touchStart", (x, y))
        for step in range(1, 9):
            send("touchMove", (x, y - 25 * step))
        send("touchEnd")
        page.wait_for_function("at => window.scrollY > at + 50", arg=at, timeout=WAIT_MS)
        expect(page.locator("#picked")).to_be_hidden()


def test_sections_have_names_and_their_players_stand_in_every_list(laptop) -> None:
    laptop.locator("#samples").get_by_role("button", name="Harbour march trio").click()
    expect(laptop.locator("#view-section")).to_be_visible(timeout=WAIT_MS)
    rested(laptop)
    laptop.locator("#section-ready button").first.click()
    laptop.locator("#section-name").fill("Junior band")
    laptop.locator("#member-3-name").fill("E. M.")
    laptop.locator("#section-new").click()
    laptop.locator("#section-name").fill("Brass")
    laptop.locator("#section-ready button").nth(1).click()
    expect(laptop.locator("#members fieldset")).to_have_count(5)
    laptop.locator("#section-which").select_option("Junior band")
    expect(laptop.locator("#members fieldset")).to_have_count(4)
    # Kept: found after a reload, and listed where a player is asked for.
    laptop.locator("#home").click()
    expect(laptop.locator("#memory-said")).to_contain_text("2 sections")
    laptop.reload()
    laptop.get_by_role("button", name="Evening song euphonium").click()
    settled(laptop)
    laptop.locator("#player > summary").click()
    laptop.locator("#who").select_option(label="E. M. (Junior band)")
    settled(laptop)
    expect(laptop.locator("#horn")).to_have_value("euphonium-3")
    expect(laptop.locator("#player-name")).to_have_text(": E. M.")
    laptop.locator("#tab-section").click()
    rested(laptop)
    laptop.locator("#section-said").click()
    laptop.locator("#section-drop").click()
    expect(laptop.locator("#section-which")).to_have_value("Brass")
    laptop.locator("#section-undrop").click()
    expect(laptop.locator("#section-which")).to_have_value("Junior band")
    expect(laptop.locator("#member-3-name")).to_have_value("E. M.")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_open_previews_and_the_comparison_are_clean_plain_and_large_enough(browser, address: str, scheme: str) -> None:
    for page in opened_tab(browser, address, "phone", color_scheme=scheme):
        def looked(page=page) -> None:
            assert faults(page) == []
            assert page.evaluate(SMALL) == []
            assert page.evaluate("() => document.documentElement.scrollWidth") <= 390
            plain_here(page)

        page.get_by_role("button", name="Deep water bass trombone").click()
        expect(page.locator("#review-said")).not_to_be_empty(timeout=WAIT_MS)
        rested(page)
        page.locator("#setup-said").click()
        page.locator("#horn").select_option("bass-single")
        rested(page)
        page.locator("#setup-said").click()
        expect(page.locator("#review-said")).to_contain_text("measures 15, 30, 45, 46", timeout=WAIT_MS)
        page.locator("#changes button").first.click()
        expect(page.locator("#changes .now svg .mark").first).to_be_visible(timeout=WAIT_MS)
        rested(page)
        looked()
        Mouse(page).turn("compare")
        expect(page.locator("#compared table").first).to_be_visible(timeout=WAIT_MS)
        rested(page)
        looked()
        page.locator("#tab-marks").click()
        settled(page)
        lacking(page).first.click()
        page.locator("#ways-look").click()
        expect(page.locator("#ways .now svg .mark").first).to_be_visible(timeout=WAIT_MS)
        looked()
        page.locator("#close").click()
        page.locator("#music .hot[tabindex='0']").focus()
        page.keyboard.press("[")
        expect(page.locator("#picked")).to_be_visible()
        looked()
        # Large print is of the words, too, and still fits a phone.
        page.locator("#setup-said").click()
        page.locator("#size").select_option("2")
        settled(page)
        assert page.evaluate("() => parseFloat(getComputedStyle(document.body).fontSize)") > 20
        looked()


def test_paper_has_the_answer_the_music_and_no_buttons(laptop, tmp_path: Path) -> None:
    pypdf = pytest.importorskip("pypdf", reason="pypdf is not installed")
    take_sample(laptop)
    expect(laptop.locator("#practice-first")).to_be_visible()
    laptop.locator("#size").select_option("1.4")
    settled(laptop)
    laptop.pdf(path=str(tmp_path / "page.pdf"), format="A4")
    text = "".join(page.extract_text() for page in pypdf.PdfReader(tmp_path / "page.pdf").pages)
    assert "All 233 notes can be played" in text
    assert "What the score does not say" in text
    assert not [word for word in ("Practice measure", "Show only these", "Undo", "Take it with you") if word in text]
