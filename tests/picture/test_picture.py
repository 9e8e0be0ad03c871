"""The pictures: what they must show is checked from the plan, not from the drawing code."""

from fractions import Fraction
from itertools import pairwise

import pytest
from lxml import etree

from analyzer.analysis import Planned
from analyzer.horns.profiles import load_horn
from analyzer.picture.drawing import FAINT, INK, USUAL, Picture, clean, num
from analyzer.picture.picture import NARROW, WIDE, fast_moves, key_of, peaks_mm_s, pictures_of
from analyzer.picture.rows import rows_of, starts_of
from analyzer.plan.difficulty import BEYOND, difficulties, hardest
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner
from analyzer.score.parts import PartInfo
from tests.lines import line_of

SVG = "{http://www.w3.org/2000/svg}"


def planned(names: str, horn: str = "tenor-f", quarters: Fraction | float = 1, player: Player | None = None,
            pins: dict[int, str] | None = None, **more: object) -> Planned:
    line = line_of(names, quarters, **more)  # type: ignore[arg-type]
    planner = Planner(line, load_horn(horn), player)
    part = PartInfo(id="P1", name="Test", full_name="Test", family="trombone", low_brass=True, evidence=(), horn=horn)
    return Planned(part=part, planner=planner, plan=planner.plan(pins), assumed=False)


def texts(picture: Picture) -> list[str]:
    root = etree.fromstring(picture.svg("x").encode())
    return ["".join(element.itertext()) for element in root.iter(f"{SVG}text")]


def every_text(one: Planned, width: float = WIDE) -> list[str]:
    return [text for picture in pictures_of(one, width=width) for text in texts(picture)]


@pytest.mark.parametrize("width", [WIDE, NARROW])
@pytest.mark.parametrize(("horn", "names"), [
    ("tenor-f", "F2 A2 C3 B2 Bb2 C3 F3 E2 " * 4), ("bass-independent", "Bb2 D2 C2 B1 F2 Bb1 E2 Eb2"),
    ("euphonium-3", "Bb2 C3 B2 F2 Bb3 D4 C3 A2 " * 3)])
def test_labels_stand_in_the_picture_in_the_order_of_the_plan(horn: str, names: str, width: float) -> None:
    one = planned(names, horn)
    labels = [note.choice.label for note in one.plan.notes if note.choice]
    shown = iter([text for picture in pictures_of(one, width=width) for text in texts(picture)])
    assert all(any(label == text for text in shown) for label in labels)


def test_each_picture_is_sound_xml_with_title_and_description() -> None:
    one = planned("F2 A2 C3 B2 Bb2 C3 F3 E2 " * 6)
    pictures = pictures_of(one)
    assert len(pictures) > 1
    for k, picture in enumerate(pictures):
        root = etree.fromstring(picture.svg(f"p{k}").encode())
        title, desc = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
        assert title is not None
        assert desc is not None
        assert root.get("aria-labelledby") == f"{title.get('id')} {desc.get('id')}"
        assert "easure" in (title.text or "")
        assert all(float(element.get("x", "0")) <= picture.width for element in root.iter(f"{SVG}text"))
    said = " ".join(picture.desc for picture in pictures)
    for note in one.plan.notes:
        assert note.choice is not None
        assert f"{note.note.written.pretty} {note.choice.label}" in said


def test_scales_show_that_the_attachments_positions_lie_elsewhere() -> None:
    # Fourth with the attachment lies farther out than fourth open (the scale of the longer tube is wider).
    one = planned("F2 C3 B2 E2 F2 C3")
    root = etree.fromstring(pictures_of(one)[0].svg("x").encode())
    place = {}
    for element in root.iter(f"{SVG}text"):
        if "end" in (element.get("text-anchor"), element.getparent().get("text-anchor")):
            place.setdefault("".join(element.itertext()), float(element.get("y", "0")))
    assert place["T4"] > place["4"] + 5
    # The ticks are to scale: positions of common practice, 1 at 0, and each step wider than the one before.
    open_steps = [place[str(n + 1)] - place[str(n)] for n in range(1, 6)]
    assert all(b > a for a, b in pairwise(open_steps))


def test_usual_path_shows_only_where_the_plan_leaves_the_chart() -> None:
    calm = planned("Bb2 F3 Bb3 F3")
    assert not any(note.changed for note in calm.plan.notes)
    assert USUAL not in "".join(picture.body for picture in pictures_of(calm))
    other = planned("Bb2 F3 Bb3 F3", pins={1: "6"})
    assert USUAL in "".join(picture.body for picture in pictures_of(other))
    assert "usual" in every_text(other)


def test_unplayable_note_is_a_cross_and_the_rest_goes_on() -> None:
    one = planned("Bb2 C1 Bb2", "tenor")
    assert every_text(one).count("×") == 2            # lane and plot
    assert "cannot be played" in pictures_of(one)[0].desc


def test_marked_speeds_are_the_plans_greatest() -> None:
    one = planned("Bb2 E2 Bb2 E2 F3 E3 D3 F3", "tenor", Fraction(1, 4), bpm=120)
    marked = fast_moves(one)
    assert max(marked.values()) == pytest.approx(one.plan.totals.peak_speed_mm_s)
    assert max(peaks_mm_s(one).values()) == pytest.approx(one.plan.totals.peak_speed_mm_s)
    assert f"{max(marked.values()) / 1000:.1f} m/s" in every_text(one)


def test_no_note_is_lost_between_rows_and_time_runs_to_the_right() -> None:
    one = planned("F2 A2 C3 B2 Bb2 C3 F3 E2 " * 9, quarters=Fraction(1, 4))
    starts = starts_of(one.plan.notes)
    rows = rows_of(one.plan, starts, left=90, width=600)
    assert rows[0].first == 0
    assert rows[-1].last == len(one.plan.notes)
    assert all(a.last == b.first for a, b in pairwise(rows))
    for row in rows:
        places = [row.x(starts[k]) for k in range(row.first, row.last)]
        assert all(b > a for a, b in pairwise(places))
        assert row.right <= 90 + 600 + 1e-6


def luminance(color: str) -> float:
    # WCAG 2.2, definition of relative luminance.
    channels = [int(color[k:k + 2], 16) / 255 for k in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


@pytest.mark.parametrize("color", [INK, USUAL, FAINT])
def test_words_have_the_contrast_of_wcag_aa(color: str) -> None:
    # WCAG 2.2, 1.4.3: 4.5 to 1 for text.
    assert (1 + 0.05) / (luminance(color) + 0.05) >= 4.5


def test_hostile_text_stays_text() -> None:
    picture = Picture(width=10, height=10, title="<script>x</script>\x00&", desc="\"'<b>", body="")
    root = etree.fromstring(picture.svg("a").encode())
    assert root.findtext(f"{SVG}title") == "<script>x</script>&"
    assert clean("a\x07\ufffe") == "a"
    assert num(-0.01) == "0"


def test_same_input_same_bytes() -> None:
    names = "F2 A2 C3 B2 Bb2 C3 F3 E2 " * 3
    first, second = (tuple(picture.svg("x") for picture in pictures_of(planned(names))) for _ in (0, 1))
    assert first == second
    assert key_of(planned(names)).svg("k") == key_of(planned(names)).svg("k")


def test_a_page_writes_the_scales_of_a_line_once() -> None:
    pictures = pictures_of(planned("F2 A2 C3 B2 Bb2 C3 F3 E2 " * 9), width=NARROW)
    assert len(pictures) > 3
    shared: dict[str, str] = {}
    page = "<svg xmlns='http://www.w3.org/2000/svg'>" + "".join(
        picture.svg(f"p{k}", shared) for k, picture in enumerate(pictures)) + "</svg>"
    root = etree.fromstring(page)
    ids = root.xpath("//@id")
    assert len(ids) == len(set(ids))
    pointed = [use.get("href")[1:] for use in root.iter(f"{SVG}use")]
    assert len(pointed) == len(pictures) - len(set(shared.values()))
    assert set(pointed) <= set(ids)
    # The scales' own words stand once for each place that the scales have.
    assert sum(text == "mm" for text in ("".join(found.itertext()) for found in root.iter(f"{SVG}text"))) == len(shared)


def test_difficulty_of_calm_far_and_impossible_measures() -> None:
    one = planned("F3 F3 F3 F3 " + "Bb2 E2 Bb2 E2 " + "C1 F3 F3 F3", "tenor", Fraction(1, 2), bpm=60)
    found = difficulties(one.planner, one.plan)
    assert [entry.measure for entry in found] == ["1", "2", "3"]
    assert found[0].level == "calm"
    assert found[1].share > 0.25
    assert found[2].share == BEYOND
    assert found[2].level == "beyond"
    assert [entry.measure for entry in hardest(found)] == ["3", "2"]


def test_difficulty_at_the_tempo_ceiling_is_the_limit() -> None:
    # The ceiling is where the best walk's hardest step takes all that the player has; at twice the tempo the line's
    # hardest measure must be beyond, at a tenth it must not be the moving that counts most.
    names = "Bb2 E2 Bb2 E2"
    slow = planned(names, "tenor", bpm=60)
    ceiling = slow.plan.totals.tempo_ceiling_bpm
    assert ceiling is not None
    fast = planned(names, "tenor", bpm=2 * ceiling)
    assert max(entry.share for entry in difficulties(fast.planner, fast.plan)) > 1
    calm = planned(names, "tenor", bpm=ceiling / 10)
    assert all(entry.kind not in ("slide", "tongue") for entry in difficulties(calm.planner, calm.plan))


def test_a_line_without_notes_has_no_picture() -> None:
    assert pictures_of(planned("")) == ()
