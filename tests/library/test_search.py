"""What a search finds, against a count by hand over a small library."""

import json
import random
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import pytest

from analyzer.horns.profiles import load_horn
from analyzer.library.files import find_entries
from analyzer.library.search import A_FEW, BANDS, Wanted, band_of, lessons, search_bytes, sorted_rows
from analyzer.library.survey import Record, Survey, assemble
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner
from analyzer.plan.weights import default_weights
from analyzer.report.search import search_document, search_text
from analyzer.score.document import open_document
from analyzer.section.fit import fit
from analyzer.section.section import read_section
from tests.library.test_survey import score_of
from tests.lines import line_of

ROOT = Path(__file__).parents[2]
NAMES = ("C2", "D2", "Eb2", "E2", "F2", "A2", "Bb2", "B2", "C3", "D3", "F3", "Bb3", "D4", "F4")
PUPIL = Player(name="Student", learned=(), high=65)


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("library")
    rng = random.Random(7)
    for number in range(24):
        pool = rng.sample(NAMES, rng.randint(2, 12))
        (folder / f"piece {number:02}.xml").write_bytes(score_of(*rng.choices(pool, k=rng.randint(4, 24))))
    (folder / "too high.xml").write_bytes(score_of("Bb4", "Bb2"))
    (folder / "no horn has it.xml").write_bytes(score_of("Bb2", "B0"))
    (folder / "cut.xml").write_bytes(score_of("Bb2")[:150])
    return folder


def searched(folder: Path, wanted: Wanted) -> Survey:
    entries = [one for one in find_entries(folder) if one.status == "score"]
    return assemble(folder.name, entries, {
        one.name: search_bytes(one.name, one.path.read_bytes(), wanted) for one in entries})


@pytest.fixture(scope="module")
def found(library: Path) -> Survey:
    return searched(library, Wanted(player=PUPIL, horns=(load_horn("tenor-f"),)))


def test_new_moves_are_those_into_states_that_are_not_learned(found: Survey, library: Path) -> None:
    # By hand: plan with everything learned, then look at every step of the hand.
    for row in found.lines:
        document = open_document(library / row["file"])
        names = [f"{one.findtext('pitch/step')}{'b' if one.findtext('pitch/alter') == '-1' else ''}"
                 f"{one.findtext('pitch/octave')}" for one in document.root.iter("note")]
        line = line_of(" ".join(names), bpm=default_weights().default_bpm)
        plan = Planner(line, load_horn("tenor-f"), Player(high=65)).plan()
        steps = [(a.choice, b.choice) for a, b in pairwise(plan.notes) if a.choice and b.choice]
        new = {frozenset((a.label, b.label)) for a, b in steps if a.label != b.label and (a.valves or b.valves)}
        told = {frozenset(one["move"].split(" to ")) for one in row["teaches"] if "new" in one["kinds"]}
        assert told == new, row["file"]
        beyond = sum(note.choice is None or note.note.midi > 65 for note in plan.notes)
        assert (row["verdict"] == "suits") == (beyond == 0 and not any("too fast" in one for one in row["against"]))


def test_order_is_that_of_the_rule_for_every_two(found: Survey) -> None:
    def before(a: Record, b: Record) -> bool:
        for one, other in ((a["verdict"] != "suits", b["verdict"] != "suits"),
                           (BANDS.index(band_of(a)), BANDS.index(band_of(b)))):
            if one != other:
                return one < other
        more, less = len(a["teaches"]), len(b["teaches"])
        if more != less:
            return more > less if band_of(a) == "teaches" else more < less
        return (a["difficulty"], a["file"]) <= (b["difficulty"], b["file"])

    rows = sorted_rows(found)
    assert len(rows) == len(found.lines) == 26
    assert all(before(a, b) for k, a in enumerate(rows) for b in rows[k + 1:])
    assert {band_of(row) for row in rows} == set(BANDS)
    assert all((1 <= len(row["teaches"]) <= A_FEW) == (band_of(row) == "teaches") for row in rows)
    assert {row["file"] for row in rows if row["verdict"] != "suits"} >= {"too high.xml", "no horn has it.xml"}


def test_secure_moves_teach_nothing_more(library: Path, found: Survey) -> None:
    row = next(one for one in sorted_rows(found) if band_of(one) == "teaches")
    pairs = tuple((a, b) for one in row["teaches"] for a, b in [one["move"].split(" to ")])
    again = searched(library, Wanted(player=Player(name="Student", learned=("T",), high=65, secure=pairs),
                                     horns=(load_horn("tenor-f"),)))
    same = next(one for one in again.lines if one["file"] == row["file"])
    assert not {one["move"] for one in row["teaches"]} & {one["move"] for one in same["teaches"]}


def test_a_section_gets_the_verdict_of_fit(library: Path, tmp_path: Path) -> None:
    path = tmp_path / "section.toml"
    path.write_text('[[player]]\nname = "First"\nhorns = ["tenor"]\nhigh = "F4"\n[[player]]\nname = "Second"\n'
                    'horns = ["tenor-f"]\nlow = "Bb2"\n')
    section = read_section(path)
    survey = searched(library, Wanted(section=section))
    for row in survey.lines:
        answer = fit(open_document(library / row["file"]), section)
        assert row["verdict"] == answer.verdict
        assert [seat["player"] for seat in row["seats"]] == [
            seat.member.name for seat in answer.seats if not seat.doubles]
    rows = sorted_rows(survey)
    order = [("suits", "suits with changes", "does not suit").index(row["verdict"]) for row in rows]
    assert order == sorted(order)
    assert all(len(lessons(row)) == len(row["seats"]) for row in rows)
    assert "suit" in search_text(survey, 3)


def test_a_horn_is_looked_for_in_its_family_only(tmp_path: Path) -> None:
    (tmp_path / "a.xml").write_bytes(score_of("F3", name="Euphonium"))
    assert not searched(tmp_path, Wanted(horns=(load_horn("tenor-f"),))).lines
    row, = searched(tmp_path, Wanted()).lines
    assert row["horn"] == "euphonium-4-compensating"


def test_answer_names_every_file_and_has_cautions(found: Survey) -> None:
    document = search_document(found)
    assert {row["file"] for row in document["files"]} == {row["file"] for row in found.files}
    assert [one["where"].split(",")[0] for one in document["problems"]] == ["cut.xml"]
    assert document["cautions"]
    text = search_text(found, 5)
    assert f"At most {A_FEW} new moves:" in text
    assert " more.\n--most shows them" in text
    assert "Caution:" in text


def test_command(library: Path, tmp_path: Path) -> None:
    player = tmp_path / "student.toml"
    player.write_text('[player]\nname = "Student"\nlearned = []\nhigh = "F4"\n')
    command = [sys.executable, "-m", "analyzer", "search", str(library), "--jobs", "2", "--horn", "tenor-f"]
    done = subprocess.run([*command, "--player", str(player), "--format", "json"], cwd=ROOT, check=True, text=True,
                          capture_output=True)
    rows = json.loads(done.stdout)["found"]
    again = searched(library, Wanted(player=PUPIL, horns=(load_horn("tenor-f"),)))
    assert [(row["file"], row["teaches"]) for row in rows] == [
        (row["file"], row["teaches"]) for row in sorted_rows(again)]
    wrong = subprocess.run([*command, "--section", str(player)], cwd=ROOT, check=False, text=True, capture_output=True)
    assert (wrong.returncode, wrong.stdout) == (2, "")
