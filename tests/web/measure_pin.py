"""Measure how long a click on a choice takes until its new marks stand: ``python -m tests.web.measure_pin``.

A part of 100 measures in eighth notes, a real browser on a laptop's window, the picture of the slide closed. Prints the
median and the slowest of the clicks; run it on a quiet machine.
"""

import random
import statistics
import tempfile
from pathlib import Path

from tests.web.browsing import opened_tab, settled, started_browser
from tests.web.running import served

MEASURES, CLICKS = 100, 15
_SCALE = [(step, octave) for octave in (2, 3, 4) for step in "CDEFGAB"][3:17]
_TIMES = """() => {
    const when = (name) => performance.getEntriesByName(`lowbrass-${name}`).at(-1).startTime;
    return when('shown') - when('pinned');
}"""


def part(measures: int = MEASURES) -> str:
    """Return a trombone part of wandering eighth notes as MusicXML."""
    chance, at, out = random.Random(5), 5, []
    for number in range(1, measures + 1):
        notes = ""
        for _ in range(8):
            at = max(0, min(len(_SCALE) - 1, at + chance.choice((-3, -2, -1, 1, 2, 3))))
            step, octave = _SCALE[at]
            notes += (f"<note><pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>1</duration>"
                      "<type>eighth</type></note>")
        head = ("<attributes><divisions>2</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
                "<clef><sign>F</sign><line>4</line></clef></attributes>" if number == 1 else "")
        out.append(f'<measure number="{number}">{head}{notes}</measure>')
    return ('<?xml version="1.0"?><score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Trombone'
            f'</part-name></score-part></part-list><part id="P1">{"".join(out)}</part></score-partwise>')


def clicks(page, score: Path) -> list[float]:
    """Return the times from click to new marks. [ms]"""
    page.locator("#file").set_input_files(str(score))
    settled(page)
    page.locator("#picture").evaluate("(one) => { one.open = false; }")
    page.locator("#music .hot[role=button]").nth(400).click()
    settled(page)
    found = []
    for _ in range(CLICKS):
        page.locator("#after").click()
        while page.locator('#list .choice[aria-pressed="false"]').count() == 0:
            page.locator("#after").click()
        page.locator('#list .choice[aria-pressed="false"]').first.click()
        settled(page)
        found.append(page.evaluate(_TIMES))
    return found


def main() -> None:
    """Measure and print."""
    with served() as (_, address), tempfile.TemporaryDirectory() as folder:
        score = Path(folder) / "hundred.musicxml"
        score.write_text(part(), encoding="utf-8")
        for browser in started_browser():
            for page in opened_tab(browser, address, "laptop"):
                found = clicks(page, score)
    print(f"click to new marks, {MEASURES} measures: median {statistics.median(found):.0f} ms, "
          f"slowest {max(found):.0f} ms of {CLICKS}")


if __name__ == "__main__":
    main()
