"""Horns side by side: counts that can be checked by hand, and sums done again from the plans."""

import json
import re
import shutil
import subprocess
import sys
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from analyzer.analysis import Request
from analyzer.horns.profiles import load_horn
from analyzer.library.comparing import compare_folder, without_outliers
from analyzer.plan.limits import PEAK_OVER_MEAN
from analyzer.plan.solve import Planner
from analyzer.report.compare import compare_document, compare_text, folder_document, folder_text
from analyzer.review.compare import column, compare, summed
from analyzer.score.document import open_document
from tests.lines import line_of
from tests.review.scores import SAMPLES


def run(*words: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "analyzer", *map(str, words)], capture_output=True, text=True,
                          encoding="utf-8", timeout=120, check=False)


def test_far_positions_of_a_slow_line() -> None:
    # OEIS A309909: C3 and F2 in 6, B2 and E2 in 7, D3 in 4; the attachment takes C3, B2 and E2 (common practice).
    line = line_of("D3 C3 B2 F2 E2", 4)
    straight = column(Planner(line, load_horn("tenor")).plan())
    assert (straight.sixth, straight.seventh, straight.beyond) == (2, 2, 0)
    attached = column(Planner(line, load_horn("tenor-f")).plan())
    assert (attached.sixth, attached.seventh) == (1, 0)
    assert attached.valve_changes > straight.valve_changes == 0


def test_low_line_of_the_song_asks_for_the_fourth_valve() -> None:
    # sample_scores/README.md: F2-E2-Eb2-D2-C2; three valves end on E2, and 1-3, 1-2-3 are sharp without compensation.
    document = open_document(SAMPLES / "evening-song-euphonium.musicxml")
    horns = [load_horn(name) for name in ("euphonium-3", "euphonium-4-compensating")]
    (line,) = compare(document, horns, Request()).lines
    three, four = line.columns
    assert (three.beyond, four.beyond) == (3, 0)
    assert three.off[1] > four.off[1]
    assert three.off[0] >= three.off[1] >= three.off[2]
    assert three.travel_mm is None
    assert three.fastest is None
    assert three.sixth is None


def test_measure_19_of_the_march() -> None:
    # sample_scores/README.md: at its worst on a straight horn and easy with the attachment.
    document = open_document(SAMPLES / "harbour-march-trio.musicxml")
    comparison = compare(document, [load_horn("tenor"), load_horn("tenor-f")],
                         Request(parts=("3",), measures=("19", "19")))
    straight, attached = comparison.lines[0].columns
    assert straight.travel_mm > 2 * attached.travel_mm
    assert straight.fastest.speed_mm_s > attached.fastest.speed_mm_s
    assert straight.seventh == 2
    assert attached.seventh == 0
    assert straight.tempo_ceiling_bpm < attached.tempo_ceiling_bpm


@pytest.mark.parametrize("horn", ["tenor", "bass-independent", "alto"])
def test_fastest_move_is_the_fastest(horn: str) -> None:
    plan = Planner(line_of("Bb2 D3 F3 E3 G3 C3 A2 C3 F3", 0.5, bpm=100), load_horn(horn)).plan()
    speeds = [PEAK_OVER_MEAN * abs(a.choice.extension_mm - b.choice.extension_mm) / a.time.move_s
              for a, b in pairwise(plan.notes) if a.choice and b.choice]
    one = column(plan).fastest
    assert one.speed_mm_s == pytest.approx(max(speeds))
    assert one.speed_mm_s == pytest.approx(plan.totals.peak_speed_mm_s)


def test_parts_of_the_other_family_are_left_out_unless_asked_for() -> None:
    document = open_document(SAMPLES / "harbour-march-trio.musicxml")
    slides = compare(document, [load_horn("tenor"), load_horn("tenor-f")], Request())
    assert {line.part.family for line in slides.lines} == {"trombone"}
    valves = compare(document, [load_horn("euphonium-3"), load_horn("euphonium-4")], Request())
    assert {line.part.family for line in valves.lines} == {"euphonium"}


def test_document_and_text() -> None:
    document = open_document(SAMPLES / "deep-water-bass-trombone.musicxml")
    horns = [load_horn(name) for name in ("tenor-f", "bass-independent")]
    comparison = compare(document, horns, Request())
    data = compare_document(comparison)
    assert json.loads(json.dumps(data)) == data
    assert data["schema"] == "lowbrass.compare/1"
    assert data["cautions"]
    for horn in data["horns"]:
        for key in ("bore_mm", "weight_kg", "valve_type", "fourth_valve", "left_hand_carries", "left_hand_works"):
            assert horn[key]["kind"] in ("cited", "derived", "judged")
    assert [one["horn"] for one in data["lines"][0]["columns"]] == ["tenor-f", "bass-independent"]
    assert data["lines"][0]["columns"][0]["beyond"] == 3         # B1 twice and G0
    text = compare_text(comparison)
    assert "Caution: " in text
    assert "13.9 mm (c)" in text


# --- a folder ------------------------------------------------------------------------------------------------------

def test_a_folder_adds_up_what_its_pieces_have() -> None:
    horns = [load_horn(name) for name in ("tenor", "tenor-f")]
    folder = compare_folder(SAMPLES, horns, Request())
    by_name = {one.name: one for one in folder.pieces}
    for name in ("harbour-march-trio.musicxml", "quiet-chorale-trombones.mxl"):
        lines = compare(open_document(SAMPLES / name), horns, Request()).lines
        assert by_name[name].lines == len(lines)
        for k, total in enumerate(by_name[name].totals):
            columns = [line.columns[k] for line in lines]
            assert total.notes == sum(one.notes for one in columns)
            assert total.travel_mm == pytest.approx(sum(one.travel_mm for one in columns))
            assert total.fastest.speed_mm_s == max(one.fastest.speed_mm_s for one in columns)
            assert total.tempo_ceiling_bpm == min(one.tempo_ceiling_bpm for one in columns)
            assert total.off == tuple(sum(one.off[n] for one in columns) for n in range(3))
    assert by_name["evening-song-euphonium.musicxml"].problem.code == "no-fitting-part"
    data = folder_document(folder)
    assert json.loads(json.dumps(data)) == data
    assert data["totals"][0]["notes"] == sum(one.totals[0].notes for one in folder.pieces if one.totals)
    assert data["cautions"]


def test_sums_leave_out_what_has_no_meaning() -> None:
    horns = [load_horn(name) for name in ("tenor", "euphonium-3")]
    document = open_document(SAMPLES / "harbour-march-trio.musicxml")
    slide, valves = compare(document, horns, Request()).totals
    assert slide.travel_mm > 0
    assert (valves.travel_mm, valves.fastest, valves.sixth) == (None, None, None)
    assert valves.valve_changes > 0
    assert summed([]) == ()


def test_a_folder_from_the_command_line(tmp_path: Path) -> None:
    (tmp_path / "broken.musicxml").write_text("<score-partwise><part>", encoding="utf-8")
    shutil.copy(SAMPLES / "attachment-etude.musicxml", tmp_path)
    done = run("compare", tmp_path, "--horn", "tenor", "--horn", "tenor-f")
    assert done.returncode == 0
    assert "attachment-etude.musicxml" in done.stdout
    assert "All 1 piece - " in done.stdout
    assert "broken.musicxml: " in done.stdout
    assert "Caution: " in done.stdout
    empty = tmp_path / "empty"
    empty.mkdir()
    done = run("compare", empty, "--horns", "tenor,tenor-f")
    assert (done.returncode, done.stdout) == (1, "")
    assert "no score among its 0 files" in done.stderr


# --- the commands, as a user runs them -----------------------------------------------------------------------------

def test_review_command(tmp_path) -> None:
    done = run("review", SAMPLES / "deep-water-bass-trombone.musicxml", "--horn", "tenor-f", "--format", "json")
    assert done.returncode == 3
    data = json.loads(done.stdout)
    assert (data["schema"], data["horn"]) == ("lowbrass.review/1", "tenor-f")
    assert data["cautions"]
    for one in data["findings"]:
        assert {"code", "severity", "part", "line", "measure", "index", "written", "sounding", "what",
                "try"} <= set(one)
    out = tmp_path / "out.musicxml"
    done = run("review", SAMPLES / "deep-water-bass-trombone.musicxml", "--horn", "tenor-f", "--ossia", "-o", out,
               "--format", "json")
    assert json.loads(done.stdout)["ossia"]["changes"]
    listed = run("review", SAMPLES / "deep-water-bass-trombone.musicxml", "--horn", "tenor-f", "--ossia")
    assert listed.stdout.count("is now") == len(json.loads(done.stdout)["ossia"]["changes"])
    assert run("review", out, "--horn", "tenor-f").returncode == 0


def test_review_of_a_clean_part_says_so() -> None:
    # The étude is no longer clean: 61 cm in a sixteenth at 108 is more than arms accelerate (human_limits.csv).
    done = run("review", SAMPLES / "harbour-march-trio.musicxml", "--part", "1 & 2")
    assert done.returncode == 0
    assert "Nothing found" in done.stdout
    assert "Assumed" in done.stdout
    assert "Caution: " in done.stdout


@pytest.mark.parametrize(("words", "code", "says"), [
    (("review", "none.musicxml"), 1, "there is no such file"),
    (("review", SAMPLES / "attachment-etude.musicxml", "-o", "x.musicxml"), 2, "add --ossia"),
    (("review", SAMPLES / "attachment-etude.musicxml", "--ossia", "-o", "x.mxl"), 2, "plain MusicXML"),
    (("review", SAMPLES / "attachment-etude.musicxml", "--horn", "trumpet"), 1, "there is no horn 'trumpet'"),
    (("compare", SAMPLES / "attachment-etude.musicxml", "--horns", "tenor"), 2, "name two or more"),
    (("compare", SAMPLES / "attachment-etude.musicxml", "--horns", "tenor,x"), 1, "there is no horn 'x'"),
    (("compare", SAMPLES / "attachment-etude.musicxml", "--horns", "tenor,alto", "--measures", "90"), 1,
     "there is no measure 90"),
])
def test_bad_input(words: tuple[object, ...], code: int, says: str) -> None:
    done = run(*words)
    assert done.returncode == code
    assert done.stdout == ""
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_one_bad_file_sets_neither_fastest_move_nor_top_tempo(tmp_path: Path) -> None:
    horns = [load_horn(name) for name in ("tenor", "tenor-f")]
    for name in ("attachment-etude.musicxml", "harbour-march-trio.musicxml", "deep-water-bass-trombone.musicxml"):
        shutil.copy(SAMPLES / name, tmp_path)
    clean = compare_folder(tmp_path, horns, Request())
    assert not any(one.outlier for one in clean.pieces), "hard music is no outlier"
    piece = clean.pieces[0]
    for speed_m_s in (20, 184):
        moves = [replace(one, fastest=replace(one.fastest, speed_mm_s=1000.0 * speed_m_s), tempo_ceiling_bpm=6.0)
                 for one in piece.totals]
        bad = replace(piece, name="bad.musicxml", totals=tuple(moves))
        one, = (found for found in without_outliers([*clean.pieces, bad]) if found.name == "bad.musicxml")
        assert one.outlier, "six quarter notes a minute beside pieces of a hundred and more"
        # The horn, not the file: on one of the two it can be played.
        half = replace(bad, totals=(bad.totals[0], piece.totals[1]))
        assert not any(found.outlier for found in without_outliers([*clean.pieces, half]))
    spoiled = replace(clean, pieces=tuple(without_outliers([*clean.pieces, bad])))
    assert spoiled.totals == clean.totals
    assert spoiled.verdict == clean.verdict
    text = folder_text(spoiled)
    assert "bad.musicxml: a move of 184 m/s in measure" in text
    data = {one["file"]: one["outlier"] for one in folder_document(spoiled)["pieces"]}
    assert [name for name, why in data.items() if why] == ["bad.musicxml"]


def test_a_folder_ends_in_a_verdict_and_a_cell_holds_one_number() -> None:
    folder = compare_folder(SAMPLES, [load_horn(name) for name in ("tenor", "tenor-f")], Request())
    assert folder.verdict.horn == "tenor-f", "it has every note of the tenor and more"
    text = folder_text(folder)
    *_, last = text.split("\n\n")
    verdict = text[text.index("\nVerdict\n"):]
    assert "Best for these pieces: tenor-f" in verdict
    assert verdict.index("Best") < verdict.index("Caution:")
    assert last.startswith("Caution:")
    assert folder_document(folder)["verdict"] == {"horn": "tenor-f", "text": folder.verdict.text}
    tables = text[:text.index("The horns (c cited")]
    for row in tables.splitlines():
        if ".musicxml  " in row or ".mxl  " in row:
            _, *cells = re.split(r" {2,}", row)
            assert all(re.fullmatch(r"[\d.,]+( m| m/s)?|-", cell) for cell in cells), row


def test_two_horns_alike_have_no_winner() -> None:
    horn = load_horn("tenor-f")
    folder = compare_folder(SAMPLES, [horn, replace(horn, name="the other")], Request())
    assert folder.verdict.horn is None
    assert folder.verdict.text.startswith("No horn is clearly better here.")
