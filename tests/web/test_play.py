"""Playback in a real browser: pitches as the choices speak, times as the plan says, a slide with the least jerk."""

import re

import pytest

from tests.web.browsing import WAIT_MS, expect, opened_tab, settled, take_sample

PITCH = """async (note) => {
    const { voice, waveOf } = await import('/sound.js');
    const rate = 44100, context = new OfflineAudioContext(1, rate * 2, rate);
    voice(context, context.destination, waveOf(context), note, 0.1, 1.8);
    const heard = (await context.startRendering()).getChannelData(0);
    // Two windows half a second apart: the phase of the strongest partial tells the frequency to a hundredth of a cent.
    const coefficient = (hz, from, count) => {
        let [re, im] = [0, 0];
        for (let k = 0; k < count; k += 1) {
            const window = 0.5 - 0.5 * Math.cos(2 * Math.PI * k / count), angle = 2 * Math.PI * hz * (from + k) / rate;
            re += window * heard[from + k] * Math.cos(angle);
            im -= window * heard[from + k] * Math.sin(angle);
        }
        return [Math.hypot(re, im), Math.atan2(im, re)];
    };
    let [best, most] = [0, -1];
    for (let hz = 30; hz < 700; hz += 0.25) {
        const [size] = coefficient(hz, 22050, 11025);
        if (size > most) [best, most] = [hz, size];
    }
    const step = 4410, [, first] = coefficient(best, 22050, 11025), [, second] = coefficient(best, 22050 + step, 11025);
    let turn = second - first;
    turn -= 2 * Math.PI * Math.round(turn / (2 * Math.PI));
    const loudest = heard.reduce((most, value) => Math.max(most, Math.abs(value)), 0);
    return { hz: best + turn * rate / (2 * Math.PI * step), before: Math.abs(heard[2000]), loudest,
        last: Math.abs(heard[rate * 2 - 1]) };
}"""


@pytest.mark.parametrize(("midi", "off_cents"), [
    (34, 0.0), (58, 31.2), *(pytest.param(*note, marks=pytest.mark.whole) for note in ((46, -13.7), (65, 0.0)))])
def test_a_voice_sounds_at_its_pitch(laptop, midi: int, off_cents: float) -> None:
    from math import log2

    heard = laptop.evaluate(PITCH, {"midi": midi, "off_cents": off_cents})
    wanted = 440 * 2 ** ((midi - 69 + off_cents / 100) / 12)    # ISO 16: A4 = 440 Hz, equal temperament
    partial = round(heard["hz"] / wanted)
    assert partial in (1, 2)
    assert abs(1200 * log2(heard["hz"] / (wanted * partial))) < 1
    assert heard["before"] == heard["last"] == 0
    assert 0.3 < heard["loudest"] <= 1.3


def test_the_slide_moves_with_the_least_jerk(laptop) -> None:
    """Flash and Hogan, J Neurosci 5(7), 1985: x = 10t^3 - 15t^4 + 6t^5; the peak is 1.875 times the mean speed."""
    found = laptop.evaluate("""async () => {
        const { eased, standingAt } = await import('/slide.js');
        const notes = [
            { start_s: 0, sounds_s: 1, move_s: 0.4, extension_mm: 0, valves: [], label: '1' },
            { start_s: 1, sounds_s: 1, move_s: 0.4, extension_mm: 200, valves: ['T'], label: 'T3' },
            { start_s: 2, sounds_s: 1, move_s: 0.4, extension_mm: null, valves: [], label: null },
            { start_s: 3, sounds_s: 1, move_s: 0.4, extension_mm: 50, valves: [], label: '2' }];
        const speeds = Array.from({ length: 1000 }, (_, k) => (eased((k + 1) / 1000) - eased(k / 1000)) * 1000);
        return {
            peak: Math.max(...speeds), at: speeds.indexOf(Math.max(...speeds)), ends: [-1, 0, 1, 2].map(eased),
            places: [-1, 0, 0.59, 0.8, 1, 1.99, 2.5, 2.8, 3].map((s) => standingAt(notes, s)),
            jumps: [0.8, 1].map((s) => standingAt(notes, s, true).mm) };
    }""")
    assert found["peak"] == pytest.approx(1.875, abs=1e-3)
    assert abs(found["at"] - 500) <= 1
    assert found["ends"] == [0, 0, 1, 1]
    places = [round(one["mm"], 6) for one in found["places"]]
    # It rests until the time to move begins, is half-way in the middle of it, and waits where a note cannot be played.
    assert places == [0, 0, 0, 100, 200, 200, 200, 125, 50]
    assert found["places"][4]["valves"] == ["T"]
    assert found["places"][6]["label"] is None
    assert found["jumps"] == [0, 200]


def test_notes_light_up_in_time_at_half_speed_and_it_is_silent_at_once(laptop) -> None:
    take_sample(laptop)
    laptop.locator("#listen summary").click()
    laptop.locator("#play-speed").fill("50")
    laptop.locator("#play-count").uncheck()
    laptop.locator("#play-from").select_option("11")
    laptop.locator("#play-to").select_option("11")
    laptop.locator("#play-loop").check()
    laptop.evaluate("""() => {
        window.lit = [];
        const look = () => {
            const note = document.querySelector('#music .sounding')?.getAttribute('aria-label') ?? null;
            if (window.lit.at(-1)?.[0] !== note) window.lit.push([note, performance.now()]);
            requestAnimationFrame(look);
        };
        look();
    }""")
    with laptop.expect_response("**/api/sound") as reply:
        laptop.get_by_role("button", name="Play", exact=True).click()
    sound = reply.value.json()
    passage = [note for note in sound["notes"] if note["measure"] == "11"]
    expect(laptop.locator("#figure")).to_be_visible()
    seen = len(passage) + 2                 # once through, and into the second round
    laptop.locator("body").evaluate("""async (body, seen) => {
        while (window.lit.filter(([note]) => note).length < seen) await new Promise((done) => setTimeout(done, 50));
    }""", seen)
    laptop.keyboard.press("Escape")
    expect(laptop.locator("#music .sounding")).to_have_count(0)
    expect(laptop.locator("#figure")).to_be_hidden()
    expect(laptop.locator("#play")).to_be_focused()
    lit = [(note, when) for note, when in laptop.evaluate("() => window.lit") if note]
    names = [re.match(r"Measure (\S+), note", note)[1] for note, _ in lit]
    assert names[:len(passage)] == [note["measure"] for note in passage]
    assert names[len(passage)] == "11"
    # At half speed the first and the last note lie twice as far apart; a busy machine draws late, never early by much.
    gone = (lit[len(passage) - 1][1] - lit[0][1]) / 1000
    assert gone == pytest.approx(2 * (passage[-1]["start_s"] - passage[0]["start_s"]), abs=0.6)


def test_it_plays_from_the_chosen_note_counted_in_and_hides_the_marks(laptop) -> None:
    take_sample(laptop)
    laptop.locator("#listen summary").click()
    laptop.locator("#play-hide").check()
    mark = laptop.locator("#music .mark").first
    expect(mark).to_have_css("opacity", "0")
    note = laptop.locator("#music .hot[role=button][aria-label^='Measure 11, note 3:']")
    note.click()
    index = note.get_attribute("data-index")
    expect(laptop.locator(f'#music .mark[data-index="{index}"]')).to_have_css("opacity", "1")
    settled(laptop)
    note.focus()
    begun = laptop.evaluate("""async () => {
        const begun = performance.now();
        document.activeElement.dispatchEvent(new KeyboardEvent('keydown', { key: ' ', bubbles: true }));
        while (!document.querySelector('#music .sounding')) await new Promise(requestAnimationFrame);
        return [document.querySelector('#music .sounding').getAttribute('aria-label'), performance.now() - begun];
    }""")
    assert begun[0].startswith("Measure 11, note 3:")
    # One measure of four at the printed tempo of 56 or 66 is counted before it.
    assert begun[1] > 3000
    laptop.keyboard.press("Escape")
    laptop.locator("#music .hot[tabindex='0']").focus()
    laptop.keyboard.press("[")
    laptop.keyboard.press("]")
    assert [laptop.locator(field).input_value() for field in ("#play-from", "#play-to")] == ["11", "11"]
    expect(laptop.locator("#play-loop")).to_be_checked()


def test_a_change_stops_the_music(laptop) -> None:
    take_sample(laptop)
    laptop.get_by_role("button", name="Play", exact=True).click()
    expect(laptop.locator("#music .sounding").first).to_be_visible(timeout=WAIT_MS)
    laptop.locator("#horn").select_option("tenor")
    expect(laptop.locator("#play")).to_have_text("Play")
    settled(laptop)
    expect(laptop.locator("#music .sounding")).to_have_count(0)


def test_it_begins_softly_and_says_why(laptop) -> None:
    take_sample(laptop)
    laptop.locator("#listen summary").click()
    knob = laptop.locator("#play-loud")
    expect(knob).to_have_attribute("aria-describedby", "play-care")
    expect(laptop.locator("#play-care")).to_contain_text(re.compile("harms? hearing"))
    gains = laptop.evaluate("""async (knob) => {
        const { gainOf } = await import('/sound.js');
        return [gainOf(knob), gainOf(0), gainOf(100)];
    }""", int(knob.input_value()))
    assert gains[0] < 0.05
    assert gains[1] == 0
    assert gains[2] <= 0.3


def test_without_motion_the_slide_stands_at_notes_only(browser, address: str) -> None:
    for page in opened_tab(browser, address, "laptop", reduced_motion="reduce"):
        take_sample(page)
        with page.expect_response("**/api/sound") as reply:
            page.get_by_role("button", name="Play", exact=True).click()
        expect(page.locator("#music .sounding").first).to_be_visible(timeout=WAIT_MS)
        seen = page.evaluate("""async () => {
            const seen = new Set(), end = performance.now() + 2500;
            while (performance.now() < end) {
                seen.add(document.querySelector('#slide .outer').getAttribute('d'));
                await new Promise(requestAnimationFrame);
            }
            return [...seen];
        }""")
        places = {note["extension_mm"] for note in reply.value.json()["notes"]}
        assert 1 < len(seen) <= len(places)
        page.keyboard.press("Escape")
