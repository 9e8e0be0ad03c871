"""Practicing on the page: the sheet is the command's, and so is what is heard of a recording."""

import datetime as dt
import io
import json
import math
import re
import tomllib
from pathlib import Path

import pytest

from analyzer.analysis import Request, analyse, with_notes
from analyzer.practice.drills import drills_for
from analyzer.practice.weeks import practice_days
from analyzer.report.drill.file import sheet_content
from analyzer.report.drill.text import calendar_ics, drill_blocks
from analyzer.report.page_blocks import page_blocks
from analyzer.score.document import open_document
from tests.web.conftest import SAMPLES
from tests.web.test_app import ETUDE, opened, question
from tests.web.test_plain import TERMINAL, said_in

MARCH = "harbour-march-trio.musicxml"


def sheet(client, body: str, status: int = 200) -> dict:
    reply = client.post("/api/practice/sheet", content=body)
    assert reply.status_code == status, reply.text
    return reply.json()


@pytest.mark.parametrize(("score", "more", "weeks", "seed"), [
    (ETUDE, {}, None, 1), (ETUDE, {"horn": "tenor", "from": "1", "to": "8"}, 2, 3), (MARCH, {}, 4, 1)])
def test_the_sheet_is_the_command_s(client, score: str, more: dict, weeks: int | None, seed: int) -> None:
    found = opened(client, score)
    said = sheet(client, question(found, weeks=weeks, seed=seed, paper="a4", **more))
    request = Request(parts=(found["parts"][0]["id"],), horns=(more["horn"],) if more else (),
                      measures=(more["from"], more["to"]) if more else None)
    drills = drills_for(open_document(SAMPLES / score), request, seed=seed)
    days = practice_days(drills, weeks) if weeks else ()
    assert said["blocks"] == page_blocks(drill_blocks(drills, days))
    assert said["exercises"] == len(drills.exercises)
    assert said["blocks"][-1]["kind"] == "cautions"
    for text in said_in(said):
        assert not TERMINAL.search(text), text


def test_its_files_are_the_command_s(client) -> None:
    found = opened(client)
    drills = drills_for(open_document(SAMPLES / ETUDE), Request(parts=(found["parts"][0]["id"],)))
    days = practice_days(drills, 2)

    def file(ending: str) -> bytes:
        return client.post("/api/practice/sheet", content=question(
            found, weeks=2, seed=1, paper="letter", ending=ending, start="2027-02-01", drone="just")).content

    assert file(".musicxml") == sheet_content(drills, days, ".musicxml", "letter")
    assert file(".ics") == calendar_ics(drills, days, dt.date(2027, 2, 1))
    assert file(".pdf").startswith(b"%PDF")
    assert file(".mid").startswith(b"MThd")
    assert file(".wav").startswith(b"RIFF")
    pages = sheet(client, question(found, weeks=2, seed=1, paper="a4", pages=True))["pages"]
    assert pages
    assert all(page.startswith("<svg") and "<style" not in page for page in pages)


@pytest.mark.parametrize(("more", "why"), [
    ({"weeks": 13}, "must be a number from 1 to 12"), ({"start": "soon"}, "'soon' is no day"),
    ({"ending": ".ics"}, "it needs weeks and a first day"), ({"from": "900"}, "900"), ({"horn": "none"}, "no horn")])
def test_a_wrong_sheet_is_one_plain_line(client, more: dict, why: str) -> None:
    line = sheet(client, question(opened(client), **more), 400)["line"]
    assert why in line
    assert not TERMINAL.search(line)


# --- a recording -----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def lesson(tmp_path_factory) -> Path:
    """Eight measures of the étude as a student with some faults plays them."""
    np = pytest.importorskip("numpy")
    soundfile = pytest.importorskip("soundfile")
    from tests.hearing.players import Faults, planned, played, recording
    from tests.hearing.synth import RATE

    rng = np.random.default_rng(21)
    truth = played(planned("tenor-f", 1, 8), Faults(slip_mm=30.0, wrong=0.1, missing=0.05), rng)
    path = tmp_path_factory.mktemp("lesson") / "my lesson.wav"
    soundfile.write(path, recording(truth, "clean", rng), RATE)
    return path


def heard(client, body: str, content: bytes, name: str = "my lesson.wav") -> tuple[list[dict], dict]:
    reply = client.post("/api/practice/hear", content=body.encode() + b"\n" + content, headers={"x-file-name": name})
    assert reply.status_code == 200, reply.text
    lines = [json.loads(line) for line in reply.text.splitlines()]
    return lines[:-1], lines[-1]


def test_a_recording_is_heard_as_by_the_command(client, lesson: Path) -> None:
    from analyzer.report.listen.view import listen_view

    found = opened(client)
    steps, last = heard(client, question(found, **{"from": "1", "to": "8", "width": 600}), lesson.read_bytes())
    answer = last["answer"]
    analysis = with_notes(analyse(open_document(SAMPLES / ETUDE), Request(
        parts=(found["parts"][0]["id"],), measures=("1", "8"))))
    expected = listen_view(analysis, analysis.lines[0], lesson)
    assert answer["heard"] == json.loads(json.dumps(expected["page"]))
    assert answer["totals"] == expected["totals"]
    assert "A recording is not a grade" in answer["cautions"][0]
    listening = [step["done"] for step in steps if step["doing"] == "Listening"]
    assert listening == sorted(listening)
    assert listening[-1] == 100
    # Under each note stands its place in the line of deviation.
    places = [int(index) for system in answer["systems"] for index in system["places"]]
    assert places == list(range(len(analysis.lines[0].plan.notes)))
    for system in answer["systems"]:
        xs = list(system["places"].values())
        assert xs == sorted(xs)
        assert 0 < xs[0] < xs[-1] + 1 < 601
        assert "<style" not in system["svg"]
    for text in said_in({key: answer[key] for key in ("heard", "about", "cautions")}):
        assert not TERMINAL.search(text.replace("my lesson.wav", "")), text


@pytest.mark.parametrize(("content", "name", "why"), [
    (b"PK\x03\x04" + bytes(90), "my lesson.wav", "my lesson.wav: this is a zip archive"),
    (b"", "empty.wav", "the file is empty"), (b"no sound at all, just words", "words.wav", "is not a sound file"),
    (b"\x00\x00\x00\x20ftypM4A " + bytes(90), "phone.m4a", "phone's own form")])
def test_what_is_no_recording_is_one_plain_line(client, content: bytes, name: str, why: str) -> None:
    _, last = heard(client, question(opened(client)), content, name)
    assert why in last["line"]
    assert not TERMINAL.search(last["line"])


def test_a_question_without_a_score_or_in_no_form_is_refused(client) -> None:
    for body, status in ((b"{}\nx", 404), (b"x\ny", 400), (b"[]\n", 400)):
        reply = client.post("/api/practice/hear", content=body)
        assert reply.status_code == status
        assert reply.json()["line"]


def test_nothing_of_a_recording_stays(client, lesson: Path, tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    heard(client, question(opened(client), **{"from": "1", "to": "8"}), lesson.read_bytes())
    assert list(tmp_path.rglob("*")) == []


# --- a class, a page of it, a player file -----------------------------------------------------------------------------


def test_a_class_is_printed_and_kept(client, lesson: Path) -> None:
    """Two recordings are heard once, and asked for their pages, their refusals and a player file."""
    soundfile = pytest.importorskip("soundfile")
    found = opened(client)
    samples, rate = soundfile.read(lesson)
    shorter = io.BytesIO()
    soundfile.write(shorter, samples[:len(samples) * 3 // 4], rate, format="WAV")
    body = question(found, **{"from": "1", "to": "8"})
    students = [heard(client, body, content, name)[1]["answer"]
                for content, name in ((lesson.read_bytes(), "Ann.wav"), (shorter.getvalue(), "Ben.wav"))]
    assert [one["row"][0] for one in students] == ["Ann.wav", "Ben.wav"]
    for one in students:
        right, of = map(int, one["row"][1].split(" of "))
        assert (right, of) == (one["totals"]["heard"], len(one["heard"]["notes"]))
    reply = client.post("/api/practice/heard", content=question(found, students=[
        {"held": one["held"]} for one in students], ending=""))
    assert reply.json()["together"].startswith("Where several stumble: measure ")
    assert "(2 of 2: Ann, Ben)" in reply.json()["together"]
    said = [{note["said"].split()[1] for note in one["heard"]["notes"] if note["said"]} for one in students]
    assert set(re.findall(r"measure (\S+)", reply.json()["together"])) <= said[0] & said[1]
    _printed(client, found, students)
    other = heard(client, question(found, **{"from": "1", "to": "7"}), lesson.read_bytes())[1]["answer"]
    for told, status, why in (([{"held": "gone"}], 410, "no longer here"), ([], 400, "must be a list"),
                              ([{"file": "a", "why": "b"}], 400, "none that could be heard"),
                              ([{"held": students[0]["held"]}, {"held": other["held"]}], 400, "different settings")):
        reply = client.post("/api/practice/heard", content=question(found, students=told, ending=".pdf"))
        assert reply.status_code == status, reply.text
        assert why in reply.json()["line"]
    _kept(client, found, students)


def test_two_notes_in_turn_make_a_limit_of_the_player_file(client) -> None:
    """The arm of tests/hearing/test_moves.py, through the page: 30 m/s2 are found within a tenth."""
    np = pytest.importorskip("numpy")
    soundfile = pytest.importorskip("soundfile")
    from analyzer.hearing.moves import alternations
    from analyzer.horns.profiles import load_horn
    from tests.hearing.synth import RATE
    from tests.hearing.test_moves import turned

    ways_mm = [one.distance_mm for one in alternations(load_horn("tenor"))]
    sound, content = turned("tenor", [math.sqrt(10 / math.sqrt(3) * way_mm / 30000) for way_mm in ways_mm],
                            np.random.default_rng(4)), io.BytesIO()
    soundfile.write(content, sound, RATE, format="WAV")
    found = opened(client)

    def asked(recording: bytes, text: str) -> dict:
        body = question(found, horn="tenor", text=text, name="a.toml").encode() + b"\n" + recording
        reply = client.post("/api/practice/moves", content=body, headers={"x-file-name": "turns.m4a"})
        return json.loads(reply.text.splitlines()[-1])

    sheet = asked(b"", "")["answer"]
    assert sheet["found"] is None
    assert sum(line[0].isdigit() for line in sheet["sheet"]) == len(ways_mm)
    known = asked(content.getvalue(), '[player]\nname = "Ann"\n')["answer"]["found"]
    kept = tomllib.loads(known["text"])["player"]
    assert kept["name"] == "Ann"
    assert kept["slide_acceleration_m_s2"] == pytest.approx(30, rel=0.1)
    assert f"{kept['slide_acceleration_m_s2']:.1f} m/s²" in known["said"]
    one_note = io.BytesIO()
    soundfile.write(one_note, sound[RATE // 2:RATE], RATE, format="WAV")
    line = asked(one_note.getvalue(), "")["line"]
    assert "Play the pairs that are listed" in line
    assert not TERMINAL.search(line)


def _printed(client, found: dict, students: list[dict]) -> None:
    """The table names everybody, and each has a page."""
    pypdf = pytest.importorskip("pypdf")
    told = [*({"held": one["held"]} for one in students), {"file": "Cy.wav", "why": "the file is empty."}]
    reply = client.post("/api/practice/heard", content=question(found, students=told, ending=".pdf"))
    assert reply.status_code == 200, reply.text
    pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(reply.content)).pages]
    for text in ("Ann.wav", "Ben.wav", "Cy.wav", "Not heard: the file is empty.", "not a grade"):
        assert text in pages[0]
    assert "Ann.wav" in pages[1]
    reply = client.post("/api/practice/heard", content=question(found, students=told, ending=".html"))
    assert reply.text.count('class="student"') == 3
    assert "<script" not in reply.text


def _kept(client, found: dict, students: list[dict]) -> None:
    """A player file takes what each came to, keeps what is in it, and tells the trend."""
    def keep(place: int, text: str, name: str):
        return client.post("/api/practice/keep", content=question(found, held=students[place]["held"], text=text,
                                                                  name=name))

    first = keep(1, '# mine\n[player]\nname = "Ann"\n', "a.toml")
    assert first.status_code == 200, first.text
    assert (first.json()["said"], len(first.json()["rows"])) == ("", 1)
    second = keep(0, first.json()["text"], "a.toml").json()
    assert second["text"].startswith("# mine")
    assert second["text"].count("[[heard]]") == 2
    assert "Recording 2 of this passage" in second["said"]
    assert len(second["rows"]) == 2
    assert keep(0, "", "").json()["text"].startswith("[player]")
    bad = keep(0, "[player", "b.toml")
    assert bad.status_code == 400
    assert "b.toml" in bad.json()["line"]
