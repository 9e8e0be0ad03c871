"""The page in a real browser: mouse, keyboard alone, phone and laptop, reload, two tabs, accessibility."""

import statistics
import tomllib
from pathlib import Path

import pytest

from tests.web.browsing import SMALL, WAIT_MS, Mouse, expect, faults, let_go, opened_tab, rested, settled, take_sample
from tests.web.running import ROOT

SAMPLE = ROOT / "sample_scores" / "attachment-etude.musicxml"


def with_choices(page) -> int:
    """Index of a note that has more than one choice: measure 11 holds quick notes."""
    return page.evaluate("""() => {
        const notes = [...document.querySelectorAll('#music .hot[role=button]')];
        return notes.findIndex((note) => note.getAttribute('aria-label').startsWith('Measure 11, note 3:'));
    }""")


def test_a_note_is_pinned_by_mouse(tab) -> None:
    take_sample(tab)
    index = with_choices(tab)
    note = tab.locator("#music .hot[role=button]").nth(index)
    note.click()
    expect(tab.locator("#note")).to_contain_text("Measure 11, note 3")
    expect(tab.locator('#list .choice[aria-pressed="true"]')).to_have_count(1)
    second = tab.locator("#list .choice").nth(1)
    label = second.get_attribute("data-label")
    second.click()
    settled(tab)
    expect(note).to_have_attribute("aria-label", expected_label(label))
    expect(tab.locator(f'#music .mark[data-index="{index}"] text')).to_have_text(label.replace("#", "♯"))
    expect(tab.locator("#pins li")).to_have_count(1)
    tab.locator("#undo").click()
    settled(tab)
    expect(tab.locator("#pins")).to_be_hidden()
    tab.locator("#redo").click()
    settled(tab)
    expect(tab.locator("#pins li")).to_have_count(1)
    tab.locator("#unpin").click()
    settled(tab)
    expect(tab.locator("#pins")).to_be_hidden()


def expected_label(label: str):
    import re

    return re.compile(f"played {re.escape(label.replace('#', ' sharp'))}, chosen by you")


def test_a_note_is_pinned_by_keyboard_alone(tab) -> None:
    def press_until(name: str, found: str) -> None:
        for _ in range(60):
            tab.keyboard.press(name)
            if tab.evaluate(f"() => Boolean(document.activeElement?.matches({found!r}))"):
                return
        raise AssertionError(f"{found} is not reached with {name}")

    expect(tab.locator("#samples").get_by_role("button", name="Attachment etude")).to_be_visible()
    press_until("Tab", "#samples button")
    tab.keyboard.press("Enter")
    settled(tab)
    press_until("Tab", "#music .hot")
    index = with_choices(tab)
    for _ in range(index):
        tab.keyboard.press("ArrowRight")
    assert tab.evaluate("() => document.activeElement.getAttribute('aria-label')").startswith("Measure 11, note 3")
    tab.keyboard.press("Enter")
    expect(tab.locator("#choices")).to_be_visible()
    assert tab.evaluate("() => document.activeElement.matches('#list [aria-pressed=true]')")
    tab.keyboard.press("ArrowDown")
    label = tab.evaluate("() => document.activeElement.dataset.label")
    tab.keyboard.press("Enter")
    settled(tab)
    note = tab.locator("#music .hot[role=button]").nth(index)
    expect(note).to_have_attribute("aria-label", expected_label(label))
    # Focus has stayed on the choice; Escape leads back to the note.
    assert tab.evaluate("() => document.activeElement.dataset.label") == label
    tab.keyboard.press("Escape")
    settled(tab)
    assert tab.evaluate("() => document.activeElement.getAttribute('aria-label')").startswith("Measure 11, note 3")
    tab.keyboard.press("Control+z")
    settled(tab)
    expect(tab.locator("#pins")).to_be_hidden()
    tab.keyboard.press("ArrowDown")
    assert not tab.evaluate("() => document.activeElement.getAttribute('aria-label')").startswith("Measure 11, note 3")


def test_a_file_is_chosen_settings_are_heard_and_reload_keeps_all(laptop) -> None:
    laptop.locator("#file").set_input_files(str(SAMPLE))
    settled(laptop)
    expect(laptop.locator("#title")).to_have_text("Attachment Etude")
    laptop.locator("#horn").select_option("tenor")
    settled(laptop)
    expect(laptop.locator("#heading")).to_contain_text("Tenor trombone")
    laptop.locator("#from").fill("9")
    laptop.locator("#to").fill("12")
    laptop.locator("#to").press("Enter")
    settled(laptop)
    expect(laptop.locator("#music .hot[role=button]").first).to_have_attribute("aria-label", at("Measure 9, note 1"))
    laptop.locator("#tempo").focus()
    laptop.locator("#tempo").press("End")
    settled(laptop)
    expect(laptop.locator("#tempo-said")).to_contain_text("260")
    laptop.locator("#music .hot[role=button]").first.click()
    laptop.locator("#list .choice").first.click()
    settled(laptop)
    laptop.reload()
    settled(laptop)
    expect(laptop.locator("#horn")).to_have_value("tenor")
    expect(laptop.locator("#from")).to_have_value("9")
    expect(laptop.locator("#tempo-said")).to_contain_text("260")
    expect(laptop.locator("#pins li")).to_have_count(1)


def at(start: str):
    import re

    return re.compile(f"^{re.escape(start)}")


def test_two_tabs_do_not_disturb_each_other(laptop, address: str) -> None:
    take_sample(laptop)
    other = laptop.context.new_page()
    other.goto(address)
    other.get_by_role("button", name="Evening song euphonium").click()
    settled(other)
    laptop.locator("#music .hot[role=button]").first.click()
    laptop.locator("#list .choice").first.click()
    settled(laptop)
    expect(laptop.locator("#pins li")).to_have_count(1)
    expect(other.locator("#pins")).to_be_hidden()
    laptop.reload()
    settled(laptop)
    expect(laptop.locator("#title")).to_have_text("Attachment Etude")
    expect(other.locator("#title")).not_to_have_text("Attachment Etude")


def test_a_wrong_file_is_one_line_and_keeps_the_work(laptop, tmp_path: Path) -> None:
    take_sample(laptop)
    wrong = tmp_path / "song.musicxml"
    wrong.write_text("hello", encoding="utf-8")
    laptop.locator("#file-again").set_input_files(str(wrong))
    expect(laptop.locator("#error")).to_contain_text("song.musicxml: this is not MusicXML")
    expect(laptop.locator("#music > svg").first).to_be_visible()


def test_a_question_that_cannot_be_answered_is_not_kept(laptop) -> None:
    take_sample(laptop)
    laptop.locator("#from").fill("900")
    laptop.locator("#from").press("Enter")
    expect(laptop.locator("#error")).to_contain_text("there is no measure 900")
    laptop.reload()
    settled(laptop)
    expect(laptop.locator("#error")).to_be_hidden()
    expect(laptop.locator("#music > svg").first).to_be_visible()


def test_paper_breaks_between_systems_and_controls_stay_off_it(laptop, tmp_path: Path) -> None:
    pypdf = pytest.importorskip("pypdf", reason="pypdf is not installed")
    take_sample(laptop)
    laptop.locator("#picture").evaluate("(element) => { element.open = false; }")
    systems = laptop.locator("#music > svg").count()
    assert systems > 3
    assert laptop.locator("#music .system").count() == systems
    laptop.pdf(path=str(tmp_path / "page.pdf"), format="A4")
    pages = [page.extract_text() for page in pypdf.PdfReader(tmp_path / "page.pdf").pages]
    assert "Adagio" in pages[0]
    assert "not medical advice" in pages[-1]
    assert not any("Undo" in text or "Choose" in text for text in pages)


def test_a_score_that_the_server_let_go_is_opened_again_with_its_pins(laptop) -> None:
    laptop.locator("#file").set_input_files(str(SAMPLE))
    settled(laptop)
    laptop.locator("#music .hot[role=button]").first.click()
    laptop.locator("#list .choice").first.click()
    settled(laptop)
    let_go(laptop)
    laptop.locator("#horn").select_option("tenor")
    expect(laptop.locator("#heading")).to_contain_text("straight", timeout=WAIT_MS)
    settled(laptop)
    expect(laptop.locator("#pins li")).to_have_count(1)
    expect(laptop.locator("#error")).to_be_hidden()


def test_without_the_engraver_the_notes_stand_as_words(laptop) -> None:
    laptop.route("**/api/music", lambda route: route.fulfill(status=400, json={"line": "the picture needs verovio"}))
    laptop.locator("#samples").get_by_role("button", name="Attachment etude").click()
    note = laptop.locator("#music span.hot").nth(20)
    expect(note).to_be_visible(timeout=WAIT_MS)
    expect(laptop.locator("#error")).to_contain_text("verovio")
    note.click()
    laptop.locator("#list .choice").first.click()
    expect(laptop.locator("#pins li")).to_have_count(1)
    expect(laptop.locator("#music span.hot").nth(20)).to_have_attribute("aria-label", pinned_by_you(), timeout=WAIT_MS)


def pinned_by_you():
    import re

    return re.compile("chosen by you")


def test_the_private_page_leads_in_and_the_key_leaves_the_address(browser, address: str) -> None:
    from analyzer.web.server import door

    page = browser.new_context().new_page()
    sent: list[str] = []
    page.on("request", lambda request: sent.append(f"{request.url} {request.headers.get('referer', '')}"))
    with door(address) as file:
        page.goto(file.as_uri())
        expect(page.locator("#samples li").first).to_be_visible(timeout=WAIT_MS)
    key = address.split("key=")[1]
    assert page.url == address.split("#")[0]
    assert key not in page.title()
    # The fragment of the first address is never sent (RFC 9110, 7.1); everything after it has no key at all.
    assert not [line for line in sent if key in line and not line.startswith(address)]
    page.reload()
    expect(page.locator("#samples li").first).to_be_visible(timeout=WAIT_MS)
    page.context.close()


def test_without_its_key_a_tab_is_told_what_to_do(browser, address: str) -> None:
    page = browser.new_context().new_page()
    page.goto(address.split("#")[0])
    expect(page.locator("#error")).to_contain_text("Open the address that was printed", timeout=WAIT_MS)
    page.context.close()


def test_downloads_come_as_files(laptop) -> None:
    take_sample(laptop)
    for button, name in (("For the phone", "attachment-etude-take-home.html"), ("Wall chart", "tenor-f-chart.pdf"),
                         ("Practice sheet", "attachment-etude-practice.pdf")):
        with laptop.expect_download(timeout=60000) as found:
            laptop.get_by_role("button", name=button).click()
        assert found.value.suggested_filename == name
        assert Path(found.value.path()).read_bytes()[:5] in (b"%PDF-", b"<!DOC")
    laptop.get_by_text("Other files").click()
    with laptop.expect_download() as found:
        laptop.get_by_role("button", name="Marked score").click()
    assert found.value.suggested_filename == "attachment-etude-marked.musicxml"
    assert b"<?lowbrass" in Path(found.value.path()).read_bytes()


def test_another_player_s_mark_leads_to_that_player(laptop) -> None:
    take_sample(laptop, "Harbour march trio")
    expect(laptop.locator("#line")).to_have_value("1")
    laptop.locator("#music .other.mark").first.click()
    settled(laptop)
    expect(laptop.locator("#line")).to_have_value("2", timeout=WAIT_MS)
    expect(laptop.locator("#choices")).to_be_visible()


def test_long_work_is_told_and_can_be_cancelled(laptop) -> None:
    take_sample(laptop, "Harbour march trio")
    laptop.locator("#tab-section").click()
    laptop.get_by_role("button", name="Fill in an invented section").click()
    held = []
    laptop.route("**/api/fit", lambda route: held.append(route))
    laptop.locator("#fit").click()
    expect(laptop.locator("#busy")).to_contain_text("Trying who plays what", timeout=WAIT_MS)
    laptop.locator("#cancel").click()
    expect(laptop.locator("#busy")).to_be_hidden()
    expect(laptop.locator("#said")).to_have_text("Stopped.")
    expect(laptop.locator("#error")).to_be_hidden()
    laptop.unroute("**/api/fit")
    laptop.locator("#fit").click()
    expect(laptop.locator("#verdict")).to_be_visible(timeout=WAIT_MS)
    assert held


def test_pins_and_players_travel_as_files(laptop, tmp_path: Path) -> None:
    take_sample(laptop)
    laptop.get_by_text("Other files").click()
    laptop.locator("#music .hot[role=button]").nth(with_choices(laptop)).click()
    laptop.locator("#list .choice").nth(1).click()
    settled(laptop)
    with laptop.expect_download() as found:
        laptop.get_by_role("button", name="Save my choices").click()
    assert found.value.suggested_filename == "attachment-etude-pins.toml"
    saved = tmp_path / "pins.toml"
    saved.write_bytes(Path(found.value.path()).read_bytes())
    laptop.locator("#undo").click()
    settled(laptop)
    expect(laptop.locator("#pins")).to_be_hidden()
    laptop.locator("#pins-file").set_input_files(str(saved))
    expect(laptop.locator("#pins li")).to_have_count(1, timeout=WAIT_MS)
    saved.write_text(saved.read_text(encoding="utf-8").replace('"11:3=', '"999:3='), encoding="utf-8")
    laptop.locator("#pins-file").set_input_files(str(saved))
    expect(laptop.locator("#error")).to_contain_text("none of its choices belongs to this score", timeout=WAIT_MS)
    laptop.locator("#player summary").click()
    laptop.locator("#player-file").set_input_files(str(ROOT / "sample_scores" / "student.toml"))
    expect(laptop.locator("#outermost")).to_have_value("6", timeout=WAIT_MS)
    expect(laptop.locator("#learned")).to_have_value("T")
    expect(laptop.locator("#player-name")).to_contain_text("Player 1")
    settled(laptop)
    with laptop.expect_download() as found:
        laptop.get_by_role("button", name="Save as a player file").click()
    given = tomllib.loads((ROOT / "sample_scores" / "student.toml").read_text(encoding="utf-8"))
    assert tomllib.loads(Path(found.value.path()).read_text(encoding="utf-8")) == given


def test_nothing_runs_out_of_the_page(tab) -> None:
    take_sample(tab)
    tab.locator("#music .hot[role=button]").first.click()
    settled(tab)
    assert tab.evaluate("() => document.documentElement.scrollWidth <= window.innerWidth")


def test_the_answer_to_a_pin_comes_at_once(laptop) -> None:
    take_sample(laptop)
    index = with_choices(laptop)
    laptop.locator("#music .hot[role=button]").nth(index).click()
    settled(laptop)
    times = []
    for _ in range(5):
        other = laptop.locator('#list .choice[aria-pressed="false"]').first
        other.click()
        settled(laptop)
        times.append(laptop.evaluate(
            "() => ['shown', 'engraved'].map((one) => performance.getEntriesByName('lowbrass-' + one).at(-1).startTime"
            " - performance.getEntriesByName('lowbrass-pinned').at(-1).startTime)"))
    shown, engraved = (statistics.median(column) for column in zip(*times, strict=True))
    print(f"click to new marks {shown:.0f} ms, to the new engraving {engraved:.0f} ms (median of {len(times)})")
    assert shown < 1000
    assert engraved < 5000


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_no_fault(tab, scheme: str) -> None:
    tab.emulate_media(color_scheme=scheme)
    expect(tab.locator("#samples").get_by_role("button", name="Attachment etude")).to_be_visible()
    assert faults(tab) == []
    take_sample(tab)
    assert faults(tab) == []
    tab.locator("#music .hot[role=button]").nth(with_choices(tab)).click()
    tab.locator("#list .choice").nth(1).click()
    settled(tab)
    assert faults(tab) == []
    for view in ("review", "compare", "section"):
        Mouse(tab).turn(view)
        expect(tab.locator(f"#view-{view}")).to_be_visible()
        rested(tab)
        assert faults(tab) == []


def test_it_is_dark_as_the_computer_has_it_or_as_chosen(browser, address: str) -> None:
    ground = "() => getComputedStyle(document.documentElement).backgroundColor"
    for page in opened_tab(browser, address, "laptop", color_scheme="dark"):
        take_sample(page)
        dark = page.evaluate(ground)
        assert max(int(part) for part in dark[4:-1].split(",")) < 60
        page.locator("#scheme").select_option("light")
        assert page.evaluate(ground) != dark
        page.emulate_media(media="print")
        page.evaluate("() => { document.documentElement.dataset.scheme = 'dark'; }")
        assert page.evaluate(ground) == "rgb(255, 255, 255)"


def test_targets_are_as_large_as_fingers(browser, address: str) -> None:
    for page in opened_tab(browser, address, "phone"):
        assert page.evaluate(SMALL) == []
        take_sample(page)
        page.locator("#setup-said").click()
        page.locator("#listen > summary").click()
        page.locator("#music .hot[role=button]").nth(3).click()
        assert page.evaluate(SMALL) == []
        page.locator("#close").click()
        for view in ("review", "section"):
            page.locator(f"#tab-{view}").click()
            rested(page)
            assert page.evaluate(SMALL) == []
            assert page.evaluate("() => document.documentElement.scrollWidth") <= 390


def test_a_long_part_comes_length_by_length_and_all_of_it_works(laptop, tmp_path: Path) -> None:
    from tests.benchmarks import making

    score = tmp_path / "long.musicxml"
    score.write_bytes(making.study(100))
    lengths: list[str] = []
    laptop.on("response", lambda reply: lengths.append(reply.url) if reply.url.endswith("/api/music") else None)
    laptop.locator("#file").set_input_files(str(score))
    settled(laptop)
    # The last note is asked for before its music stands: the focus goes there when it does.
    laptop.locator("#music .hot[tabindex='0']").focus()
    laptop.keyboard.press("End")
    expect(laptop.locator("#to-come")).to_be_hidden(timeout=WAIT_MS)
    expect(laptop.locator("#music .hot[role=button]")).to_have_count(800)
    assert len(lengths) > 1
    expect(laptop.locator("#music .hot:focus")).to_have_attribute("aria-label", at("Measure 100, note"))
    assert laptop.locator("#music [id]").evaluate_all("all => new Set(all.map(one => one.id)).size === all.length")
    # A choice in the second length changes its marks in place; the music is not drawn anew.
    note = laptop.locator("#music .hot[role=button]").nth(700)
    note.click()
    before = len(lengths)
    index = 700
    while laptop.locator('#list .choice[aria-pressed="false"]').count() == 0:
        laptop.locator("#after").click()
        index += 1
    other = laptop.locator('#list .choice[aria-pressed="false"]').first
    label = other.get_attribute("data-label")
    other.click()
    settled(laptop)
    expect(laptop.locator(f'#music .mark[data-index="{index}"] text')).to_have_text(label.replace("#", "♯"))
    assert len(lengths) == before
