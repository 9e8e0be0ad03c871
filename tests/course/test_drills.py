"""Drills of the skills: their notes can be played as they say, show what they teach, and come out engraved."""

from fractions import Fraction

import pytest

from analyzer.course.drill_notes import drill_notes, parse_notes
from analyzer.course.open_sheets import open_sheets
from analyzer.course.skills import all_skills, goal_of
from analyzer.course.stretches import CourseWanted
from analyzer.horns.candidates import candidates
from analyzer.horns.profiles import load_horn
from analyzer.pitch import parse_pitch
from analyzer.plan.player import Player
from analyzer.report.course.drill import drill_svgs
from tests.course.schools import CHANGES

WAYS = (("tenor", "tenor-f"), ("tenor-f", "bass-independent"), ("tenor-f", "bass-dependent"),
        ("euphonium-3", "euphonium-4"), ("euphonium-4", "euphonium-4-compensating"), ("euphonium-4", "tenor-f"),
        ("tenor", "euphonium-4-compensating"), ("tenor", "baritone-3"))


@pytest.mark.parametrize(("before", "after"), WAYS)
def test_every_note_skill_has_a_drill_that_has_it(before: str, after: str) -> None:
    horn = load_horn(after)
    goal = goal_of(load_horn(before), horn, Player())
    drilled = 0
    for skill in goal.skills:
        if skill.is_move:
            continue
        notes = drill_notes(skill, goal, ())
        assert notes, skill.id
        ways = [[one for one in candidates(horn, note.pitch.midi) if not note.label or one.label == note.label]
                for note in notes]
        assert all(ways)
        assert any(skill.has_note(note.pitch.midi, one, None) for note, found in zip(notes, ways, strict=True)
                   for one in found), skill.id
        assert sum(note.quarters for note in notes) % 4 == 0, "whole measures"
        drilled += 1
    assert drilled >= 4


def test_the_words_of_a_drill_and_its_notes_name_the_same_pitches() -> None:
    """`drill` says in words what `notes` engraves: every note named there stands on the staff."""
    for skill in all_skills():
        if not skill.notes:
            continue
        engraved = {note.pitch.midi for note in parse_notes(skill.notes)}
        words = skill.drill.replace("♭", "b").replace("(", " ").replace(")", " ").replace(",", " ").replace(";", " ")
        named = {parse_pitch(word.strip(".:")).midi for word in words.split()
                 if len(word.strip(".:")) in (2, 3) and word[0] in "ABCDEFG" and word.strip(".:")[-1].isdigit()}
        assert named <= engraved, (skill.id, skill.drill)


@pytest.mark.parametrize(("clef", "first"), [("bass", "F3"), ("tenor", "C4"), ("alto", "C4"), ("treble", "G4"),
                                             ("treble-b-flat", "F3")])
def test_a_clef_begins_on_the_line_it_names(clef: str, first: str) -> None:
    """The line that each clef sign names, as any primer of notation has it (treble in B flat: written G4 sounds F3)."""
    goal = goal_of(load_horn("euphonium-4"), load_horn("euphonium-4"), Player(), clef)
    home = next(skill for skill in goal.skills if skill.id == "clef-home")
    notes = drill_notes(home, goal, ())
    assert notes[0].pitch.name == first
    assert len({note.pitch.midi for note in notes}) == 3


def test_a_drill_along_the_staff_is_what_its_words_say() -> None:
    """Tenor clef, lines D3 to E4 (any primer): up from C4 by steps; top line, space above, first ledger line."""
    goal = goal_of(load_horn("euphonium-4"), load_horn("euphonium-4"), Player(), "tenor")
    skills = {skill.id: [note.pitch.name for note in drill_notes(skill, goal, ())] for skill in goal.skills}
    assert skills["clef-staff-high"] == ["C4", "D4", "E4", "D4", "C4"]
    assert skills["clef-above"] == ["E4", "F4", "G4", "F4", "E4"]
    assert skills["clef-below"] == ["D3", "C3", "B2", "C3", "D3"]
    assert skills["clef-staff-low"][:3] == ["C4", "B3", "A3"]


def test_a_move_is_drilled_with_the_two_notes_of_the_music() -> None:
    goal = goal_of(load_horn("tenor"), load_horn("tenor-f"), Player())
    quick = next(skill for skill in goal.skills if skill.id == "T-quick")
    ends = ((parse_pitch("D3"), "4"), (parse_pitch("C3"), "T1"))
    notes = drill_notes(quick, goal, [ends])
    assert {(note.pitch.name, note.label) for note in notes} == {("D3", "4"), ("C3", "T1")}
    assert {note.quarters for note in notes} == {Fraction(2), Fraction(1), Fraction(1, 2), Fraction(4)}
    assert drill_notes(quick, goal, []) == ()


def test_beyond_the_player_there_is_no_drill() -> None:
    goal = goal_of(load_horn("tenor"), load_horn("tenor-f"), Player(low=40))
    low = next(skill for skill in goal.skills if skill.id == "T3")
    assert drill_notes(low, goal, ()) == ()


@pytest.mark.parametrize("clef", [None, "tenor", "treble-b-flat"])
def test_a_drill_is_engraved_with_its_marks(clef: str | None) -> None:
    pytest.importorskip("verovio")
    goal = goal_of(load_horn("tenor"), load_horn("tenor-f"), Player())
    skill = next(one for one in goal.skills if one.id == "T2")
    music = "".join(drill_svgs(skill, goal, clef, ()))
    assert music.count(">T2<") == 3
    assert music.count(">T1<") == 2


@pytest.mark.parametrize("change", CHANGES)
def test_the_open_sheets_alone_have_every_thing_of_a_change(change: str) -> None:
    """A player without limits can learn every note of every change from them; clefs: their own notes and leaps."""
    before, after, clef = CHANGES[change]
    goal = goal_of(load_horn(before), load_horn(after), Player(), clef)
    _, lines = open_sheets(CourseWanted(goal=goal))
    offered = {one for line in lines for stretch in line["stretches"] for one in stretch["needs"]}
    assert {skill.id for skill in goal.skills} <= offered
