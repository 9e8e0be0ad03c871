"""The same ban in a real browser: what a reader sees in every view, where all goes well and where it does not."""

import json
from pathlib import Path

from tests.web.browsing import WAIT_MS, Mouse, expect, rested, take_sample
from tests.web.test_plain import TERMINAL


def plain_here(page) -> str:
    """Everything that a reader sees or a screen reader says, hidden views and their labels too."""
    text = page.evaluate("""() => {
      const said = [document.title, document.body.innerText];
      for (const element of document.querySelectorAll("[aria-label], [title], [placeholder], [aria-valuetext]"))
        for (const name of ["aria-label", "title", "placeholder", "aria-valuetext"])
          if (element.hasAttribute(name)) said.push(element.getAttribute(name));
      for (const details of document.querySelectorAll("details")) said.push(details.textContent);
      return said.join("\\n");
    }""")
    found = TERMINAL.search(text)
    assert found is None, text[max(0, found.start() - 80):found.end() + 80]
    return text


def test_every_view_is_plain(laptop, tmp_path: Path) -> None:
    plain_here(laptop)
    # Not a score; a score with nothing for low brass.
    laptop.set_input_files("#file", files={"name": "notes.txt", "mimeType": "text/plain", "buffer": b"no score"})
    expect(laptop.locator("#error")).to_be_visible(timeout=WAIT_MS)
    plain_here(laptop)
    take_sample(laptop, "Deep water bass trombone")
    assert "What the score does not say" in plain_here(laptop)
    # A horn that lacks notes, choices opened and one pinned.
    laptop.locator("#horn").select_option("bass-single")
    rested(laptop)
    laptop.locator("#music .hot").nth(3).click()
    laptop.locator("#others > summary").click() if laptop.locator("#others").is_visible() else None
    plain_here(laptop)
    laptop.locator("#list .choice").last.click()
    rested(laptop)
    plain_here(laptop)
    # Wrong measures and a wrong player.
    laptop.locator("#close").click()
    for field, wrong in (("#from", "900"), ("#low", "H2")):
        if field == "#low":
            laptop.locator("#player > summary").click()
        laptop.locator(field).fill(wrong)
        laptop.locator(field).blur()
        expect(laptop.locator("#error")).to_be_visible(timeout=WAIT_MS)
        rested(laptop)
        plain_here(laptop)
    laptop.locator("#tab-review").click()
    expect(laptop.locator("#review-said")).to_be_visible(timeout=WAIT_MS)
    assert "Cannot be played as written" in plain_here(laptop)
    Mouse(laptop).turn("compare")
    expect(laptop.locator("#compared table").first).to_be_visible(timeout=WAIT_MS)
    plain_here(laptop)
    laptop.locator("#tab-section").click()
    laptop.locator("#fit").click()
    expect(laptop.locator("#mistakes")).to_be_visible(timeout=WAIT_MS)
    plain_here(laptop)
    # One player and two horns to lend: the fit asks for changes.
    form = '[[player]]\nname = "A"\nhorns = ["tenor"]\nlow = "E2"\nhigh = "F4"\noutermost_position = 5\n'
    laptop.set_input_files("#section-file", files={"name": "mine.toml", "mimeType": "text/plain",
                                                   "buffer": ('spare = ["bass-single"]\n' + form).encode()})
    expect(laptop.locator("#said")).to_contain_text("is read", timeout=WAIT_MS)
    laptop.locator("#fit").click()
    expect(laptop.locator("#verdict")).to_be_visible(timeout=WAIT_MS)
    text = laptop.locator("#fitted").text_content()
    assert not TERMINAL.search(text), json.dumps(text)
