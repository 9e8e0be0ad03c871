"""The aid for a change of horn: what it says is in the profiles, the published ranges and the music, and it decides
nothing."""

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from analyzer.cli import cli
from analyzer.horns.profiles import horn_names, load_horn
from analyzer.pitch import parse_pitch
from analyzer.plan.player import Player, player_of, reach_from_height_mm
from analyzer.problem import Unreadable
from analyzer.report.ready import ready_document, ready_text
from analyzer.score.document import open_document, read_document
from analyzer.section.ready import Ready, ready
from tests.review.scores import SAMPLES, note, part, score


def music(*names: str, part_name: str = "Trombone") -> bytes:
    pitches = [parse_pitch(name) for name in names]
    return score({part_name: part("P1", *(note(one.step, one.octave, one.alter) for one in pitches))})


def asked(before: str, after: str, *names: str, player: Player | None = None, part_name: str = "Trombone") -> Ready:
    document = read_document(music(*names, part_name=part_name), "small.musicxml")
    return ready([document], load_horn(before), load_horn(after), player or Player())


def test_what_an_f_attachment_adds_is_what_is_published() -> None:
    """S22 (ranges of the tenor trombone): E2 to B flat 4 without, C2 to E flat 2 added by the F attachment."""
    names = ("C2", "C#2", "D2", "Eb2", "E2", "F2", "Bb2", "Bb3", "Bb4")
    answer = asked("tenor", "tenor-f", *names)
    lacking = {one.midi for one in answer.gains if one.reason == "beyond-horn"}
    assert lacking == {parse_pitch(name).midi for name in ("C2", "C#2", "D2", "Eb2")}
    assert answer.losses == ()


def test_b1_needs_the_second_valve() -> None:
    """S22: B1 only with the attachment pulled to E; a second valve has it in the fourth position of both (common
    practice)."""
    answer = asked("tenor-f", "bass-independent", "B1", "C2", "Bb2")
    b1 = next(one for one in answer.gains if one.sounding == "B1")
    assert (b1.reason, b1.measures) == ("beyond-horn", ("1",))
    assert b1.have.startswith("TS4 ")


def test_notes_far_out_come_near_with_the_attachment() -> None:
    """C3 and B2: sixth and seventh on the straight horn, first and second with the attachment (common practice)."""
    answer = asked("tenor", "tenor-f", "C3", "B2", "Bb2")
    far = {one.sounding: one for one in answer.gains if one.reason == "far-out"}
    assert set(far) == {"C3", "B2"}
    assert far["C3"].lack.startswith("only far out on the slide, 6 at")
    assert far["C3"].have.startswith("T1 at 0 mm")
    assert far["B2"].have.startswith("T2 at")


def test_a_short_reach_is_seen_and_the_note_is_not_called_impossible() -> None:
    short = player_of({"height_cm": 125})
    answer = asked("tenor", "tenor-f", "C3", "Bb2", player=short)
    assert [(one.sounding, one.reason) for one in answer.gains] == [("C3", "long-reach")]
    assert "beyond this player's reach" in answer.gains[0].lack
    seventh = next(one for one in answer.places if one.label == "7")
    assert seventh.beyond_reach_mm == pytest.approx(seventh.extension_mm - reach_from_height_mm(125))


def test_sharp_combinations_are_mended_by_the_fourth_valve() -> None:
    """1-3 and 1-2-3 are sharp (S16 and others; 4 and 2-4 replace them, S21)."""
    answer = asked("euphonium-3", "euphonium-4-compensating", "C3", "B2", "Bb2", part_name="Euphonium")
    got = {one.sounding: (one.reason, one.lack.split(",")[0], one.have.split(",")[0]) for one in answer.gains}
    assert got == {"C3": ("out-of-tune", "1-3", "4"), "B2": ("out-of-tune", "1-2-3", "2-4")}


def test_the_way_back_is_the_mirror() -> None:
    there = asked("tenor", "tenor-f", "D2", "C3", "Bb2")
    back = asked("tenor-f", "tenor", "D2", "C3", "Bb2")
    assert [(one.sounding, one.reason) for one in there.gains] == [(one.sounding, one.reason) for one in back.losses]
    assert there.losses == back.gains == ()


def test_what_neither_has_is_told() -> None:
    answer = asked("tenor", "tenor-f", "G0", "Bb2")
    assert [(one.sounding, one.lack) for one in answer.neither] == [
        ("G0", "cannot be played on tenor-f: its lowest note is C1")]


def test_hands_are_told_from_the_profiles() -> None:
    answer = asked("tenor", "bass-independent", "Bb2")
    told = {one.what: one for one in answer.changes}
    old, new = load_horn("tenor").handling, load_horn("bass-independent").handling
    assert told["bore"].before == f"{old.bore_mm.value:g} mm"
    assert told["bore"].after == f"{new.bore_mm.value:g} mm"
    by_kg = new.weight_kg.value - old.weight_kg.value
    assert f"{by_kg:.1f} kg more" in told["weight of the horn"].meaning
    assert told["weight of the horn"].evidence == new.weight_kg.evidence
    assert "thumb" in told["the left hand works"].after
    looks = " ".join(one.look for one in answer.skills)
    for word in ("Carrying", "Thumb", "Middle finger", "Reach", "Air"):
        assert word in looks


@pytest.mark.parametrize(("after", "words"), [
    ("euphonium-4", "fourth finger of the right hand"), ("euphonium-4-compensating", "a finger of the left hand")])
def test_the_fourth_valve_is_told_by_its_side(after: str, words: str) -> None:
    answer = asked("euphonium-3", after, "C3", "Bb2", part_name="Euphonium")
    assert any(words in one.look for one in answer.skills)
    assert any(one.what == "fourth valve" for one in answer.changes)


def test_skills_point_to_measures_that_hold_them() -> None:
    answer = asked("tenor-f", "bass-independent", "Bb2", "F3", "B1", "Bb2")
    middle = next(one for one in answer.skills if one.look.startswith("Middle finger"))
    assert middle.where == ("Trombone, measure 3",)


def test_a_horn_with_the_same_hands_brings_no_new_skill_of_hands() -> None:
    answer = asked("bass-independent", "bass-dependent", "Bb2")
    assert not any(one.look.startswith(("Thumb", "Middle", "Carrying", "Air")) for one in answer.skills)


def test_the_farthest_place_that_cannot_be_avoided_is_named_with_its_measure() -> None:
    answer = asked("tenor-f", "tenor", "Bb2", "F3", "E2", "C3")
    place = answer.places[-1]
    assert (place.label, "E2" in place.what, "measure 3" in place.what) == ("7", True, True)


@pytest.mark.parametrize(("table", "said"), [
    ({}, "No reach is given"), ({"height_cm": 150}, "estimate from height, kept low"), ({"reach_mm": 520}, "520 mm")])
def test_reach_is_told_as_known_estimated_or_measured(table: dict[str, float], said: str) -> None:
    answer = asked("tenor", "tenor-f", "Bb2", player=player_of(table))
    assert said in ready_text(answer)
    data = ready_document(answer)
    assert said in data["reach"]["text"]
    assert data["reach"]["estimated"] == ("height_cm" in table)
    assert any("estimate" in line for line in data["cautions"]) == ("height_cm" in table)


@pytest.mark.parametrize("after", [name for name in horn_names() if name != "tenor-f"])
def test_it_never_answers_yes_or_no(after: str) -> None:
    """For every horn, also for a small child with next to no reach."""
    small = player_of({"height_cm": 110, "low": "F2", "high": "D4"})
    document = open_document(SAMPLES / "brass-band-hymn.musicxml")
    answer = ready([document], load_horn("tenor-f"), load_horn(after), small)
    text, data = ready_text(answer), ready_document(answer)
    assert "decides nothing and rules nobody out" in text
    assert not re.search(r"\b(not ready|is ready|too small|too young|unfit|yes|should change|must not)\b", text, re.I)
    assert not {"verdict", "ready", "answer", "score_total"} & set(data)
    assert data["cautions"][-1].endswith("the teacher who is present and licensed practitioners decide.")
    assert data["skills"]


def test_several_scores_are_told_apart() -> None:
    names = ("harbour-march-trio.musicxml", "quiet-chorale-trombones.mxl")
    documents = [open_document(SAMPLES / name) for name in names]
    answer = ready(documents, load_horn("tenor"), load_horn("tenor-f"), Player())
    assert {one.score for one in answer.gains} == {document.name for document in documents}
    # README of the samples: measure 42 of the march ends on E flat 2, which a straight tenor does not have.
    march = [one for one in answer.gains if one.score == documents[0].name and one.sounding == "Eb2"]
    assert [(one.reason, one.measures) for one in march] == [("beyond-horn", ("42",))]


def test_the_document_is_whole() -> None:
    answer = asked("tenor", "bass-independent", "D2", "C3", "Bb2")
    data = json.loads(json.dumps(ready_document(answer)))
    assert data["schema"] == "lowbrass.ready/1"
    assert (data["from"], data["to"]) == ("tenor", "bass-independent")
    for one in data["needs"]:
        assert {"part", "line", "sounding", "midi", "reason", "measures", "lack", "have"} <= set(one)
    for one in data["physical"]:
        assert one["origin"] is None or one["origin"]["kind"] in ("cited", "derived", "judged")


def test_nothing_for_either_horn_is_told() -> None:
    document = read_document(music("Bb2", part_name="Euphonium"), "small.musicxml")
    with pytest.raises(Unreadable, match="no line here is for tenor or tenor-f"):
        ready([document], load_horn("tenor"), load_horn("tenor-f"), Player())


def test_the_command(tmp_path: Path) -> None:
    path = tmp_path / "small.musicxml"
    path.write_bytes(music("D2", "C3"))
    run = CliRunner().invoke
    student = str(SAMPLES / "student.toml")
    good = run(cli, ["ready", str(path), "--player", student, "--from", "tenor", "--to", "tenor-f"])
    assert good.exit_code == 0
    assert "What to look at with the student present" in good.stdout
    data = json.loads(run(cli, ["ready", str(path), "--from", "tenor", "--to", "alto", "--format", "json"]).stdout)
    assert data["schema"] == "lowbrass.ready/1"
    assert run(cli, ["ready", str(path), "--from", "tenor", "--to", "tenor"]).exit_code == 2
    assert run(cli, ["ready", str(path), "--from", "tenor"]).exit_code == 2
    assert run(cli, ["ready", "--from", "tenor", "--to", "alto"]).exit_code == 2
