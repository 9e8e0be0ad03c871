"""Five invented schools, six changes: everything covered or said to be missing, nothing beyond the player's limits."""

from dataclasses import replace
from functools import cache

import pytest

from analyzer.course.course import Course, course_of
from analyzer.course.skills import STAFF, goal_of, state_label
from analyzer.horns.candidates import candidates
from analyzer.horns.profiles import load_horn
from analyzer.plan.loads import TOO_MUCH
from analyzer.plan.player import Player
from analyzer.plan.practiced import Practiced
from analyzer.plan.solve import Planner
from analyzer.score.document import open_document
from analyzer.selection import asked_lines, chosen_parts
from tests.course.schools import CHANGES, SCHOOLS, STUDENT, course_for, lines_of

CASES = [(school, change) for school in SCHOOLS for change in CHANGES]


@pytest.mark.parametrize(("school", "change"), CASES)
def test_the_course_keeps_its_word(school: str, change: str) -> None:
    course = course_for(school, change)
    _whole(course)
    for week in course.weeks:
        for one in week.excerpts:
            _within_limits(course, school, one, week.number)


def _whole(course: Course) -> None:
    goal = [skill.id for skill in course.goal.skills]
    new = [skill.id for week in course.weeks for skill in week.new]
    missing = [skill.id for skill, _ in course.missing]
    assert sorted(new + missing) == sorted(goal)
    assert all(why for _, why in course.missing)
    assert course.exact
    had: set[str] = set()
    for week in course.weeks:
        assert week.excerpts
        assert len(week.new) <= 4
        there = had | {skill.id for skill in week.new}
        practiced = {one for excerpt in week.excerpts for one in excerpt.skills}
        assert {skill.id for skill in week.new} <= practiced, "what is new is practiced in that very week"
        assert practiced <= there, "nothing is asked for that comes later"
        assert {skill.id for skill in week.again} == practiced & had
        for skill in week.new:
            assert set(course.goal.needs(skill)) <= there, "what it builds on is there"
        had = there


@cache
def _line(school: str, score: str, part_id: str, number: int):
    document = open_document(next(path for path in SCHOOLS[school] if path.name == score))
    return next(asked.line for asked in asked_lines(document, chosen_parts(document, (part_id,))[0])[0]
                if asked.line.number == number)


def _within_limits(course: Course, school: str, one, week: int) -> None:
    """Look at every note of the excerpt again, from the score, without what the course found."""
    line = _line(school, one.score, one.part_id, one.line)
    numbers = [measure.number for measure in line.measures]
    first, last = numbers.index(one.first), numbers.index(one.last)
    assert (line.measures[first].index, line.measures[last].index) == (one.start, one.stop)
    assert 2 <= last - first + 1 <= 8
    horn, player = course.goal.after, course.goal.player
    planner = Planner(line, horn, Player(outermost_position=player.outermost_position, low=player.low,
                                         high=player.high))
    plan = planner.outline()
    here = [k for k, note in enumerate(line.notes) if one.start <= note.measure_index <= one.stop]
    assert here
    loads = planner.loads_of(plan)
    taught = {skill.id for done in course.weeks[:week] for skill in done.new}
    for k in here:
        choice, midi = plan.notes[k].choice, line.notes[k].midi
        assert choice is not None
        assert player.low <= midi <= player.high
        assert choice.out_mm <= player.reach_on(horn)
        state = state_label(choice.valves)
        assert state in course.goal.known or any(
            skill.id in taught and skill.has_note(midi, choice, None) for skill in course.goal.skills), choice.label
        if k + 1 in here:
            assert loads[k].most <= TOO_MUCH


def test_what_the_reach_forbids_is_missing_and_says_so() -> None:
    """C2 lies at the slide's end; sixth position is as far as this student goes (candidates of the horn itself)."""
    course = course_for("everything of ours", "the F attachment")
    why = {skill.id: text for skill, text in course.missing}["T6"]
    low_c = min(one.out_mm for one in candidates(course.goal.after, 36))
    assert low_c > STUDENT.reach_on(course.goal.after)
    assert f"{low_c:.0f} mm" in why


def test_one_week_is_not_enough_and_says_so() -> None:
    course = course_for("everything of ours", "the F attachment", weeks=1)
    _whole(course)
    assert len(course.weeks) == 1
    assert "no week is left for it" in [why for _, why in course.missing]


def test_more_weeks_bring_less_a_week_and_come_back() -> None:
    few = course_for("everything of ours", "the F attachment", weeks=2)
    many = course_for("everything of ours", "the F attachment", weeks=9)
    assert len(many.weeks) == 9
    assert max(len(week.new) for week in many.weeks) < max(len(week.new) for week in few.weeks)
    assert {skill.id for skill, _ in many.missing} <= {skill.id for skill, _ in few.missing}
    assert sum(bool(week.again) for week in many.weeks) >= 6


def test_what_the_player_file_calls_secure_is_left_out() -> None:
    player = Player(name="Student", outermost_position=6, low=34, high=67, secure=(("T1", "4"),))
    course = course_for("three trombone pieces", "the F attachment", player=player)
    assert {skill.id for skill in course.goal.done} == {"T1", "T-slow"}
    assert not {"T1", "T-slow"} & {skill.id for skill in course.goal.skills}
    _whole(course)


def test_a_valve_that_is_not_learned_is_learned_on_the_way() -> None:
    """Who has not learned the attachment on the old horn learns it on the new one."""
    player = Player(name="Student", learned=())
    course = course_for("everything of ours", "two valves", player=player)
    assert {"T1", "TS1"} <= {skill.id for skill in course.goal.skills}
    _whole(course)


def test_most_of_a_change_is_there_in_six_pieces() -> None:
    """The samples have every step of the F attachment but D flat 2, which none of them has as music21 reads them."""
    music21 = pytest.importorskip("music21")
    sounding = {pitch.midi for path in SCHOOLS["everything of ours"]
                for part in music21.converter.parse(path).toSoundingPitch().parts
                if any(name in part.partName for name in ("Trombone", "Euphonium", "Baritone"))
                for pitch in part.pitches}
    assert 37 not in sounding
    assert {36, 38, 39, 40, 48} <= sounding
    course = course_for("everything of ours", "the F attachment", player=Player(name="Student"))
    assert {skill.id for skill, _ in course.missing} == {"T5"}


def test_a_passage_ticked_clean_gives_way_to_another() -> None:
    """What a student ticked at its goal on a take-home page is not this week's news where there is another."""
    goal, lines = course_for("everything of ours", "the F attachment").goal, lines_of(
        "everything of ours", "the F attachment")
    first = course_of(goal, lines).weeks[0].excerpts[0]
    ticked = Practiced(score=first.score, part=first.part, measures=(first.first, first.last), beat="quarter", bpm=60,
                       goal_bpm=60, times=3, last_day="2026-11-30")
    again = course_of(goal, lines, practiced=(ticked,)).weeks[0].excerpts[0]
    assert (again.score, again.part, again.first, again.last) != (first.score, first.part, first.first, first.last)
    slower = course_of(goal, lines, practiced=(replace(ticked, bpm=40),)).weeks[0].excerpts[0]
    assert slower == first, "slower than the goal is not done yet"


def test_a_note_that_the_horn_has_out_of_tune_is_taught_all_the_same() -> None:
    """B1 is sharp on every compensating horn; it is what the horn is for."""
    course = course_for("everything of ours", "compensating", player=Player(name="Student"))
    assert "C-B1" in {skill.id for week in course.weeks for skill in week.new}


def test_notes_that_the_new_horn_plays_otherwise_are_no_goal() -> None:
    """From a straight horn to two valves, D2 is learned with both valves, not in the attachment's fourth position."""
    goal = goal_of(load_horn("tenor"), load_horn("bass-independent"), Player())
    ids = {skill.id for skill in goal.skills}
    assert {"T1", "T2", "T3", "TS1", "TS2", "TS3", "TS4"} <= ids
    assert not {"T4", "T5", "T6"} & ids
    three_to_compensating = goal_of(load_horn("euphonium-3"), load_horn("euphonium-4-compensating"), Player())
    assert "4-B1" in {skill.id for skill in three_to_compensating.skills}
    assert "4-B1" not in {skill.id for skill in goal_of(
        load_horn("euphonium-3"), load_horn("euphonium-4"), Player()).skills}


@pytest.mark.parametrize("before", ["tenor", "euphonium-3", "euphonium-4-compensating"])
@pytest.mark.parametrize("after", ["tenor-f", "bass-dependent", "baritone-3", "euphonium-4"])
def test_every_change_has_a_goal_whose_needs_lie_in_it(before: str, after: str) -> None:
    """Other families too: a euphonium player on a slide, a trombonist on valves. No need goes round in a circle."""
    goal = goal_of(load_horn(before), load_horn(after), Player(), "tenor")
    order = [skill.id for skill in goal.skills]
    assert len(order) == len(set(order)) >= 6
    for skill in goal.skills:
        assert all(order.index(need) < order.index(skill.id) for need in goal.needs(skill))


@pytest.mark.parametrize(("clef", "line", "bottom", "top"), [
    ("bass", "F3", "G2", "A3"), ("tenor", "C4", "D3", "E4"), ("alto", "C4", "F3", "G4"), ("treble", "G4", "E4", "F5")])
def test_clefs_are_where_music_theory_has_them(clef: str, line: str, bottom: str, top: str) -> None:
    """The lines of the staff in each clef, as any primer of notation gives them; music21 has the same bottom lines."""
    clefs = pytest.importorskip("music21.clef")
    lowest, home = STAFF[clef]
    steps = [f"{'CDEFGAB'[step % 7]}{step // 7}" for step in (lowest + home, lowest, lowest + 8)]
    assert steps == [line, bottom, top]
    assert clefs.clefFromString({"bass": "F4", "tenor": "C4", "alto": "C3", "treble": "G2"}[clef]).lowestLine == \
        lowest + 1, "music21 counts the steps from 1"
