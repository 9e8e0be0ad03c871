"""No sheet asks for more than its player can do, at any tempo printed on it.

The oracle is worked out here: slide travel between neighbouring notes over the time that the timing allows, times 15/8
(minimum jerk: peak over mean speed; Hogan 1984, Flash and Hogan 1985).
"""

import io
import random
import re
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest

from analyzer.analysis import Request
from analyzer.horns.candidate import Candidate
from analyzer.picture.drawing import UNITS_PER_MM
from analyzer.plan.player import Player
from analyzer.plan.timing import note_times
from analyzer.plan.weights import default_weights
from analyzer.practice.builder import METRONOME, Exercise, _ceiling_bpm, exercise_line
from analyzer.practice.drills import RECALL_OFFER, Drills, drills_for
from analyzer.practice.weeks import practice_days
from analyzer.problem import Unreadable
from analyzer.report.drill.document import drill_document
from analyzer.report.drill.page import sheet_file, sheet_pages
from analyzer.report.drill.sheet import sheet_musicxml
from analyzer.report.drill.text import drill_text
from analyzer.score.document import open_document, read_document
from tests.commands.test_map import run

SAMPLES = Path(__file__).resolve().parents[2] / "sample_scores"
SLIDES = (("attachment-etude.musicxml", "tenor-f"), ("harbour-march-trio.musicxml", "tenor"),
          ("quiet-chorale-trombones.mxl", "tenor-f"), ("deep-water-bass-trombone.musicxml", "bass-independent"))
VALVES = (("evening-song-euphonium.musicxml", "euphonium-3"), ("evening-song-euphonium.musicxml", "euphonium-4"),
          ("brass-band-hymn.musicxml", "euphonium-3"))
SHEETS = 100
EAR_CENTS = 34.0
"""Twice the 17 cents that a player bends without harm; a fingering of 68 cents is far beyond."""


def players(number: int) -> list[tuple[str, str, Player, int]]:
    """Draw players with a told slide speed, from a cautious beginner's to a quick professional's; seeded."""
    chance = random.Random(20261201)
    return [(*chance.choice(SLIDES), Player(max_speed_mm_s=float(chance.randrange(300, 5000, 50))),
             chance.randrange(1000)) for _ in range(number)]


@cache
def sheet(name: str, horn: str, player: Player, seed: int) -> Drills | None:
    try:
        return drills_for(open_document(SAMPLES / name), Request(horns=(horn,), player=player), seed=seed)
    except Unreadable as error:
        if error.problem.code != "nothing-to-drill":
            raise
        return None


def peak_mm_s(exercise: Exercise, drills: Drills, bpm: int) -> float:
    """The slide's greatest speed in an exercise at a metronome number."""
    line = exercise_line(exercise, drills.kit.transposition, bpm)
    times = note_times(line, default_weights())
    choices: list[Candidate] = [
        one.choice for row in exercise.measures for one in row if one.choice is not None and not one.tied]
    return max((15 / 8 * abs((b.extension_mm or 0) - (a.extension_mm or 0)) / time.move_s
                for (a, b), time in zip(pairwise(choices), times, strict=False)), default=0.0)


def tempi(exercise: Exercise) -> tuple[int, ...]:
    return exercise.steps or (exercise.tempo_bpm,)


def test_a_hundred_sheets_keep_the_players_slide_speed() -> None:
    seen = passages = 0
    for name, horn, player, seed in players(SHEETS):
        drills = sheet(name, horn, player, seed)
        if drills is None:
            continue
        seen += 1
        for exercise in drills.exercises:
            for bpm in tempi(exercise):
                assert peak_mm_s(exercise, drills, bpm) <= player.max_speed_mm_s * (1 + 1e-9), (
                    f"{name}, {player.max_speed_mm_s:.0f} mm/s, seed {seed}: {exercise.title} at {bpm}")
            passages += exercise.kind == "passage"
    assert seen > 0.9 * SHEETS
    assert passages > 0.9 * seen, "a passage is slowed down, not dropped"


def test_the_calendar_asks_for_no_tempo_that_the_sheet_has_not() -> None:
    name, horn, player, seed = players(1)[0]
    drills = sheet(name, horn, player, seed)
    assert drills is not None
    ladders = {exercise.title: exercise.steps for exercise in drills.exercises}
    for day in practice_days(drills, 3):
        for title, goal in zip(day.titles, day.tempi, strict=True):
            assert goal is None or goal in ladders[title]


@pytest.mark.parametrize(("name", "horn"), [*SLIDES, *VALVES])
def test_a_player_of_whom_nothing_is_told_has_limits_too(name: str, horn: str) -> None:
    drills = sheet(name, horn, Player(), 1)
    assert drills is not None
    for exercise in drills.exercises:
        assert exercise.goal_bpm * exercise.beat <= _ceiling_bpm(exercise, drills.kit, exercise.goal_bpm)


def test_where_the_music_is_faster_the_ladder_ends_below_it_and_says_so() -> None:
    drills = sheet("attachment-etude.musicxml", "tenor-f", Player(max_speed_mm_s=1500.0), 1)
    assert drills is not None
    passage = next(one for one in drills.exercises if one.kind == "passage")
    measure = passage.title.split()[2].split("–")[0]
    music = next(one.time.bpm for one in drills.planned.plan.notes if one.note.measure == measure)
    assert passage.goal_bpm * passage.beat < music
    assert f"(music: quarter = {music:.0f}, above this player's limit)" in passage.words
    assert passage.goal_bpm == passage.steps[-1]
    # The next number of the metronome would be too fast.
    above = METRONOME[METRONOME.index(passage.goal_bpm) + 1]
    assert peak_mm_s(passage, drills, above) > 1500.0


GRACE = ("<score-partwise version='4.0'><part-list><score-part id='P1'><part-name>Trombone</part-name></score-part>"
         "</part-list><part id='P1'><measure number='1'><attributes><divisions>1</divisions><clef><sign>F</sign>"
         "<line>4</line></clef></attributes>{}</measure></part></score-partwise>")


def test_grace_notes_that_no_tempo_slows_are_left_out_of_the_passage() -> None:
    note = "<note>{}<pitch><step>{}</step><alter>{}</alter><octave>2</octave></pitch>{}<voice>1</voice></note>"
    length = "<duration>1</duration>"
    # E2 is only in 7, B flat 2 only in 1: the whole slide in the time of a grace note.
    music = "".join(note.format("<grace/>", "E", 0, "") + note.format("", "B", -1, length) for _ in "ab")
    document = read_document(GRACE.format(music).encode(), "grace.musicxml")
    drills = drills_for(document, Request(horns=("tenor",), player=Player(max_speed_mm_s=1000.0)))
    passage = next(one for one in drills.exercises if one.kind == "passage")
    assert passage.words.startswith("Without the grace notes.")
    assert all(one.duration for row in passage.measures for one in row)


@pytest.mark.parametrize(("name", "horn"), list(VALVES))
def test_no_exercise_for_the_ear_on_what_no_ear_mends(name: str, horn: str) -> None:
    for seed in range(5):
        drills = sheet(name, horn, Player(), seed)
        assert drills is not None
        for exercise in drills.exercises:
            if exercise.kind in ("tuning", "two-ways", "scale"):
                assert all(abs(one.choice.off_cents) <= EAR_CENTS for row in exercise.measures for one in row
                           if one.choice is not None), exercise.title


LOW = ("<score-partwise version='4.0'><part-list><score-part id='P1'><part-name>Euphonium</part-name></score-part>"
       "</part-list><part id='P1'><measure number='1'><attributes><divisions>1</divisions><clef><sign>F</sign>"
       "<line>4</line></clef></attributes>{}</measure></part></score-partwise>")


def test_a_note_of_68_cents_is_named_with_what_mends_it() -> None:
    """C2 with 1-2-3-4 on four valves without compensation: the chart's own fingering, 68 cents sharp."""
    note = "<note><pitch><step>{}</step><octave>2</octave></pitch><duration>1</duration><voice>1</voice></note>"
    music = "".join(note.format(step) for step in "CFCG")
    drills = drills_for(read_document(LOW.format(music).encode(), "low.musicxml"), Request(horns=("euphonium-4",)))
    said = next(text for text in drills.remarks if text.startswith("C2"))
    assert "68 cents sharp" in said
    assert "slide" in said
    assert said in drill_text(drills)
    assert said in drill_document(drills)["remarks"]
    assert not [one for one in drills.exercises if one.kind == "tuning" and "C2" in one.title]


def test_weeks_are_on_every_form_of_the_sheet() -> None:
    pytest.importorskip("verovio")
    pypdf = pytest.importorskip("pypdf")
    drills = sheet("evening-song-euphonium.musicxml", "euphonium-3", Player(), 1)
    assert drills is not None
    days = practice_days(drills, 2)
    cells = [", ".join(f"{place} ({goal})" if goal else str(place)
                       for place, goal in zip(day.places, day.tempi, strict=True)) for day in days]
    for day in days:
        assert tuple(drills.exercises[place - 1].title for place in day.places) == day.titles
    pdf = pypdf.PdfReader(io.BytesIO(sheet_file(drills, ".pdf", days)))
    texts = [" ".join(" ".join(page.extract_text() for page in pdf.pages).split()),
             sheet_file(drills, ".html", days).decode(), sheet_musicxml(drills, days).decode()]
    for text in texts:
        for cell in ("Week 1", "Week 2", *cells):
            assert cell in text
        assert "Week 3" not in text
    assert "Week 1" not in sheet_musicxml(drills).decode()


def test_many_weeks_have_a_page_of_their_own_with_all_in_sight() -> None:
    pytest.importorskip("verovio")
    drills = sheet("attachment-etude.musicxml", "tenor-f", Player(), 1)
    assert drills is not None
    pages = sheet_pages(drills, practice_days(drills, 12), embed_fonts=False)
    assert len(pages) == 2
    assert "Week 12" in pages[1]
    lowest = max(float(y) for y in re.findall(r'<text x="[\d.]+" y="([\d.]+)"', pages[1]))
    assert lowest < 297 * UNITS_PER_MM


def test_recall_is_offered_not_promised() -> None:
    drills = sheet("attachment-etude.musicxml", "tenor-f", Player(), 1)
    assert drills is not None
    assert drills.recall
    assert RECALL_OFFER.startswith("Optional")
    assert RECALL_OFFER in drill_text(drills)
    assert drill_document(drills)["recall_offer"] == RECALL_OFFER


def test_the_reference_tones_have_a_name_of_their_own_and_the_old_one_works(tmp_path: Path) -> None:
    pytest.importorskip("soundfile")
    for option in ("--tones", "--listen"):
        path = tmp_path / f"{option[2:]}.wav"
        done = run("drill", SAMPLES / "evening-song-euphonium.musicxml", option, path)
        assert done.returncode == 0, done.stderr
        assert path.read_bytes()[:4] == b"RIFF"


def test_beats_are_counted_in_quarters() -> None:
    drills = sheet("attachment-etude.musicxml", "tenor-f", Player(max_speed_mm_s=800.0), 1)
    assert drills is not None
    assert all(exercise.beat in (Fraction(1, 4), Fraction(1, 2), 1, Fraction(3, 2), 2) for exercise in drills.exercises)
    assert "beat =" not in drill_text(drills)
