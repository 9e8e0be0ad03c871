"""Practice sheets: what they hold is held against the map of the same music, physics, music21 and the schema."""

import io
import itertools
import json
import math
import os
import re
import subprocess
import sys
from collections import Counter
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

from analyzer.analysis import Request, analyse
from analyzer.horns.candidates import candidates
from analyzer.horns.profiles import load_horn
from analyzer.pitch import Transposition
from analyzer.plan.player import Player
from analyzer.plan.timing import note_times
from analyzer.plan.weights import default_weights
from analyzer.practice.builder import METRONOME, Exercise, exercise_line
from analyzer.practice.drills import RECALL_DAYS, Drills, drills_for, meter_at
from analyzer.practice.grammar import default_grammar, grammar_from, parse_measure
from analyzer.practice.passage import Meter
from analyzer.practice.weeks import PER_DAY, needs, practice_days
from analyzer.problem import Unreadable
from analyzer.report.drill.document import drill_document
from analyzer.report.drill.sheet import sheet_musicxml
from analyzer.report.drill.sound import listening_wav, sheet_midi, tones
from analyzer.report.drill.text import calendar_ics, drill_text
from analyzer.report.map.document import map_document
from analyzer.score.document import open_document, read_document
from tests.test_samples import schema  # noqa: F401  (a fixture)

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_scores"
STUDENT = Player(learned=(), outermost_position=6, low=41, high=65)
CASES = {
    "tenor": ("harbour-march-trio.musicxml", "tenor", Player()),
    "tenor-student": ("harbour-march-trio.musicxml", "tenor", STUDENT),
    "tenor-f": ("attachment-etude.musicxml", "tenor-f", Player()),
    "tenor-f-new": ("attachment-etude.musicxml", "tenor-f", STUDENT),
    "tenor-clef": ("quiet-chorale-trombones.mxl", "tenor-f", Player(learned=())),
    "bass": ("deep-water-bass-trombone.musicxml", "bass-independent", Player(learned=("T",))),
    "euphonium-3": ("evening-song-euphonium.musicxml", "euphonium-3", Player(learned=("1", "2", "1-2"))),
    "euphonium-4": ("evening-song-euphonium.musicxml", "euphonium-4", Player()),
    "treble": ("brass-band-hymn.musicxml", "euphonium-3", Player(learned=("1",))),
}


@cache
def made(case: str, seed: int = 1) -> Drills:
    name, horn, player = CASES[case]
    return drills_for(open_document(SAMPLES / name), Request(horns=(horn,), player=player), seed=seed)


@pytest.fixture(scope="module", params=CASES)
def case(request: pytest.FixtureRequest) -> tuple[Drills, bytes]:
    drills = made(request.param)
    return drills, sheet_musicxml(drills)


def notes_of(drills: Drills) -> list[dict[str, Any]]:
    return [note for exercise in drill_document(drills)["exercises"] for note in exercise["notes"]]


# --- the grammar -------------------------------------------------------------------------------------------------

def test_grammar_rests_in_every_second_measure() -> None:
    grammar = default_grammar()
    assert len(grammar.kinds) >= 8

    def may_lack_rest(name: str) -> bool:
        return any(all(token.role != "r" for token in measure) for measure in grammar.measures[name])

    for kind, names in grammar.kinds.items():
        assert not any(may_lack_rest(a) and may_lack_rest(b) for a, b in pairwise((*names, *names[:1]))), kind
        assert not may_lack_rest(names[-1]), f"{kind} ends without a rest"


@pytest.mark.parametrize("text", ["a2 b1", "a2 x2", "a2 b-2 r4", "a2 b2 r1", ""])
def test_measure_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"token|four quarters"):
        parse_measure(text)


def test_grammar_with_a_missing_measure_is_refused() -> None:
    with pytest.raises(ValueError, match="not there: ghost"):
        grammar_from('[kind]\nmove = ["ghost"]\n[measure]\nother = ["a4"]\n')


# --- ranking -----------------------------------------------------------------------------------------------------

@pytest.mark.parametrize("name", CASES)
def test_moves_are_those_of_the_map(name: str) -> None:
    score, horn, player = CASES[name]
    drills = made(name)
    document = open_document(SAMPLES / score)
    # The map of the same music, with every valve state learned: counted here anew from its JSON.
    asked = Request(horns=(horn,), player=Player(**{
        key: getattr(player, key) for key in ("outermost_position", "low", "high")}))
    line = next(one for one in map_document(analyse(document, asked))["lines"]
                if one["part"]["id"] == drills.planned.part.id and one["line"] == drills.planned.plan.line.number)
    counted = Counter((a["midi"], a["label"], b["midi"], b["label"]) for a, b in pairwise(line["notes"])
                      if a["label"] is not None and b["label"] is not None)
    assert drills.moves
    for move in drills.moves:
        key = (move.before.midi, move.before.label, move.after.midi, move.after.label)
        assert counted[key] == move.count
    order = [(bool(move.kinds), move.score) for move in drills.moves]
    assert order == sorted(order, reverse=True)


def test_rank_is_frequency_times_difficulty_times_new() -> None:
    old, new = made("tenor-f"), drills_for(
        open_document(SAMPLES / "attachment-etude.musicxml"), Request(horns=("tenor-f",), player=Player(learned=())))

    def by_key(drills: Drills) -> dict[tuple[str, str], Any]:
        return {(move.name, move.after.label): move for move in drills.moves}

    known, fresh = by_key(old), by_key(new)
    both = known.keys() & fresh.keys()
    attachment = [key for key in both if known[key].before.valves or known[key].after.valves]
    assert attachment
    assert len(both) > len(attachment)
    for key in both:
        a, b = known[key], fresh[key]
        assert a.score == pytest.approx(a.count * (a.far + a.fast + a.tune))
        assert b.score / a.score == pytest.approx(2.0 if key in attachment else 1.0)
        assert ("new" in b.kinds) == (key in attachment)
        # Minimum jerk: peak is 15/8 of the mean speed; far is the share of a slide of 650 mm.
        way = abs(a.before.extension_mm - a.after.extension_mm)
        assert a.far == pytest.approx(way / 650.0)
        assert a.peak_speed_mm_s >= 15 / 8 * way / a.gap_s - 1e-6


def pairs_of(drills: Drills) -> list[frozenset[str]]:
    return [frozenset((move.before.label, move.after.label)) for move in drills.moves]


def test_secure_moves_are_drilled_no_more() -> None:
    document = open_document(SAMPLES / "attachment-etude.musicxml")
    before = drills_for(document, Request(horns=("tenor-f",), player=Player()))
    first = before.moves[0]
    secure = Player(secure=((first.after.label, first.before.label),))
    after = drills_for(document, Request(horns=("tenor-f",), player=secure))
    pair = frozenset((first.before.label, first.after.label))
    assert pair in pairs_of(before)
    assert pair not in pairs_of(after)
    assert after.secure == secure.secure
    assert not any(first.name in one.covers for one in after.exercises)
    assert not any(one.covers == first.name for one in after.recall)
    assert "left out as secure" in drill_text(after)


def test_where_all_is_secure_the_passage_is_left() -> None:
    document = open_document(SAMPLES / "attachment-etude.musicxml")
    secure: tuple[tuple[str, str], ...] = ()
    for _ in range(20):
        drills = drills_for(document, Request(horns=("tenor-f",), player=Player(secure=secure)))
        left = [move for move in drills.moves if move.moves_hand]
        if not left:
            break
        secure += tuple((move.before.label, move.after.label) for move in left)
    assert not left
    assert not drills.recall
    assert not any(one.kind == "move" for one in drills.exercises)
    assert drills.exercises[-1].kind == "passage"
    assert sheet_musicxml(drills)
    assert practice_days(drills, 2)


# --- what is asked can be played ---------------------------------------------------------------------------------

def test_every_note_is_playable_by_this_player_on_this_horn(case: tuple[Drills, bytes]) -> None:
    drills, _ = case
    player, horn = drills.kit.learner, drills.planned.plan.horn
    notes = notes_of(drills)
    assert len(notes) > 20
    for note in notes:
        ways = [one for one in candidates(horn, note["midi"]) if one.label == note["label"]]
        assert ways, note
        assert all((one.extension_mm or 0) <= player.reach_on(horn) for one in ways)
        assert player.low is None or note["midi"] >= player.low
        assert player.high is None or note["midi"] <= player.high


def test_marks_agree_with_the_physics_of_the_open_slide() -> None:
    """An open partial n of a tube L lengthened by 2 x sounds ``n / (1 + 2 x / L)`` times the fundamental, B flat 1."""
    drills = made("tenor")
    horn = load_horn("tenor")
    seen = 0
    for exercise in drills.exercises:
        for one in (note for row in exercise.measures for note in row if note.choice is not None):
            choice = one.choice
            cents = 1200 * math.log2(choice.partial / (1 + 2 * choice.extension_mm / horn.tube_mm))
            assert abs(cents - 100 * (choice.midi - 34)) < 20
            seen += 1
    assert seen > 20


def test_passage_keeps_rests_where_the_player_cannot_play() -> None:
    drills = made("tenor-student")
    assert any(problem.code == "left-out" for problem in drills.problems)
    assert all(41 <= note["midi"] <= 65 for note in notes_of(drills))


# --- kinds of exercises ------------------------------------------------------------------------------------------

def test_same_pitch_two_ways_holds_one_pitch_and_two_labels() -> None:
    pairs = [one for one in drill_document(made("tenor-f-new"))["exercises"] if one["kind"] == "two-ways"]
    assert pairs
    for one in pairs:
        assert len({note["midi"] for note in one["notes"]}) == 1
        assert len({note["label"] for note in one["notes"]}) == 2
    found = {frozenset(note["label"] for note in one["notes"]) for one in pairs}
    assert frozenset({"6", "T1"}) in found             # C3: common practice, no source; in the data contract


def test_new_valve_state_is_told_in_mm_against_the_open_positions() -> None:
    drills = made("tenor-f-new")
    scale = next(one for one in drills.exercises if one.kind == "scale")
    assert scale.covers == ("T",)
    told = {one.choice.label: one.text for row in scale.measures for one in row if one.choice and one.text}
    # Worked out here: half tube 1480.1 mm (S09), an attachment 505 cents lower, partial 3 at 1.955 cents above equal
    # temperament; second position of F against second position of the open slide, an equal semitone.
    half_mm = 2960.2 / 2
    held = half_mm * (2 ** (601.955 / 1200) - 2 ** (505 / 1200))
    opened = half_mm * (2 ** (1 / 12) - 1)
    assert told["T2"] == f"2 + {held - opened:.0f} mm"
    assert list(told) == sorted(told)
    assert not any(one.kind == "scale" and one.covers == ("T",) for one in made("bass").exercises)
    assert any(one.kind == "scale" and one.covers[0] in ("TS", "S") for one in made("bass").exercises)


def quickest(exercise: Exercise) -> float:
    """Least time from attack to attack. [beats]"""
    notes = exercise_line(exercise, Transposition()).notes
    return float(min(b.onset - a.onset for a, b in pairwise(notes)) / exercise.beat)


def test_moves_go_both_ways_from_slow_to_the_tempo_of_the_music() -> None:
    for name in CASES:
        drills = made(name)
        for one in (one for one in drills.exercises if one.kind == "move"):
            ends = [note.choice.label + note.written.name for row in one.measures for note in row if note.choice]
            there = {(a, b) for a, b in pairwise(ends) if a != b}
            assert len(there) == 2, "two ends, there and back"
            assert list(one.steps) == sorted(set(one.steps))
            assert set(one.steps) <= set(METRONOME)
            assert one.tempo_bpm == one.steps[0]
            move = next(move for move in drills.moves if move.name in one.covers)
            # At the last step the quickest change is no quicker than in the music (half a metronome step aside).
            assert quickest(one) * 60 / one.steps[-1] >= move.gap_s * 0.96 or one.steps[-1] == METRONOME[0]


def test_no_goal_is_faster_than_the_players_slide() -> None:
    slow = Player(max_speed_mm_s=1500.0)
    drills = drills_for(open_document(SAMPLES / "attachment-etude.musicxml"), Request(horns=("tenor-f",), player=slow))
    moves = {move.name: move for move in drills.moves}
    checked = 0
    for one in (one for one in drills.exercises if one.kind == "move"):
        move = moves[one.covers[0]]
        if move.peak_speed_mm_s > 1500:
            assert "no faster in the music" in one.words
            # The exercise's own notes at its last step, in the time that the timing gives each move.
            times = note_times(exercise_line(one, Transposition()), default_weights(), one.steps[-1] * float(one.beat))
            places = [note.choice.out_mm for row in one.measures for note in row if note.choice]
            peak = max(15 / 8 * abs(b - a) / time.move_s for (a, b), time in zip(pairwise(places), times, strict=False))
            assert peak <= 1500 * 1.001 or one.steps[-1] == METRONOME[0]
            checked += 1
    assert checked


def test_tuning_is_for_valves_and_names_what_the_map_hears() -> None:
    assert not [one for one in made("tenor-f").exercises if one.kind == "tuning"]
    drills = made("euphonium-3")
    document = open_document(SAMPLES / "evening-song-euphonium.musicxml")
    heard = {(note["midi"], note["label"]): note["off_cents"]
             for line in map_document(analyse(document, Request(horns=("euphonium-3",))))["lines"]
             for note in line["notes"]}
    tunings = [one for one in drill_document(drills)["exercises"] if one["kind"] == "tuning"]
    assert tunings
    for one in tunings:
        usual = one["notes"][0]
        off = heard[usual["midi"], usual["label"]]
        assert abs(off) > 15
        assert f"{abs(off):.0f} cents {'sharp' if off > 0 else 'flat'}" in one["words"]
    # Notes with 1-3 and 1-2-3 are the sharp ones of three valves (common practice; published in S15, S16): 1-3 by 28
    # cents, a lip's work; 1-2-3 by 51, which no ear mends: the sheet says so, and asks nothing.
    assert {(one["notes"][0]["midi"], one["notes"][0]["label"]) for one in tunings} == {(48, "1-3"), (41, "1-3")}
    assert any(text.startswith("B2 with 1-2-3 is 51 cents sharp") for text in drills.remarks)


def test_passage_as_written_is_the_music(case: tuple[Drills, bytes]) -> None:
    drills, _ = case
    passage = next(one for one in drills.exercises if one.kind == "passage")
    first = re.search(r"measures? ([^–:]+)", passage.title)
    assert first is not None
    source = [note for note in drills.planned.plan.line.notes if note.measure == first[1]
              and drills.kit.can(drills.planned.plan.notes[drills.planned.plan.line.notes.index(note)].choice)]
    written = [note for note in exercise_line(passage, drills.kit.transposition).notes if note.measure_index == 0]
    assert [(note.written, note.midi) for note in written] == [(note.written, note.midi) for note in source]
    assert [note.duration for note in written][:-1] == [note.duration for note in source][:-1]
    assert passage.steps[-1] * passage.beat <= drills.planned.plan.notes[0].time.bpm * Fraction(5, 4) \
        or len(drills.planned.plan.line.tempi) > 1


def written(step: str, octave: int, ticks: int, *, tie: str = "", extra: str = "", grace: bool = False) -> str:
    length = "<grace/>" if grace else ""
    duration = "" if grace else f"<duration>{ticks}</duration>"
    ties = "".join(f'<tie type="{one}"/>' for one in tie.split())
    return (f"<note>{length}<pitch><step>{step}</step><octave>{octave}</octave></pitch>{duration}{ties}"
            f"<voice>1</voice>{extra}</note>")


def rest(ticks: int) -> str:
    return f"<note><rest/><duration>{ticks}</duration><voice>1</voice></note>"


# Twelve ticks a quarter. A pickup; triplets; a tie over the barline; a grace note; rests that start off the beat.
ODD = ("<score-partwise version='4.0'><part-list><score-part id='P1'><part-name>Trombone</part-name></score-part>"
       "</part-list><part id='P1'><measure number='0' implicit='yes'><attributes><divisions>12</divisions>"
       "<key><fifths>0</fifths></key><time><beats>3</beats><beat-type>4</beat-type></time>"
       "<clef><sign>F</sign><line>4</line></clef></attributes>"
       + written("F", 3, 12)
       + "</measure><measure number='1'>"
       + written("C", 3, 4) + rest(4) + written("F", 2, 4) + written("A", 2, 8) + rest(4)
       + written("D", 3, 12, tie="start")
       + "</measure><measure number='2'>"
       + written("D", 3, 6, tie="stop") + rest(15) + written("B", 2, 0, grace=True) + written("C", 3, 15)
       + "</measure></part></score-partwise>")


@pytest.mark.parametrize("measures", [("0", "1"), ("1", "2")])
def test_passage_keeps_pickup_triplets_ties_graces_and_rests(measures: tuple[str, str], schema: Any) -> None:  # noqa: F811
    document = read_document(ODD.encode(), "odd.musicxml")
    drills = drills_for(document, Request(horns=("tenor",), measures=measures))
    sheet = sheet_musicxml(drills)
    schema.assertValid(etree.fromstring(sheet))
    line = analyse(read_document(sheet, "sheet"), Request(horns=("tenor",))).lines[0].plan.line
    number = sum(len(one.measures) for one in drills.exercises[:-1])
    assert drills.exercises[-1].kind == "passage"
    back = [note for note in line.notes if note.measure_index >= number]
    start = line.measures[number].onset
    # Worked out from ticks: (onset, length) of each note from the first barline of the passage on, in quarters.
    third = Fraction(1, 3)
    first = [("C3", 0, third), ("F2", 2 * third, third), ("A2", 1, 2 * third)]
    expected = {
        "0": [("F3", 2, 1), *((name, 3 + at, length) for name, at, length in first), ("D3", 5, 1)],
        "1": [*first, ("D3", 2, Fraction(3, 2)), ("B2", Fraction(19, 4), 0), ("C3", Fraction(19, 4), Fraction(5, 4))],
    }[measures[0]]
    assert [(note.written.name, note.onset - start, note.duration) for note in back] == expected
    assert [note.grace for note in back] == [length == 0 for _, _, length in expected]


@pytest.mark.parametrize(("beats", "beat_type", "quarters", "beat"), [
    ("4", "4", 4, 1), ("2", "2", 4, 2), ("6", "8", 3, Fraction(3, 2)), ("3+2", "8", Fraction(5, 2), 1)])
def test_meter(beats: str, beat_type: str, quarters: Fraction, beat: Fraction) -> None:
    meter = Meter(0, beats, beat_type)
    assert (meter.quarters, meter.beat) == (quarters, beat)


def test_meter_is_read_where_the_passage_begins() -> None:
    document = read_document(
        b"<score-partwise><part-list><score-part id='P1'><part-name>Trombone</part-name></score-part></part-list>"
        b"<part id='P1'><measure number='1'><attributes><key><fifths>-3</fifths></key><time><beats>6</beats>"
        b"<beat-type>8</beat-type></time></attributes></measure><measure number='2'><attributes><time>"
        b"<senza-misura/></time></attributes></measure><measure number='3'><attributes><key><fifths>x</fifths></key>"
        b"<time><beats>2</beats><beat-type>2</beat-type></time></attributes></measure></part></score-partwise>", "x")
    assert [meter_at(document, "P1", index) for index in range(3)] == [
        Meter(-3, "6", "8"), Meter(-3, "6", "8"), Meter(-3, "2", "2")]


# --- the sheet ---------------------------------------------------------------------------------------------------

def test_sheet_is_valid_and_reads_back_as_made(case: tuple[Drills, bytes], schema: Any) -> None:  # noqa: F811
    drills, sheet = case
    schema.assertValid(etree.fromstring(sheet))
    document = read_document(sheet, "sheet.musicxml")
    back = map_document(analyse(document, Request(horns=(drills.planned.plan.horn.name,))))
    assert len(back["lines"]) == 1
    assert back["problems"] == []
    notes = back["lines"][0]["notes"]
    assert [note["midi"] for note in notes] == [note["midi"] for note in notes_of(drills)]
    assert [note["written"] for note in notes] == [note["written"] for note in notes_of(drills)]
    assert all(note["label"] for note in notes)
    printed = [mark.text for mark in document.root.iter("fingering")]
    labels = [note["label"].replace("#", "♯").replace("b", "♭") for note in notes_of(drills)]
    assert printed == labels
    assert {mark.get("placement") for mark in document.root.iter("fingering")} == {"below"}
    tempi = [float(sound.get("tempo")) for sound in document.root.iter("sound")]
    assert tempi == [pytest.approx(float(one.tempo_bpm * one.beat)) for one in drills.exercises]


def test_sheet_says_the_caution_and_fits_a_page(case: tuple[Drills, bytes]) -> None:
    drills, sheet = case
    root = etree.fromstring(sheet)
    words = [one.text for one in root.iter("words")]
    assert drills.cautions[0] in words
    assert set(drills.cautions) <= {one.text for one in root.iter("credit-words")}
    assert 3 <= len(drills.exercises) <= 11
    assert len(root.findall("part/measure")) == sum(len(one.measures) for one in drills.exercises) <= 48
    for one in drills.exercises:
        assert len(one.words) <= 110, "wider than a line of A4"
        assert any(text and one.title in text for text in words)
    document = drill_document(drills)
    numbers = [label for one in document["exercises"] for label in one["measures"]]
    assert numbers == [measure.get("number") for measure in root.iter("measure")]


def test_another_library_reads_the_sheet_alike(case: tuple[Drills, bytes]) -> None:
    converter = pytest.importorskip("music21.converter")
    drills, sheet = case
    score = converter.parseData(sheet.decode("utf-8"), format="musicxml")
    part = score.parts[0].toSoundingPitch()
    heard = [note.pitch.midi for note in part.recurse().notes if note.tie is None or note.tie.type == "start"]
    assert heard == [note["midi"] for note in notes_of(drills)]
    for measure in part.getElementsByClass("Measure"):
        assert measure.duration.quarterLength == measure.barDuration.quarterLength, measure.number


def test_sheet_is_in_the_clef_and_transposition_of_the_part() -> None:
    root = etree.fromstring(sheet_musicxml(made("treble")))
    assert [root.findtext(f".//clef/{tag}") for tag in ("sign", "line")] == ["G", "2"]
    shift = int(root.findtext(".//transpose/chromatic")) + 12 * int(root.findtext(".//transpose/octave-change"))
    assert shift == -14                                # a major ninth
    notes = notes_of(made("treble"))
    steps = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
    for note in notes:
        match = re.fullmatch(r"([A-G])(#*|b*)(\d)", note["written"])
        assert match is not None
        midi = 12 * (int(match[3]) + 1) + steps[match[1]] + match[2].count("#") - match[2].count("b")
        assert midi == note["midi"] + 14
    document = open_document(SAMPLES / "quiet-chorale-trombones.mxl")
    first = next(part for part in document.part_ids)
    drills = drills_for(document, Request(parts=(first,), horns=("tenor-f",)))
    root = etree.fromstring(sheet_musicxml(drills))
    assert [root.findtext(f".//clef/{tag}") for tag in ("sign", "line")] == ["C", "4"]


def test_same_seed_same_bytes_in_other_processes(tmp_path: Path) -> None:
    sheets = []
    for number, chance in enumerate(("1", "2")):
        out = tmp_path / f"{number}.musicxml"
        done = run("drill", SAMPLES / "attachment-etude.musicxml", "--horn", "tenor-f", "-o", out, "--seed", "7",
                   hash_seed=chance)
        assert done.returncode == 0, done.stderr
        sheets.append(out.read_bytes())
    assert sheets[0] == sheets[1] == sheet_musicxml(made("tenor-f", 7))
    assert sheets[0] != sheet_musicxml(made("tenor-f", 8))


# --- weeks, words, the command -----------------------------------------------------------------------------------

def test_weeks_go_through_all_exercises_and_up_in_tempo() -> None:
    drills = made("tenor-f")
    days = practice_days(drills, 3)
    assert [day.day for day in days] == [0, 2, 4, 7, 9, 11, 14, 16, 18]
    assert {title for day in days for title in day.titles} == {one.title for one in drills.exercises}
    for one in drills.exercises:
        goals = [goal for day in days for title, goal in zip(day.titles, day.tempi, strict=True)
                 if title == one.title and goal]
        assert goals == sorted(goals)
        assert set(goals) <= set(one.steps)
    due = [day.day for day in days if day.recall]
    assert due == [2, 4, 7, 14]                        # 1, 3, 7 and 14 days on, each on the next day of practice
    assert RECALL_DAYS == (1, 3, 7, 14)
    with pytest.raises(ValueError, match="1 to 12"):
        practice_days(drills, 0)


def days_by_title(drills: Drills, weeks: int) -> Counter[str]:
    return Counter(title for day in practice_days(drills, weeks) for title in day.titles)


def test_days_follow_need() -> None:
    for name in CASES:
        drills = made(name)
        need = needs(drills)
        for weeks in (1, 2, 5, 12):
            given = days_by_title(drills, weeks)
            counts = [given[one.title] for one in drills.exercises]
            assert min(counts) >= 1
            assert max(counts) <= 3 * weeks
            assert all(len(set(day.titles)) == len(day.titles) <= PER_DAY for day in practice_days(drills, weeks))
            for (a, x), (b, y) in itertools.product(zip(need, counts, strict=True), repeat=2):
                assert a <= b or x >= y, "more need, never fewer days"
            assert sum(counts) >= 0.9 * min(3 * weeks * PER_DAY, 3 * weeks * len(counts))


def test_days_follow_what_is_learned_and_secure() -> None:
    document = open_document(SAMPLES / "attachment-etude.musicxml")

    def share(player: Player) -> float:
        """Share of the need that holds the attachment."""
        drills = drills_for(document, Request(horns=("tenor-f",), player=player))
        held = [any(one.choice and one.choice.valves for row in exercise.measures for one in row)
                for exercise in drills.exercises]
        need = needs(drills)
        return sum(one for one, yes in zip(need, held, strict=True) if yes) / sum(need)

    assert share(Player(learned=())) > share(Player(learned=("T",)))
    # Worked out for one exercise: its need is what both directions of its move add up to.
    drills = made("tenor-f-new")
    for exercise, need in zip(drills.exercises, needs(drills), strict=True):
        if exercise.kind == "move":
            pair = next(move.pair for move in drills.moves if move.name == exercise.covers[0])
            assert need == pytest.approx(sum(move.score for move in drills.moves if move.pair == pair))


def test_exercises_begin_in_the_order_of_the_sheet() -> None:
    for name in CASES:
        drills = made(name)
        first = {}
        for day in practice_days(drills, 4):
            for title in day.titles:
                first.setdefault(title, day.day)
        begun = [first[one.title] for one in drills.exercises]
        # Those with few days may wait a little; no later exercise begins a week before an earlier one.
        assert all(later >= earlier - 7 for earlier, later in itertools.combinations(begun, 2))


def test_calendar_is_read_by_the_library_and_has_no_clock() -> None:
    import datetime as dt

    icalendar = pytest.importorskip("icalendar")
    drills = made("tenor-f")
    days = practice_days(drills, 2)
    start = dt.date(2027, 1, 4)
    data = calendar_ics(drills, days, start)
    assert data == calendar_ics(drills, days, start)
    events = icalendar.Calendar.from_ical(data).walk("VEVENT")
    assert [(event.decoded("dtstart") - start).days for event in events] == [0, 2, 4, 7, 9, 11]
    assert len({str(event["uid"]) for event in events}) == 6
    assert all(drills.cautions[0] in str(event["description"]) for event in events)


@pytest.mark.parametrize("name", ["tenor-f-new", "euphonium-3"])
def test_reference_pitches_are_true_to_a_tenth_of_a_cent(name: str) -> None:
    """The peak of a long spectrum against 440 Hz and equal temperament, worked out here."""
    np = pytest.importorskip("numpy")
    soundfile = pytest.importorskip("soundfile")
    heard = tones(made(name))
    data, rate = soundfile.read(io.BytesIO(listening_wav(heard)))
    assert rate == 44100
    assert np.abs(data).max() < 0.5
    assert any(tone.cents for tone in heard)
    assert {tone.midi for tone in heard} >= {48}
    for tone in heard:
        start = round(tone.start_s * rate)
        # The steady middle; a Gaussian window makes the peak of the log spectrum a parabola, so three points give it.
        piece = data[start + rate // 2:start + rate // 2 + 2 * rate]
        window = np.exp(-0.5 * ((np.arange(len(piece)) - len(piece) / 2) / (len(piece) / 10)) ** 2)
        size = 2 ** 20
        spectrum = np.log(np.abs(np.fft.rfft(piece * window, size)) + 1e-12)
        expected = 440 * 2 ** ((tone.midi + tone.cents / 100 - 69) / 12)
        low, high = (round(expected * ratio * size / rate) for ratio in (0.9, 1.1))
        top = low + int(spectrum[low:high].argmax())
        left, mid, right = spectrum[top - 1:top + 2]
        hz = (top + (left - right) / (2 * (left - 2 * mid + right))) * rate / size
        assert abs(1200 * math.log2(hz / expected)) < 0.1


def test_midi_sounds_what_the_sheet_says() -> None:
    drills = made("treble")
    data = sheet_midi(drills)
    assert data.startswith(b"MThd")
    assert data == sheet_midi(drills)
    converter = pytest.importorskip("music21.converter")
    heard = [note.pitch.midi for note in converter.parseData(data, format="midi").recurse().notes]
    assert heard == [note["midi"] for note in notes_of(drills)]


def test_words_name_moves_exercises_and_cautions() -> None:
    drills = made("euphonium-3")
    text = drill_text(drills, practice_days(drills, 1))
    for part in ("Hard moves", "Exercises", "From memory", "week 1, day 5", "cents sharp", "Caution:"):
        assert part in text


def run(*words: object, hash_seed: str = "0") -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "analyzer", *map(str, words)], capture_output=True, text=True,
                          encoding="utf-8", cwd=ROOT, timeout=120, check=False,
                          env={**os.environ, "PYTHONHASHSEED": hash_seed})


def test_command_keeps_the_contract(tmp_path: Path) -> None:
    out, calendar = tmp_path / "sheet.musicxml", tmp_path / "weeks.ics"
    done = run("drill", SAMPLES / "evening-song-euphonium.musicxml", "--horn", "euphonium-4", "-o", out, "--format",
               "json", "--weeks", 2, "--calendar", calendar, "--start", "2027-01-04")
    assert done.returncode == 0, done.stderr
    data = json.loads(done.stdout)
    assert data["schema"] == "lowbrass.drill/1"
    assert data["horn"] == "euphonium-4"
    assert {"score", "horn", "moves", "exercises", "recall", "cautions"} <= set(data)
    assert data["cautions"]
    assert all({"title", "kind", "measures", "covers"} <= set(one) for one in data["exercises"])
    assert data["recall"][0]["after_days"] == [1, 3, 7, 14]
    assert len(data["weeks"]) == 6
    assert calendar.read_bytes().startswith(b"BEGIN:VCALENDAR")
    strict = run("map", out, "--horn", "euphonium-4", "--strict", "--format", "json")
    assert strict.returncode == 0
    assert len(json.loads(strict.stdout)["lines"][0]["notes"]) == sum(len(one["notes"]) for one in data["exercises"])


@pytest.mark.parametrize(("words", "code", "said"), [
    (("-o", "sheet.doc"), 2, "use one of .musicxml, .xml, .pdf, .svg, .html"),
    (("--calendar", "x.ics"), 2, "--weeks N and --start"),
    (("--start", "2027-01-04"), 2, "add --calendar"),
    (("--calendar", "x.ics", "--weeks", "2", "--start", "soon"), 2, "--start"),
    (("--weeks", "0"), 2, "--weeks"),
    (("--listen", "x.musicxml"), 2, "ends in .wav"),
    (("--horn", "euphonium-4", "-o", "sheet.musicxml"), 1, "no line is for a horn such as euphonium-4"),
    (("--part", "Harp"), 1, "no part is called 'Harp'"),
])
def test_what_cannot_be_done_is_said_in_a_line(words: tuple[str, ...], code: int, said: str, tmp_path: Path) -> None:
    words = tuple(str(tmp_path / word) if word.endswith((".musicxml", ".doc", ".ics")) else word for word in words)
    done = run("drill", SAMPLES / "attachment-etude.musicxml", *words)
    assert done.returncode == code
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    assert list(tmp_path.iterdir()) == []


def test_without_the_extra_words_come_and_the_sheet_says_what_to_install(tmp_path: Path) -> None:
    # An empty stand-in, found before the real one, in the worker process too.
    stub = tmp_path / "stub" / "music21"
    stub.mkdir(parents=True)
    (stub / "__init__.py").write_text("raise ModuleNotFoundError(\"No module named 'music21'\", name='music21')\n",
                                      encoding="utf-8")
    paths = os.pathsep.join([str(stub.parent), str(ROOT), os.environ.get("PYTHONPATH", "")])
    score = str(SAMPLES / "attachment-etude.musicxml")
    for words, code in ((), 0), (("-o", str(tmp_path / "a.musicxml")), 1):
        done = subprocess.run([sys.executable, "-m", "analyzer", "drill", score, *words], capture_output=True,
                              text=True, encoding="utf-8", cwd=ROOT, timeout=120, check=False,
                              env={**os.environ, "PYTHONPATH": paths})
        assert done.returncode == code, done.stderr
        assert "Traceback" not in done.stderr
        assert ("Hard moves" in done.stdout) == (code == 0)
    assert "pip install 'lowbrass[build]'" in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["stub"]


def test_part_asked_by_name_is_drilled_on_the_asked_horn() -> None:
    document = open_document(SAMPLES / "attachment-etude.musicxml")
    drills = drills_for(document, Request(parts=("Trombone",), horns=("euphonium-4",)))
    assert drills.planned.plan.horn.name == "euphonium-4"
    root = etree.fromstring(sheet_musicxml(drills))
    assert root.findtext(".//part-name") == "Euphonium"        # so that the sheet is known again as this horn's


def test_player_who_reaches_nothing_is_told() -> None:
    document = open_document(SAMPLES / "attachment-etude.musicxml")
    with pytest.raises(Unreadable, match="no note of it can be played") as caught:
        drills_for(document, Request(horns=("tenor",), player=Player(low=70, high=75)))
    assert caught.value.problem.code == "nothing-to-drill"
