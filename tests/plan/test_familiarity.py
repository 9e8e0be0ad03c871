"""Familiarity as data, the player's level, and hands that cannot press a valve."""

import tomllib
from pathlib import Path

import pytest

from analyzer import plan
from analyzer.horns.candidates import candidates, chart_choice
from analyzer.horns.profiles import horn_names, load_horn
from analyzer.pitch import parse_pitch
from analyzer.plan.familiarity import LEVELS, RANKS, familiarity
from analyzer.plan.player import read_player
from analyzer.plan.solve import Planner
from analyzer.problem import Unreadable
from tests.lines import line_of

ROWS = tomllib.loads((Path(plan.__file__).with_name("familiarity.toml")).read_text(encoding="utf-8"))["choice"]


def rank(horn: str, note: str, label: str) -> str:
    model, midi = load_horn(horn), parse_pitch(note).midi
    choice = next(one for one in candidates(model, midi) if one.label == label)
    return familiarity(model, choice, chart_choice(model, midi)).rank


def test_every_row_names_its_origin() -> None:
    assert len(ROWS) >= 40
    for row in ROWS:
        assert row["rank"] in RANKS[1:]
        assert row["level"] in LEVELS
        assert row["source"]
        assert row["kind"] in ("cited", "derived", "judged")
        assert (row["kind"] == "judged") == ("changes" in row)


@pytest.mark.parametrize(("horn", "note", "label", "expected", "source"), [
    ("tenor", "D4", "1", "usual", "Wikibooks; answers.com; Nicolette"),
    ("tenor", "D4", "4", "common", "Burtis; Wilken; Gier m. 17; Wikibooks (alternate)"),
    ("tenor", "F3", "6", "common", "Nicolette; Waage; Sprott; Mathie; Wikibooks (alternate)"),
    ("bass-independent", "Bb3", "5", "common", "Nicolette; Soytutan after Bachmann"),
    ("tenor", "A3", "6", "rare", "Wikibooks (alternate) only"),
    ("tenor", "E3", "7", "avoid", "Wikibooks (alternate) only; French manual: seventh is the worst"),
    ("tenor-f", "C3", "T1", "usual", "Friedman; playingbrass.com"),
    ("tenor-f", "C3", "6", "common", "Sprott; Waage (slow legato)"),
    ("tenor-f", "F2", "T1", "common", "Okazaki; Scott tunes it"),
    ("tenor-f", "E2", "7", "rare", "playingbrass.com: compass"),
    ("bass-independent", "C3", "TS3", "avoid", "one teacher's judgement"),
    ("bass-independent", "F#2", "S1", "common", "Yeo: use the second valve alone as well"),
    ("euphonium-4", "C3", "1-3", "avoid", "Whitham; showcan (sharp)"),
    ("euphonium-4", "D4", "1-2", "common", "South Carolina fingering sheets"),
    ("euphonium-4-compensating", "A4", "1-2", "common", "Nicolette"),
    ("euphonium-4", "G3", "3", "rare", "showcan (in brackets)"),
])
def test_ranks_that_teachers_give(horn: str, note: str, label: str, expected: str, source: str) -> None:
    assert source
    assert rank(horn, note, label) == expected


def test_the_same_partial_of_an_alto_is_as_familiar() -> None:
    """E flat alto: its fifth and sixth partials lie a fourth above the tenor's (by the horn's data)."""
    assert rank("alto", "G4", "4") == rank("tenor", "D4", "4") == "common"


@pytest.mark.parametrize("horn", horn_names())
def test_every_choice_has_a_rank_and_one_is_usual(horn: str) -> None:
    model = load_horn(horn)
    for midi in range(28, 80):
        chart = chart_choice(model, midi)
        ranks = [familiarity(model, one, chart).rank for one in candidates(model, midi)]
        if chart is not None:
            assert ranks.count("usual") == 1


@pytest.mark.parametrize(("horn", "names", "cannot"), [
    ("tenor-f", "C3 B2 C3 E2 F2", "T"), ("bass-independent", "C3 D2 C3 B2 E2", "S"),
    ("euphonium-4", "C3 E3 G3 B2 C4", "3"), ("euphonium-4-compensating", "C3 D3 B2", "4"),
])
def test_no_plan_holds_a_valve_that_the_hand_cannot_press(tmp_path, horn: str, names: str, cannot: str) -> None:
    file = tmp_path / "player.toml"
    file.write_text(f'[player]\nlevel = "beginner"\ncannot = ["{cannot}"]\n', encoding="utf-8")
    player = read_player(file)
    assert (player.level, player.cannot) == ("beginner", (cannot,))
    for seconds in (0.1, 1.0):
        notes = Planner(line_of(names, seconds), load_horn(horn), player).plan().notes
        assert all(cannot not in note.choice.valves for note in notes if note.choice)
        assert any(note.choice for note in notes)


def test_a_note_that_only_that_valve_sounds_says_so(tmp_path) -> None:
    file = tmp_path / "player.toml"
    file.write_text('[player]\ncannot = ["T"]\n', encoding="utf-8")
    note = Planner(line_of("C2"), load_horn("tenor-f"), read_player(file)).plan().notes[0]
    assert note.choice is None
    assert note.problem.code == "out-of-range"
    assert "hand does not press" in note.problem.what


@pytest.mark.parametrize(("line", "said"), [
    ('level = "pro"', 'Give one of "beginner", "intermediate", "advanced"'), ('cannot = ["X"]', 'such as ["T"]'),
    ('cannot = "T"', 'such as ["T"]'), ("level = 3", "Give one of"),
])
def test_mistakes_in_the_new_keys_name_their_line(tmp_path, line: str, said: str) -> None:
    file = tmp_path / "player.toml"
    file.write_text(f"[player]\n{line}\n", encoding="utf-8")
    with pytest.raises(Unreadable) as found:
        read_player(file)
    assert "line 2" in found.value.problem.where
    assert said in found.value.problem.try_


def test_levels_of_earlier_section_files_still_load(tmp_path) -> None:
    file = tmp_path / "player.toml"
    file.write_text('[player]\nlevel = "experienced"\n', encoding="utf-8")
    assert read_player(file).level == "advanced"


def test_the_answer_how_the_attachment_is_tuned_decides_f2_and_low_c(tmp_path) -> None:
    """D. Scott (TBA clinic 2017) tunes low F right in first; then low C lies beyond the end of the slide.

    Common practice, no source: the attachment is left flat so that low C fits in T6.
    """
    players = {}
    for note in ("F2", "C3"):
        file = tmp_path / f"{note}.toml"
        file.write_text(f'[player]\nattachment_in_tune = "{note}"\n', encoding="utf-8")
        players[note] = read_player(file)
    horn = load_horn("tenor-f")

    def way(note: str, label: str, horn):
        return next(one for one in candidates(horn, parse_pitch(note).midi) if one.label.rstrip("#b") == label)

    by_f2, by_c3 = (players[note].own(horn) for note in ("F2", "C3"))
    assert way("F2", "T1", by_f2).off_cents == pytest.approx(0, abs=0.01)
    assert way("C3", "T1", by_c3).off_cents == pytest.approx(0, abs=0.01)
    assert way("F2", "T1", by_c3).off_cents < -10
    assert candidates(by_f2, parse_pitch("C2").midi) == ()
    assert way("C2", "T6", by_c3).extension_mm < horn.slide_end_mm
    slow = Planner(line_of("Bb2 F2 Bb2 F2", 1.5), horn, players["F2"]).plan()
    assert [note.choice.label for note in slow.notes] == ["1", "T1", "1", "T1"]
    untold = Planner(line_of("Bb2 F2 Bb2 F2", 1.5), horn).plan()
    assert [note.choice.label for note in untold.notes] == ["1", "6", "1", "6"]
