"""``lowbrass listen`` as a user runs it: text, JSON, files, a class, refusals."""

import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import soundfile
from pypdf import PdfReader

from analyzer.schemas import schema
from tests.commands.test_map import SAMPLES, run

from .measure import WAYS
from .players import planned, played, recording
from .synth import RATE

ETUDE = SAMPLES / "attachment-etude.musicxml"


@pytest.fixture(scope="module")
def class_room(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("class")
    rng = np.random.default_rng(3)
    one = planned("tenor-f", 1, 8)
    for name, way in (("ann", "perfect"), ("ben", "faults")):
        soundfile.write(folder / f"{name}.wav", recording(played(one, WAYS[way], rng), "clean", rng), RATE)
    (folder / "noise.wav").write_text("this is no sound " * 9)
    (folder / "notes.txt").write_text("left alone")
    return folder


def test_json_and_files_of_one_recording(class_room: Path, tmp_path: Path) -> None:
    out = [tmp_path / f"heard.{ending}" for ending in ("html", "pdf", "musicxml", "mxl")]
    words = [word for path in out for word in ("-o", path)]
    done = run("listen", ETUDE, class_room / "ben.wav", "--measures", "1-8", "--format", "json", *words)
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    jsonschema.validate(document, schema("listen"))
    assert document["schema"] == "lowbrass.listen/1"
    assert document["reference_hz"] == pytest.approx(438, abs=0.5)
    assert document["cautions"]
    assert document["totals"]["heard"] + document["totals"]["missed"] + document["totals"]["wrong"] == len(
        document["notes"])
    assert all(path.stat().st_size > 1000 for path in out)
    page = out[0].read_text(encoding="utf-8")
    assert "not a grade" in page
    assert "<script" not in page
    score = out[2].read_text(encoding="utf-8")
    told = [note for note in document["notes"] if not note["heard"]]
    assert told
    assert score.count("not heard") + score.count(">heard ") >= 1
    assert "Assumed:" in page
    assert "cents</text>" in page, "the scale of the deviation says its unit"
    told = " ".join(sheet.extract_text() for sheet in PdfReader(out[1]).pages)
    for words in ("Assumed:", "+20", "cents", "L late slide", "R rising", "not a grade"):
        assert words in told, words
    assert "?" not in told, "a sign that the paper's face lacks"


def test_text_says_what_went_well_first(class_room: Path) -> None:
    done = run("listen", ETUDE, class_room / "ann.wav", "--measures", "1-8", "--notes")
    assert done.returncode == 0, done.stderr
    assert done.stdout.index("What went well") < done.stdout.index("Nothing stands out")
    assert "not a grade" in done.stdout


def test_a_class(class_room: Path, tmp_path: Path) -> None:
    done = run("listen", ETUDE, class_room, "--measures", "1-8", "--format", "json", "-o", tmp_path / "class.html",
               "-o", tmp_path / "class.pdf")
    assert done.returncode == 0, done.stderr
    document = json.loads(done.stdout)
    jsonschema.validate(document, schema("listen-class"))
    assert [one["file"] for one in document["students"]] == ["ann.wav", "ben.wav", "noise.wav"]
    assert document["students"][2]["document"] is None
    assert document["students"][2]["problem"]["code"] == "not-sound"
    assert document["together"] == [], "one of two who were heard plays without a fault"
    page = (tmp_path / "class.html").read_text(encoding="utf-8")
    told = [sheet.extract_text() for sheet in PdfReader(tmp_path / "class.pdf").pages]
    assert "First thing to work on" in told[0]
    assert all(name in told[0] for name in ("ann.wav", "ben.wav", "noise.wav", "Not heard"))
    assert ["ann.wav" in told[1], "ben.wav" in told[2]] == [True, True], "one page a student, the table first"
    ids = [piece.split('"')[0] for piece in page.split(' id="')[1:]]
    assert len(ids) == len(set(ids)), "an id stands twice"
    done = run("listen", ETUDE, class_room, "--measures", "1-8")
    assert "ann.wav" in done.stdout


def test_refusals_are_one_line(class_room: Path, tmp_path: Path) -> None:
    for words, code in (((SAMPLES / "harbour-march-trio.musicxml", class_room / "ann.wav"), "which-line"),
                        ((ETUDE, tmp_path), "no-recordings"), ((ETUDE, tmp_path / "none.wav"), "no-file"),
                        ((SAMPLES / "evening-song-euphonium.musicxml", class_room / "ann.wav"), "other-music")):
        done = run("listen", *words)
        assert done.returncode == 1, words
        assert f"[{code}]" in done.stderr.splitlines()[-1], done.stderr
    assert run("listen", ETUDE, class_room / "ann.wav", "-o", "a.doc").returncode == 2


def test_what_it_came_to_is_kept_only_when_asked(class_room: Path, tmp_path: Path) -> None:
    player = tmp_path / "ann.toml"
    player.write_text('# mine\n[player]\nname = "Ann"\n', encoding="utf-8")
    words = ("listen", ETUDE, class_room / "ben.wav", "--measures", "1-8", "--player", player)
    assert run(*words).returncode == 0
    assert "heard" not in player.read_text(encoding="utf-8")
    assert run(*words, "--keep").returncode == 0
    done = run("listen", ETUDE, class_room / "ann.wav", "--measures", "1-8", "--player", player, "--keep")
    assert done.returncode == 0, done.stderr
    assert "Recording 2 of this passage" in done.stderr
    text = player.read_text(encoding="utf-8")
    assert text.startswith("# mine")
    assert text.count("[[heard]]") == 2
    shown = run("progress", player)
    assert "recorded: Attachment Etude, Trombone, mm. 1-8" in shown.stdout
    assert run("listen", ETUDE, class_room / "ann.wav", "--keep").returncode == 2
