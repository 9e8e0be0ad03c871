"""Measure how long a click on a choice takes until its new marks stand: ``python -m tests.web.measure_pin [MEASURES]``.

A part of 100 measures (or as many as are named) in eighth notes, a real browser on a laptop's window, the picture of
the slide closed. Prints the median and the slowest of the clicks and what the time went into: `solve` and `marks` on
the server, `transfer` (the way there and back, waiting included), `browser` (the page's own work), and how much later
the frame stands painted. Run it on a quiet machine.
"""

import random
import statistics
import sys
import tempfile
from pathlib import Path

from tests.benchmarks.measuring import Figure, table
from tests.web.browsing import expect, opened_tab, settled, started_browser
from tests.web.running import served

MEASURES, CLICKS = 100, 15
_SCALE = [(step, octave) for octave in (2, 3, 4) for step in "CDEFGAB"][3:17]
# From the pin on, by the marks that the page sets and the times that the server's answer brings along. [ms]
_TIMES = """() => {
    const when = (name) => performance.getEntriesByName(`lowbrass-${name}`).at(-1).startTime;
    const [pinned, shown] = [when('pinned'), when('shown')];
    const asked = performance.getEntriesByType('resource').filter((one) => one.name.endsWith('/api/plan')).at(-1);
    const { solve, marks } = Object.fromEntries(asked.serverTiming.map((one) => [one.name, one.duration]));
    const served = asked.responseEnd - asked.startTime;
    performance.clearResourceTimings();
    return { solve, marks, transfer: served - solve - marks, browser: shown - pinned - served,
             paint: window.seen - shown, all: shown - pinned };
}"""
# When the frame with the new marks has been painted.
_WATCH = """() => {
    const mark = performance.mark.bind(performance);
    performance.mark = (name) => {
        const painted = () => setTimeout(() => { window.seen = performance.now(); });
        if (name === 'lowbrass-shown') requestAnimationFrame(painted);
        return mark(name);
    };
}"""
LIMIT_MS, SERVER_LIMIT_MS = 100.0, 50.0
LONG = 300                             # measures of the part that the server's limit is for


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


def clicks(page, score: Path) -> list[dict[str, float]]:
    """Return what the time of each click went into, and all of it up to the new marks. [ms]"""
    page.locator("#file").set_input_files(str(score))
    settled(page)
    expect(page.locator("#to-come")).to_be_hidden(timeout=120_000)
    page.locator("#picture").evaluate("(one) => { one.open = false; }")
    page.locator("#music .hot[role=button]").nth(400).click()
    settled(page)
    page.evaluate(_WATCH)
    found = []
    for _ in range(CLICKS):
        page.locator("#after").click()
        while page.locator('#list .choice[aria-pressed="false"]').count() == 0:
            page.locator("#after").click()
        page.evaluate("() => { window.seen = null; }")
        page.locator('#list .choice[aria-pressed="false"]').first.click()
        settled(page)
        page.wait_for_function("() => window.seen")
        found.append(page.evaluate(_TIMES))
    return found


def measured(measures: int = MEASURES) -> list[dict[str, float]]:
    """Start page and browser, and click. [ms]"""
    with served() as (_, address), tempfile.TemporaryDirectory() as folder:
        score = Path(folder) / "hundred.musicxml"
        score.write_text(part(measures), encoding="utf-8")
        # The page's policy forbids what waiting for a function of the page needs.
        return [one for browser in started_browser() for page in opened_tab(browser, address, "laptop", bypass_csp=True)
                for one in clicks(page, score)]


def figures(measures: int = MEASURES) -> list[Figure]:
    """Row for the table of benchmarks: the shares are medians of their own and need not add up."""
    found = measured(measures)
    shares = {name: statistics.median(one[name] for one in found) for name in found[0]}
    said = ", ".join(f"{name} {took:.0f}" for name, took in shares.items() if name not in ("all", "paint"))
    slowest = max(one["all"] for one in found)
    return [Figure(what=f"click to new marks in a browser, {measures} measures ({said} ms; painted "
                        f"{shares['paint']:.0f} ms later) / a tenth of a second",
                   ours=f"{shares['all']:.0f} ms, slowest {slowest:.0f} ms", theirs=f"{LIMIT_MS:.0f} ms",
                   value=shares["all"] / LIMIT_MS, limit=1.0)]


def server_figure(measures: int = LONG) -> Figure:
    """Row for the server's part of a click in a long part: solving it anew, and the marks that differ."""
    found = measured(measures)
    solve, marks, whole = (statistics.median(one[name] for one in found) for name in ("solve", "marks", "all"))
    return Figure(what=f"click to new marks, {measures} measures, on the server (solve {solve:.0f}, marks {marks:.0f} "
                       f"ms; {whole:.0f} ms until they stand in the browser) / a twentieth of a second",
                  ours=f"{solve + marks:.0f} ms", theirs=f"{SERVER_LIMIT_MS:.0f} ms",
                  value=(solve + marks) / SERVER_LIMIT_MS, limit=1.0)


if __name__ == "__main__":
    print(table(figures(int(sys.argv[1]) if len(sys.argv) > 1 else MEASURES)))
