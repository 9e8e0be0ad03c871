"""The take-home page in a real browser: opened from a file, played, looped, listened to; its sound is observed."""

import json
import math
import re
import struct
import wave
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from analyzer.horns.profiles import load_horn
from tests.axe import faults
from tests.commands.test_map import SAMPLES, run, score

api: Any = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
CHROMIUM = next((path for path in ("/usr/bin/chromium", "/usr/bin/chromium-browser", "/usr/bin/google-chrome")
                 if Path(path).exists()), None)
needs_browser = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium is installed")
FLAGS = ["--no-sandbox", "--autoplay-policy=no-user-gesture-required", "--disable-background-networking"]
# Every oscillator says when it begins and how high it is: the graph itself, not what the page claims.
WATCH = """
window.heard = [];
const make = AudioContext.prototype.createOscillator;
AudioContext.prototype.createOscillator = function () {
  const tone = make.call(this), begin = tone.start.bind(tone), set = tone.frequency.setValueAtTime.bind(tone.frequency);
  let hz = null;
  tone.frequency.setValueAtTime = (value, when) => { hz ??= value; return set(value, when); };
  tone.start = (when) => { window.heard.push({ when, hz, type: tone.type }); return begin(when); };
  return tone;
};
"""


def made(tmp_path: Path, *words: object, name: str = "page.html") -> Path:
    target = tmp_path / name
    done = run("take-home", *words, "-o", target)
    assert done.returncode == 0, done.stderr
    return target


@pytest.fixture(scope="module")
def driver() -> Iterator[Any]:
    with api.sync_playwright() as started:
        yield started


@pytest.fixture(scope="module")
def browser(driver) -> Iterator[Any]:
    started = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
    yield started
    started.close()


@pytest.fixture(scope="module")
def etude(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made(tmp_path_factory.mktemp("home"), SAMPLES / "attachment-etude.musicxml")


def opened(browser: Any, path: Path, size: tuple[int, int] = (390, 844)) -> tuple[Any, list[str], list[str]]:
    page = browser.new_page(viewport={"width": size[0], "height": size[1]})
    said: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.add_init_script(WATCH)
    page.goto(path.as_uri())
    page.locator("body[data-ready=yes]").wait_for(timeout=20_000)
    return page, said, asked


@needs_browser
@pytest.mark.parametrize("size", [(360, 740), (390, 844), (768, 1024), (1366, 768)], ids=str)
def test_opened_from_a_file_it_asks_for_nothing_and_complains_of_nothing(browser, etude: Path, size) -> None:
    page, said, asked = opened(browser, etude, size)
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    page.get_by_role("button", name="Play").click()
    page.wait_for_timeout(400)
    page.get_by_role("button", name="Stop").click()
    assert said == []
    assert asked == [etude.as_uri()]
    assert faults(page) == []
    small = page.evaluate("""[...document.querySelectorAll('button, select, input')]
        .filter((thing) => thing.getClientRects().length).map((thing) => [thing.id, thing.closest('label') ?? thing])
        .filter(([, box]) => box.getBoundingClientRect().height < 43.5).map(([id]) => id)""")
    assert small == [], "targets of 44 pixels"
    page.close()


@needs_browser
@pytest.mark.parametrize("percent", [50, 100, 130])
@pytest.mark.parametrize("words", [("--measures", "9-12"), ("--measures", "9-12", "--horn", "tenor")],
                         ids=["f", "straight"])
def test_notes_sound_where_the_plan_and_the_score_have_them(browser, tmp_path: Path, percent: int, words) -> None:
    """Pitch within 2 cents of the plan's target and deviation, onset within 10 ms of the score's own time."""
    source = SAMPLES / "attachment-etude.musicxml"
    path = made(tmp_path, source, *words)
    plan = json.loads(run("map", source, *words, "--format", "json").stdout)["lines"][0]["notes"]
    page, _, _ = opened(browser, path)
    page.locator("#count").uncheck()
    beat = json.loads(page.locator("#data").text_content())["beat"]["bpm"]
    bpm = round(beat * percent / 100)
    page.locator("#tempo").fill(str(bpm))
    page.get_by_role("button", name="Play").click()
    seconds = sum(0 for _ in plan) + 60 / bpm * 4 * 2 + 1                     # two measures are enough
    page.wait_for_timeout(seconds * 1000)
    heard = page.evaluate("window.heard")
    page.close()
    assert len(heard) > 10
    for tone, note in zip(heard, plan, strict=False):
        wanted = 440 * 2 ** ((note["midi"] - 69 + (note["off_cents"] + note["target_cents"]) / 100) / 12)
        assert abs(1200 * math.log2(tone["hz"] / wanted)) < 2, note["sounding"]
    first = _quarters(plan[0]["onset"])
    for tone, note in zip(heard, plan, strict=False):
        due = (_quarters(note["onset"]) - first) * 60 / bpm
        assert abs(tone["when"] - heard[0]["when"] - due) < 0.010, note["index"]


def _quarters(text: str) -> float:
    top, _, bottom = text.partition("/")
    return int(top) / int(bottom or 1)


@needs_browser
def test_count_in_metronome_loop_and_drone(browser, tmp_path: Path) -> None:
    path = made(tmp_path, SAMPLES / "attachment-etude.musicxml", "--measures", "9-10")
    page, said, _ = opened(browser, path)
    page.locator("#clicks").check()
    page.locator("#loop").check()
    page.locator("#hear").select_option("nothing")
    data = json.loads(page.locator("#data").text_content())
    page.locator("#tempo").fill(str(round(data["beat"]["bpm"] * 1.3)))
    step = 60 / round(data["beat"]["bpm"] * 1.3)
    page.get_by_role("button", name="Play").click()
    page.wait_for_timeout((4 + 8 + 3) * step * 1000)
    clicks = [tone for tone in page.evaluate("window.heard") if tone["type"] == "square"]
    gaps = [later["when"] - before["when"] for before, later in pairwise(clicks)]
    assert len(clicks) >= 13, "four to count in, eight in two measures, then the loop"
    assert all(abs(gap - step) < 0.010 for gap in gaps), gaps
    highs = [nth for nth, tone in enumerate(clicks) if tone["hz"] > 1500]
    assert highs[:4] == [0, 4, 8, 12], "the first beat of each measure stands out, and the loop joins without a gap"
    page.get_by_role("button", name="Stop").click()
    page.locator("#drone").select_option("tonic")
    page.evaluate("window.heard.length = 0")
    page.get_by_role("button", name="Play").click()
    page.wait_for_timeout(200)
    assert said == []
    page.close()


@needs_browser
def test_two_taps_choose_a_loop_and_marks_can_be_hidden(browser, etude: Path) -> None:
    page, said, _ = opened(browser, etude)
    page.get_by_role("button", name="Choose a range").click()
    notes = page.locator(".sheet.narrow g.note")
    for nth in (4, 7):
        notes.nth(nth).evaluate("(note) => note.scrollIntoView({ block: 'center' })")
        box = notes.nth(nth).bounding_box()
        page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    assert "measure" in page.locator("#range").text_content()
    assert page.locator("#loop").is_checked()
    page.locator("#hide").check()
    assert not page.locator(".sheet.narrow [data-ref]").first.is_visible()
    page.get_by_role("button", name="That was clean").click()
    assert "1 times clean" in page.locator("#ticks").text_content()
    with page.expect_download() as saved:
        page.get_by_role("button", name="Save my ticks").click()
    document = json.loads(Path(saved.value.path()).read_text(encoding="utf-8"))
    assert document["schema"] == "lowbrass.practice/1"
    assert document["clean"][0]["measures"]
    page.reload()
    page.locator("body[data-ready=yes]").wait_for()
    assert "1 times clean" in page.locator("#ticks").text_content(), "kept on the device"
    assert said == []
    page.close()


@needs_browser
def test_by_keys_alone(browser, etude: Path) -> None:
    page, said, _ = opened(browser, etude, (1366, 768))
    page.locator(".sheet.wide g.note").first.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    assert page.locator("#note").text_content().startswith("Measure 1, beat 4")
    page.keyboard.press(" ")
    page.get_by_role("button", name="Stop").wait_for()
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Play").wait_for()
    label = page.evaluate("document.activeElement.getAttribute('aria-label')")
    assert "position" in label
    assert said == []
    page.close()


def tone_file(path: Path, hz: float, seconds: float = 4.0, rate: int = 48_000) -> None:
    """A brassy tone of eight partials."""
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(rate)
        frames = bytearray()
        for nth in range(int(seconds * rate)):
            value = sum(level * math.sin(2 * math.pi * hz * (part + 1) * nth / rate)
                        for part, level in enumerate((1, .7, .5, .35, .25, .15, .1, .05)))
            frames += struct.pack("<h", int(value * 7000))
        out.writeframes(bytes(frames))


@needs_browser
@pytest.mark.parametrize(("midi", "cents"), [(22, 20), (34, -30), (46, 0), (53, 12), (58, -18), (70, 25)])
def test_the_tuner_hears_how_far_and_which_way(driver, tmp_path: Path, midi: int, cents: float) -> None:
    """A fake microphone with tones of known pitch, B flat 0 to B flat 4."""
    sound = tmp_path / "tone.wav"
    tone_file(sound, 440 * 2 ** ((midi + cents / 100 - 69) / 12))
    names = {22: ("B", -1, 0), 34: ("B", -1, 1), 46: ("B", -1, 2), 53: ("F", 0, 3), 58: ("B", -1, 3), 70: ("B", -1, 4)}
    step, alter, octave = names[midi]
    source = tmp_path / "one.musicxml"
    source.write_text(score(f"<note><pitch><step>{step}</step><alter>{alter}</alter><octave>{octave}</octave></pitch>"
                            "<duration>4</duration><type>whole</type></note>"), encoding="utf-8")
    path = made(tmp_path, source, "--part", "P1", "--horn", "bass-independent")
    started = driver.chromium.launch(executable_path=CHROMIUM, args=[
        *FLAGS, "--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-audio-capture={sound}"])
    page, _, _ = opened(started, path)
    playable = json.loads(page.locator("#data").text_content())["notes"][0]["label"] is not None
    page.get_by_role("button", name="Tuner on").click()
    for _ in range(40):                          # a loaded machine needs a while until the first sound comes
        page.wait_for_timeout(250)
        if "cents" in page.locator("#heard").text_content():
            break
    page.wait_for_timeout(500)
    told, move = page.locator("#heard").text_content(), page.locator("#move").text_content()
    started.close()
    if not playable:
        return
    found = re.search(r"(\d+) cents (sharp|flat)|in tune \((-?\d+) cents\)", told)
    assert found, told
    heard = float(found[3]) if found[3] is not None else float(found[1]) * (1 if found[2] == "sharp" else -1)
    assert abs(heard - cents) <= 3
    if cents > 5:
        assert "out" in move
    elif cents < -5:
        assert "in" in move


def test_the_way_the_slide_must_go_is_that_of_the_tube(etude: Path) -> None:
    """Half the sounding tube times the interval (derived): 10 cents are 8.6 mm in first on a tube of 2960 mm."""
    data = json.loads(re.search(r'id="data">(.*?)</script>', etude.read_text(encoding="utf-8"), re.DOTALL)[1])
    first = next(note for note in data["notes"] if note["label"] == "1")
    assert first["half_mm"] == pytest.approx(load_horn("tenor-f").tube_mm / 2, abs=0.2)
    assert first["half_mm"] * (2 ** (10 / 1200) - 1) == pytest.approx(8.6, abs=0.1)


@needs_browser
@pytest.mark.parametrize("words", [
    (SAMPLES / "evening-song-euphonium.musicxml",), (SAMPLES / "deep-water-bass-trombone.musicxml", "--horn", "tenor"),
    (SAMPLES / "harbour-march-trio.musicxml", "--part", "P7", "--line", "2"),
    (SAMPLES / "quiet-chorale-trombones.mxl", "--part", "P1", "--intonation", "just"),
], ids=["valves", "not everywhere playable", "second player", "tuned"])
def test_other_horns_and_lines_open_and_play(browser, tmp_path: Path, words) -> None:
    page, said, _ = opened(browser, made(tmp_path, *words))
    page.get_by_role("button", name="Play").click()
    page.wait_for_timeout(300)
    assert said == []
    assert page.get_by_role("button", name="Stop").is_visible()
    page.close()


@needs_browser
def test_a_script_in_a_name_is_a_name(browser, tmp_path: Path) -> None:
    source = tmp_path / "odd.musicxml"
    note = "<note><pitch><step>B</step><octave>2</octave></pitch><duration>4</duration><type>whole</type></note>"
    source.write_text(score(note, name="Trombone &lt;/script&gt;&lt;script&gt;alert(1)&lt;/script&gt;{title}"),
                      encoding="utf-8")
    page, said, asked = opened(browser, made(tmp_path, source))
    assert said == []
    assert len(asked) == 1
    assert "<script>alert(1)" in page.locator("header").text_content()
    page.close()


def test_the_file_is_small_and_complete(etude: Path) -> None:
    text = etude.read_text(encoding="utf-8")
    assert len(text.encode()) < 1_500_000
    assert "http" not in re.sub(r"http://www\.w3\.org/\d+/(?:svg|xlink)|data:[^\"')]+", "", re.sub(
        r"(?s)<script type=\"module\">.*</script>", "", text)).replace("http-equiv", "")


@pytest.mark.parametrize(("words", "code", "told"), [
    ((SAMPLES / "harbour-march-trio.musicxml",), 1, "a page is for one player"),
    ((SAMPLES / "harbour-march-trio.musicxml", "--part", "P7"), 1, "a page is for one player"),
    ((SAMPLES / "no-such.musicxml",), 1, "there is no such file"),
])
def test_what_cannot_be_done_is_one_line(tmp_path: Path, words, code: int, told: str) -> None:
    done = run("take-home", *words, "-o", tmp_path / "x.html")
    assert done.returncode == code
    assert told in done.stderr
    assert not (tmp_path / "x.html").exists()
