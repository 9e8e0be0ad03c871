"""A change of horn: what stays, what moves and how far, and the chart of it."""

import json
import subprocess
import sys
from itertools import permutations
from math import log2
from pathlib import Path

import pytest
from lxml import etree, html

from analyzer.horns.candidates import chart_choice
from analyzer.horns.profiles import load_horn
from analyzer.horns.transition import Transition, transition
from analyzer.picture.transition import stays_words, transition_picture
from analyzer.pitch import parse_pitch, pitch_of
from analyzer.report.chart.transition import transition_document, transition_file, transition_text

SVG = "{http://www.w3.org/2000/svg}"
HALF_TUBE_MM = 1480.1                  # S09, the half tube that all its 108 extensions fit (tests/published)
CHANGES = (("tenor", "tenor-f"), ("tenor-f", "bass-independent"), ("alto", "tenor"), ("bass-independent", "tenor-f"),
           ("euphonium-3", "euphonium-4"), ("euphonium-4", "euphonium-4-compensating"), ("baritone-3", "euphonium-3"))


def change(before: str, after: str) -> Transition:
    return transition(load_horn(before), load_horn(after))


def note(found: Transition, name: str) -> tuple[str | None, str | None, str]:
    one = next(one for one in found.notes if one.midi == parse_pitch(name).midi)
    return (one.before and one.before.label, one.after and one.after.label, one.kind)


@pytest.mark.parametrize(("before", "after", "name", "expected"), [
    # Common practice, no source (in the data contract): C3 T1, B2 T2, E2 T2; F2 stays open in 6; C2 to E flat 2 on T.
    ("tenor", "tenor-f", "C3", ("6", "T1", "moves")), ("tenor", "tenor-f", "B2", ("7", "T2", "moves")),
    ("tenor", "tenor-f", "E2", ("7", "T2", "moves")), ("tenor", "tenor-f", "F2", ("6", "6", "stays")),
    ("tenor", "tenor-f", "C2", (None, "T6", "new")), ("tenor", "tenor-f", "Bb3", ("1", "1", "stays")),
    ("tenor-f", "bass-independent", "D2", ("T4", "TS1", "moves")),
    ("tenor-f", "bass-independent", "B1", (None, "TS4", "new")),
    ("bass-independent", "tenor-f", "B1", ("TS4", None, "gone")),
    # S21: 4 for 1-3 and 2-4 for 1-2-3.
    ("euphonium-3", "euphonium-4", "C3", ("1-3", "4", "moves")),
    ("euphonium-3", "euphonium-4", "E2", ("1-2-3", "2-4", "moves")),
    # The same fingers, another tuning.
    ("euphonium-4", "euphonium-4-compensating", "Eb2", ("1-4", "1-4", "moves")),
    ("euphonium-3", "euphonium-4", "Bb2", ("0", "0", "stays"))])
def test_what_becomes_of_a_note(before: str, after: str, name: str,
                                expected: tuple[str | None, str | None, str]) -> None:
    assert note(change(before, after), name) == expected


def test_attachment_places_against_the_open_ones() -> None:
    """An attachment 505 cents long on a tube of 2 × 1480.1 mm; T2 lowers the horn by 600 cents: worked out here."""
    found = {one.label: one for one in change("tenor", "tenor-f").places}
    held, opened = 2 ** (505 / 1200), [HALF_TUBE_MM * (2 ** (n / 12) - 1) for n in range(7)]
    assert {label: one.kind for label, one in found.items()} == {
        **{str(n): "stays" for n in range(1, 8)}, **{f"T{n}": "new" for n in range(1, 7)}}
    for n in (2, 3, 4, 5):
        place = found[f"T{n}"]
        assert place.after_mm == pytest.approx(HALF_TUBE_MM * (2 ** ((4 + n) / 12) - held), abs=0.5)
        near = min(range(7), key=lambda k: abs(opened[k] - (place.after_mm or 0)))
        assert place.near == near + 1
        assert place.beside_mm == pytest.approx((place.after_mm or 0) - opened[near], abs=1)
    # "2nd for E and 3rd for Eb are longer than open ones": S56, published.
    for n in (2, 3):
        assert (found[f"T{n}"].after_mm or 0) > (found[str(n)].after_mm or 0) + 20


def test_compensation_moves_only_combinations_with_the_fourth_valve() -> None:
    """Second loops of 1 to 3 in proportion to the fourth's tube; sums against products, worked out here."""
    before, after = load_horn("euphonium-4"), load_horn("euphonium-4-compensating")
    share = {loop.name: loop.share for loop in after.loops}
    semitones = {"1": 2, "2": 1, "3": 3, "4": 5}
    for one in transition(before, after).tunings:
        others = sum(share[valve] for valve in one.valves if valve != "4")
        plain = 1200 * log2(1 + others + ("4" in one.valves) * share["4"])
        doubled = 1200 * log2((1 + others) * (1 + ("4" in one.valves) * share["4"]))
        nominal = 100 * sum(semitones[valve] for valve in one.valves)
        assert one.before_cents == pytest.approx(nominal - plain, abs=0.05)
        assert one.after_cents == pytest.approx(nominal - doubled, abs=0.05)
        assert (one.kind == "moves") == ("4" in one.valves and len(one.valves) > 1)


@pytest.mark.parametrize(("before", "after"), CHANGES)
def test_every_note_of_both_horns_is_told_once(before: str, after: str) -> None:
    found = change(before, after)
    horns = load_horn(before), load_horn(after)
    assert [one.midi for one in found.notes] == [
        midi for midi in range(10, 100) if any(chart_choice(horn, midi) for horn in horns)]
    root = etree.fromstring(transition_picture(found).svg("c").encode())
    texts = ["".join(element.itertext()) for element in root.iter(f"{SVG}text")]
    named = stays_words(found)
    for one in found.notes:
        assert (pitch_of(one.midi).pretty in texts) == (one.kind != "stays")
    stay = [one.midi for one in found.notes if one.kind == "stays"]
    if stay:
        assert named.startswith(f"What stays: {pitch_of(stay[0]).pretty}")
        assert named.endswith(f"{pitch_of(stay[-1]).pretty}.")
    assert root.find(f"{SVG}title").text.endswith(
        f": {load_horn(before).description}, then {load_horn(after).description}")
    assert named in root.find(f"{SVG}desc").text
    assert "not medical advice" in " ".join(texts)
    assert not root.findall(f".//{SVG}script")


def test_chart_is_to_scale_and_told_apart_without_colour() -> None:
    found = change("tenor", "tenor-f")
    root = etree.fromstring(transition_picture(found).svg("c").encode())
    ticks = sorted({float(line.get("x1")) for line in root.iter(f"{SVG}line") if line.get("stroke-width") == "1.6"})
    places = sorted({one.after_mm for one in found.places})
    px = (ticks[-1] - ticks[0]) / (places[-1] - places[0])
    assert len(ticks) == len(places) == 12            # 1 and T1 both at the stop
    for tick, place in zip(ticks, places, strict=True):
        assert tick - ticks[0] == pytest.approx(px * (place - places[0]), abs=0.1)
    # Old places hollow, new ones filled.
    fills = {(dot.get("stroke"), dot.get("fill")) for dot in root.iter(f"{SVG}circle")}
    assert fills == {("#8a4b08", "#ffffff"), (None, "#14213d")}


@pytest.mark.parametrize(("before", "after"), CHANGES)
def test_texts_of_the_chart_stay_on_the_sheet_and_off_each_other(before: str, after: str) -> None:
    picture = transition_picture(change(before, after))
    root = etree.fromstring(picture.svg("c").encode())
    boxes = []
    for text in root.iter(f"{SVG}text"):
        size = float(text.get("font-size", "11"))
        wide = 0.5 * size * len("".join(text.itertext()))           # a little less than sans serif letters take
        left = float(text.get("x")) - {"middle": wide / 2, "end": wide}.get(text.get("text-anchor", ""), 0.0)
        y = float(text.get("y"))
        assert left > 0, "".join(text.itertext())
        assert left + wide < picture.width, "".join(text.itertext())
        assert y < picture.height
        boxes.append((left, y - 0.7 * size, left + wide, y, "".join(text.itertext())))
    for k, a in enumerate(boxes):
        for b in boxes[k + 1:]:
            apart = a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
            assert apart, (a[4], b[4])


def test_document_and_words() -> None:
    found = change("tenor", "tenor-f")
    data = transition_document(found)
    assert data["schema"] == "lowbrass.transition/1"
    assert data["cautions"]
    third = next(one for one in data["places"] if one["label"] == "T3")
    assert (third["near"], round(third["beside_mm"])) == (4, -44)
    text = transition_text(found)
    assert "T3                    236        4 − 44 mm" in text
    assert "Caution:" in text
    with pytest.raises(ValueError, match="not both"):
        transition(load_horn("tenor"), load_horn("euphonium-3"))


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "analyzer", "chart", *words], capture_output=True, text=True,
                          encoding="utf-8", timeout=60, check=False)


def test_files_are_whole_and_equal_from_run_to_run(tmp_path: Path) -> None:
    found = change("euphonium-3", "euphonium-4")
    for ending in (".svg", ".html", ".pdf"):
        assert transition_file(found, ending) == transition_file(found, ending)
    pypdf = pytest.importorskip("pypdf")
    path = tmp_path / "change.pdf"
    done = run("euphonium-4", "--from", "euphonium-3", "-o", str(path), "--format", "json")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["from"] == "euphonium-3"
    pages = pypdf.PdfReader(path).pages
    assert len(pages) == 2                     # one for who reads bass clef, one for treble clef in B flat
    for words in ("New horn: Euphonium in B flat with four valves", "Before: Euphonium in B flat with three valves",
                  "Notes that change", "1-2-3", "not medical advice"):
        assert all(words in " ".join(page.extract_text().split()) for page in pages), words
    tree = html.fromstring(transition_file(found, ".html").decode())
    assert len(tree.xpath("//table")) == 2
    assert tree.xpath("//script | //link | //img") == []


@pytest.mark.parametrize(("words", "code", "said"), [
    (("tenor", "--from", "tenor"), 2, "both horns are tenor"),
    (("tenor", "--from", "euphonium-4"), 1, "one has a slide and the other has none"),
    (("tenor", "--from", "banjo"), 1, "there is no horn 'banjo'"),
    (("tenor", "--from", "alto", "--format", "csv"), 2, "take text or json"),
    (("tenor", "--from", "alto", "-o", "x.odt"), 2, "use .svg, .html or .pdf")])
def test_mistakes_are_one_clear_line(words: tuple[str, ...], code: int, said: str) -> None:
    done = run(*words)
    assert done.returncode == code
    assert said in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.whole
@pytest.mark.parametrize(("before", "after"), list(permutations(
    ("alto", "tenor", "tenor-f", "bass-single", "bass-independent", "bass-dependent"), 2)))
def test_every_pair_of_slide_horns_is_drawn(before: str, after: str) -> None:
    test_texts_of_the_chart_stay_on_the_sheet_and_off_each_other(before, after)
