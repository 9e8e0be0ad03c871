"""Folders for a programme: who gets what, whole or not at all, read back from the printed pages."""

import io
import json
import subprocess
import sys
import time
from pathlib import Path

import pytest

from analyzer.report.folders.names import file_name, safe_name, stale
from tests.commands.test_map import SAMPLES, run

pypdf = pytest.importorskip("pypdf")
PROGRAMME = [SAMPLES / name for name in ("harbour-march-trio.musicxml", "quiet-chorale-trombones.mxl")]
SECTION = SAMPLES / "section.toml"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict]:
    target = tmp_path_factory.mktemp("folders") / "concert"
    done = run("folders", *PROGRAMME, "--section", SECTION, "-o", target, "--format", "json")
    assert done.returncode in (0, 3), done.stderr
    return target, json.loads(done.stdout)


def text_of(page: object) -> str:
    return page.extract_text().replace("\xa0", " ")                 # type: ignore[attr-defined]


def test_every_player_has_one_file_in_programme_order(made: tuple[Path, dict]) -> None:
    target, data = made
    assert data["schema"] == "lowbrass.folders/1"
    named = [player["file"] for player in data["players"] if player["file"]]
    assert sorted(path.name for path in target.iterdir()) == sorted(["00 Director.pdf", *named])
    order = [path.name for path in PROGRAMME]
    for player in data["players"]:
        places = [order.index(piece["score"]) for piece in player["pieces"]]
        assert places == sorted(places)
        if player["file"]:
            reader = pypdf.PdfReader(io.BytesIO((target / player["file"]).read_bytes()))
            assert len(reader.pages) == player["pages"]
            cover = text_of(reader.pages[0])
            assert player["player"] in cover
            starts = [reader.get_destination_page_number(item) + 1 for item in reader.outline]
            assert len(starts) == len(player["pieces"])
            assert all(start % 2 == 1 for start in starts), "a piece begins on a right-hand page"
            for start in starts:
                assert str(start) in cover


def test_a_seat_of_the_fit_is_a_part_of_the_folder(made: tuple[Path, dict]) -> None:
    _, data = made
    for score in PROGRAMME:
        fit = json.loads(run("fit", score, "--section", SECTION, "--format", "json").stdout)
        seats = {(seat["player"], seat["part"]["id"], seat["line"], seat["horn"])
                 for seat in (*fit["assignments"], *fit["doublings"])}
        printed = {(player["player"], piece["part"]["id"], piece["line"], piece["horn"])
                   for player in data["players"] for piece in player["pieces"] if piece["score"] == score.name}
        assert printed == seats


def test_the_director_sees_who_plays_what(made: tuple[Path, dict]) -> None:
    target, data = made
    page = " ".join(text_of(page) for page in pypdf.PdfReader(target / "00 Director.pdf").pages)
    for player in data["players"]:
        assert player["player"] in page
    assert f"{sum(player['pages'] for player in data['players'])} pages" in page
    assert "Harbour Street March" in page


def test_the_same_inputs_give_the_same_bytes(made: tuple[Path, dict], tmp_path: Path) -> None:
    target, _ = made
    run("folders", *PROGRAMME, "--section", SECTION, "-o", tmp_path)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {
        path.name: path.read_bytes() for path in target.iterdir()}


def test_a_page_for_each_students_phone_on_request(tmp_path: Path) -> None:
    done = run("folders", PROGRAMME[1], "--section", SECTION, "-o", tmp_path, "--take-home", "--format", "json")
    pages = sorted(path.name for path in tmp_path.glob("*.html"))
    players = json.loads(done.stdout)["players"]
    assert len(pages) == sum(len(player["pieces"]) for player in players)
    assert all('id="data"' in (tmp_path / name).read_text(encoding="utf-8") for name in pages)


def test_an_absent_player_gets_nothing_and_a_bad_score_stops_no_other(tmp_path: Path) -> None:
    bad = tmp_path / "bad.musicxml"
    bad.write_text("no score", encoding="utf-8")
    target = tmp_path / "out"
    done = run("folders", PROGRAMME[1], bad, "--section", SECTION, "-o", target, "--absent", "Player 1",
               "--format", "json")
    data = json.loads(done.stdout)
    assert "Player 1" not in [player["player"] for player in data["players"]]
    assert any(problem["where"].startswith("bad.musicxml") for problem in data["problems"])
    assert any(player["file"] for player in data["players"])
    wrong = run("folders", PROGRAMME[1], "--section", SECTION, "-o", target, "--absent", "Nobody")
    assert wrong.returncode == 1
    assert "no player is called 'Nobody'" in wrong.stderr


def test_killed_at_any_moment_leaves_only_whole_files_and_what_was_there(tmp_path: Path) -> None:
    target = tmp_path / "out"
    target.mkdir()
    (target / "notes.txt").write_text("mine", encoding="utf-8")
    (target / ".lowbrass.abc12345").write_bytes(b"half")
    words = [sys.executable, "-m", "analyzer", "folders", str(PROGRAMME[1]), "--section", str(SECTION), "-o",
             str(target)]
    for wait_s in (0.3, 1.2, 2.5):
        process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        time.sleep(wait_s)
        process.kill()
        process.wait()
        for path in target.glob("[0-9]*.pdf"):
            assert pypdf.PdfReader(path).pages
    done = subprocess.run(words, capture_output=True, check=False)
    assert done.returncode in (0, 3)
    assert (target / "notes.txt").read_text(encoding="utf-8") == "mine"
    assert not list(stale(target))
    assert not list(target.glob(".lowbrass.*"))
    assert all(pypdf.PdfReader(path).pages for path in target.glob("*.pdf"))


@pytest.mark.parametrize(("text", "name"), [
    ("../../etc/passwd", "etc passwd"), ("a:b|c?", "a b c"), ("NUL", "NUL_"), ("...", "player"), ("x" * 300, "x" * 120),
    ("J\u202erevo", "J revo"), ("name.", "name"),
])
def test_names_are_safe_on_every_file_system(text: str, name: str) -> None:
    assert safe_name(text) == name


def test_names_that_differ_only_in_case_are_told_apart() -> None:
    first = file_name(1, "Ann", ".pdf", [])
    assert file_name(1, "ANN", ".pdf", [first]) == "01 ANN (2).pdf"
