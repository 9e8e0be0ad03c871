"""The page's answers against the other door: the same analysis as the command line's, for the same question."""

import asyncio
import io
import json
import zipfile
from collections import OrderedDict
from urllib.parse import quote

import httpx
import pytest
from lxml import etree

from analyzer.analysis import Request, analyse
from analyzer.marking.annotate import annotated
from analyzer.marking.which import marks
from analyzer.report.map.document import map_document
from analyzer.score.document import open_document
from analyzer.web import answers as answers_module
from analyzer.web import asked as asked_module
from analyzer.web import score_routes as score_routes_module
from analyzer.web import state as state_module
from analyzer.web.app import build
from analyzer.web.asked import file_name
from analyzer.web.page import UPLOADS_AT_ONCE
from analyzer.web.scores import Facts, OpenScore, OpenScores, new_id
from analyzer.web.workers import JOBS_WAITING, Jobs
from tests.web.conftest import HOST, SAMPLES, TOKEN, Here, page_of

ETUDE = "attachment-etude.musicxml"


def opened(client, name: str = ETUDE) -> dict:
    reply = client.post("/api/open", content=(SAMPLES / name).read_bytes(), headers={"x-file-name": quote(name)})
    assert reply.status_code == 200, reply.text
    return reply.json()


def question(found: dict, **more) -> str:
    return json.dumps({"session": found["session"], "part": found["parts"][0]["id"], "line": 1, "width": 900, **more})


def planned(client, found: dict, **more) -> dict:
    reply = client.post("/api/plan", content=question(found, **more))
    assert reply.status_code == 200, reply.text
    return reply.json()


@pytest.mark.parametrize("name", sorted(path.name for path in SAMPLES.glob("*.m*l")))
def test_the_page_says_what_the_command_says(client, name: str) -> None:
    found = opened(client, name)
    document = open_document(SAMPLES / name)
    low = [part for part in found["parts"] if part["low_brass"]]
    mapped = map_document(analyse(document, Request()))["lines"]
    assert [part["id"] for part in low] == list(dict.fromkeys(line["part"]["id"] for line in mapped))
    for line in mapped:
        said = planned(client, found, part=line["part"]["id"], line=line["line"])
        assert [note["label"] for note in said["notes"]] == [note["label"] for note in line["notes"]]
        assert said["horn"] == line["horn"]
        assert said["cautions"]


def test_chords_are_tuned_as_the_command_tunes_them(client) -> None:
    name = "quiet-chorale-trombones.mxl"
    found = opened(client, name)
    mapped = map_document(analyse(open_document(SAMPLES / name), Request(intonation="just")))["lines"]
    for line in mapped[:2]:
        asked = {"part": line["part"]["id"], "line": line["line"]}
        said = planned(client, found, **asked, intonation="just")
        assert [note["label"] for note in said["notes"]] == [note["label"] for note in line["notes"]]
        for note, theirs in zip(said["notes"], line["notes"], strict=True):
            moved = f"{'out' if theirs['shift_mm'] > 0 else 'in'} {abs(theirs['shift_mm']):.0f}"
            assert note["aim"] == (moved if abs(theirs["shift_mm"]) >= 3 else "")
        assert any(note["aim"] for note in said["notes"])
        assert any("584 to 613" in text for text in said["supposed"])
        mine = planned(client, found, **asked, player={"measured": "E3 7 584mm"})
        assert not any("584" in text for text in mine["supposed"])
        equal = planned(client, found, **asked, intonation="equal")
        assert equal["notes"] == planned(client, found, **asked)["notes"]
        assert not any(note["aim"] for note in equal["notes"])


def test_a_pin_is_solved_as_the_command_solves_it(client) -> None:
    found = opened(client)
    before = planned(client, found)
    index = next(k for k, note in enumerate(before["notes"]) if len(note["prices"]) > 1 and k > 20)
    note = before["notes"][index]
    label, extra = note["prices"][1]
    pin = {"part": found["parts"][0]["id"], "line": 1, "ref": note["refs"][0], "label": label}
    said = planned(client, found, pins=[pin], chosen=pin["ref"])
    request = Request(pins={(None, note["measure"], note["nth"]): label})
    mapped = map_document(analyse(open_document(SAMPLES / ETUDE), request))["lines"][0]
    assert [one["label"] for one in said["notes"]] == [one["label"] for one in mapped["notes"]]
    assert said["notes"][index]["pinned"]
    # The pinned note still shows what the plan itself would choose, at no extra cost, and its own price.
    prices = dict(said["notes"][index]["prices"])
    assert prices[note["label"]] == 0
    assert prices[label] == pytest.approx(extra, abs=0.11)
    # Where nobody looks at it, that plan is spared.
    assert said["notes"][index]["priced"]
    assert not planned(client, found, pins=[pin])["notes"][index]["priced"]


def test_downloads_are_the_bytes_of_the_command(client) -> None:
    found = opened(client)
    note = planned(client, found)["notes"][30]
    label = note["prices"][1][0]
    pin = {"part": found["parts"][0]["id"], "line": 1, "ref": note["refs"][0], "label": label}
    document = open_document(SAMPLES / ETUDE)
    analysis = analyse(document, Request(pins={(None, note["measure"], note["nth"]): label}))
    reply = client.post("/api/file", content=question(found, pins=[pin], ending="score"))
    assert reply.status_code == 200, reply.text
    assert reply.content == annotated(document, marks(analysis.lines))
    assert "attachment-etude-marked.musicxml" in reply.headers["content-disposition"]
    reply = client.post("/api/file", content=question(found, pins=[pin], ending=".json"))
    assert reply.json() == json.loads(json.dumps(map_document(analysis)))


@pytest.mark.parametrize(("ending", "begins"), [(".pdf", b"%PDF"), (".html", b"<!DOCTYPE html>")])
def test_pages_to_take_along(client, ending: str, begins: bytes) -> None:
    pytest.importorskip("verovio", reason="the extra engrave is not installed")
    reply = client.post("/api/file", content=question(opened(client), **{"from": "1", "to": "4"}, ending=ending))
    assert reply.status_code == 200, reply.text
    assert reply.content.startswith(begins)


@pytest.mark.parametrize("ending", ["", ".exe", "../x", None, 3, ["x"]])
def test_no_other_form_of_file(client, ending: object) -> None:
    assert client.post("/api/file", content=question(opened(client), ending=ending)).status_code == 400


def test_music_has_every_note_and_needs_no_other_file(client) -> None:
    pytest.importorskip("verovio", reason="the extra engrave is not installed")
    found = opened(client, "harbour-march-trio.musicxml")
    said = planned(client, found)
    svg = client.post("/api/music", content=question(found)).json()["svg"]
    root = etree.fromstring(svg.encode())
    ids = set(root.xpath("//@id"))
    for note in said["notes"]:
        for ref in note["refs"]:
            assert f"music-n{ref}" in ids
    names = {etree.QName(one).localname for one in root.iter(etree.Element)}
    assert not names & {"style", "script", "foreignObject", "image"}
    assert not root.xpath("//@style")
    assert all(str(address).startswith("#") for address in root.xpath("//@*[local-name()='href']"))


def test_measures_tempo_player_and_horn_are_heard(client) -> None:
    found = opened(client)
    some = planned(client, found, **{"from": "3", "to": "5"})
    assert {note["measure"] for note in some["notes"]} == {"3", "4", "5"}
    assert (some["measures"]["first"], some["measures"]["last"]) == ("3", "5")
    assert planned(client, found, tempo=40)["tempo"]["marked"] == [40]
    near = planned(client, found, horn="tenor", player={"outermost_position": 4})
    assert near["unplayable"] > planned(client, found, horn="tenor")["unplayable"]
    assert planned(client, found, horn="tenor")["horn"] == "tenor"


@pytest.mark.parametrize(("more", "word"), [
    ({"horn": "/etc/passwd"}, "horn"), ({"horn": "../horn.toml"}, "horn"), ({"part": "nobody"}, "no part"),
    ({"from": "900"}, "900"), ({"tempo": 5}, "tempo"), ({"tempo": "fast"}, "tempo"), ({"line": 7}, "line"),
    ({"player": {"reach_mm": 1}}, "reach"), ({"player": {"low": "H9"}}, "lowest note"), ({"player": []}, "player"),
    ({"player": {"nickname": "x"}}, "player"), ({"pins": [1]}, "pins"), ({"pins": {}}, "pins"),
    ({"width": "wide"}, "width"), ({"intonation": "pythagorean"}, "intonation"),
    ({"pins": [{"part": "P1", "line": 1, "ref": -1, "label": "1"}]}, "pins"), ({"tempo": True}, "tempo"),
])
def test_wrong_questions_get_one_clear_line(client, more: dict, word: str) -> None:
    reply = client.post("/api/plan", content=question(opened(client), **more))
    assert reply.status_code == 400
    line = reply.json()["line"]
    assert word in line
    assert "\n" not in line


def test_a_pin_that_the_horn_cannot_play_waits(client) -> None:
    found = opened(client)
    pin = {"part": found["parts"][0]["id"], "line": 1, "ref": planned(client, found)["notes"][0]["refs"][0],
           "label": "1-2-3"}
    said = planned(client, found, pins=[pin])
    assert said["misfits"] == [pin]
    assert not any(note["pinned"] for note in said["notes"])


def test_a_pin_outside_the_measures_waits_too(client) -> None:
    found = opened(client)
    note = planned(client, found)["notes"][0]
    pin = {"part": found["parts"][0]["id"], "line": 1, "ref": note["refs"][0], "label": note["label"]}
    said = planned(client, found, pins=[pin], **{"from": "5", "to": "6"})
    assert not said["misfits"]
    assert not any(one["pinned"] for one in said["notes"])


def test_every_choice_of_a_note_is_there_once(client) -> None:
    found = opened(client, "evening-song-euphonium.musicxml")
    said = planned(client, found)
    for note in said["notes"]:
        labels = [candidate["label"] for candidate in said["candidates"][str(note["midi"])]]
        assert len(labels) == len(set(labels))
        assert {label for label, _ in note["prices"]} <= set(labels)
        assert all(price >= 0 for _, price in note["prices"])
        assert note["label"] is None or note["prices"][0][0] == note["label"]


# --- hostile files ---------------------------------------------------------------------------------------------------

def packed(**members: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return out.getvalue()


BOMB = ('<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">' + "".join(
    f'<!ENTITY {chr(98 + k)} "{f"&{chr(97 + k)};" * 10}">' for k in range(9))
        + "]><score-partwise>&j;</score-partwise>")
HOSTILE = {
    "nothing": b"", "spaces": b"   \n", "picture": b"\x89PNG\r\n\x1a\n" + b"x" * 99,
    "web page": b"<!doctype html><html>",
    "text": b"hello", "cut off": (SAMPLES / ETUDE).read_bytes()[:5000], "laughs": BOMB.encode(),
    "file": b'<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]><score-partwise><part>&e;</part></score-partwise>',
    "zip bomb": packed(**{"score.musicxml": b" " * 40 * 2**20}), "zip of nothing": packed(),
    "broken zip": b"PK\x03\x04zz",
    "path": packed(**{"../../evil.musicxml": b"<score-partwise/>"}), "deep": b"<a>" * 5000, "zeros": b"\0" * 5000,
}


@pytest.mark.parametrize("kind", HOSTILE)
def test_hostile_files_get_one_clear_line(client, kind: str) -> None:
    reply = client.post("/api/open", content=HOSTILE[kind], headers={"x-file-name": "bad.musicxml"})
    assert reply.status_code == 400, kind
    line = reply.json()["line"]
    assert line.startswith("bad.musicxml")
    assert "\n" not in line
    assert "root:" not in line
    assert "Traceback" not in line


def test_words_of_a_score_stay_words(client) -> None:
    pytest.importorskip("verovio", reason="the extra engrave is not installed")
    evil = "&lt;script&gt;alert(1)&lt;/script&gt;&lt;img src=x onerror=alert(1)&gt;"
    text = (SAMPLES / ETUDE).read_text(encoding="utf-8")
    text = text.replace(">legato</words>", f">{evil}</words>").replace("<work-title>", f"<work-title>{evil}")
    assert text.count("onerror") >= 2
    found = client.post("/api/open", content=text.encode()).json()
    svg = client.post("/api/music", content=question(found)).json()["svg"]
    root = etree.fromstring(svg.encode())
    assert not [one for one in root.iter(etree.Element) if etree.QName(one).localname in ("script", "img")]
    assert "onerror" in "".join(root.itertext())


@pytest.mark.parametrize(("sent", "name"), [
    ("a%2Fb%2Fc.mxl", "c.mxl"), ("..%5C..%5Cwin.xml", "win.xml"), ("%00%0d%0aSet-Cookie: x", "Set-Cookie: x"),
    ("", "score"), ("..", "score"), ("%E2%80%AEgpj.xml", "gpj.xml"), ("%ff%fe", "��"), ("x" * 500 + ".musicxml", None),
])
def test_file_names_are_only_names(sent: str, name: str | None) -> None:
    found = file_name(sent)
    assert len(found) <= 120
    assert name is None or found == name


# --- bounds ----------------------------------------------------------------------------------------------------------

def open_score(name: str = "a.musicxml") -> OpenScore:
    return OpenScore(Facts(id=new_id(), name=name), ".musicxml", (SAMPLES / ETUDE).read_bytes())


def test_old_scores_give_way() -> None:
    scores = OpenScores(most=3)
    ids = [scores.add(open_score()).id for _ in range(3)]
    assert scores.get(ids[0]) is not None    # used again: the second is now the oldest
    newest = scores.add(open_score()).id
    assert [scores.get(one) is not None for one in (*ids, newest)] == [True, False, True, True]
    small = OpenScores(most_bytes=int(len(open_score().packed) * 2.5))
    for _ in range(5):
        small.add(open_score())
    assert len(small) == 2
    tiny = OpenScores(most_bytes=1)
    tiny.add(open_score())
    assert len(tiny) == 1


@pytest.fixture
def here(page, monkeypatch):
    """The planner in this process, so that a test can change its limits; what it keeps is the test's alone."""
    page.planners = (Jobs(Here()),)
    monkeypatch.setattr(state_module, "_awake", OrderedDict())
    return state_module


def test_scores_that_rest_answer_as_before(client, here, monkeypatch) -> None:
    """Of many open scores only those used last keep their trees; any is read anew when it is asked for."""
    monkeypatch.setattr(here, "MAX_AWAKE_BYTES", 1)
    first, second = opened(client), opened(client, "evening-song-euphonium.musicxml")
    assert list(here._awake) == [second["session"]]
    said = planned(client, first)
    assert list(here._awake) == [first["session"]]
    assert planned(client, second)["family"] == "valves"
    again = planned(client, first)
    assert {**again, "name": ""} == {**said, "name": ""}
    assert list(here._awake) == [first["session"]]


def test_what_a_form_lost_is_said_also_of_a_score_that_rested(client, here, monkeypatch) -> None:
    pytest.importorskip("music21", reason="the extra build is not installed")
    monkeypatch.setattr(here, "MAX_AWAKE_BYTES", 1)
    from tests.score.test_foreign import ABC

    found = client.post("/api/open", content=ABC.encode(), headers={"x-file-name": "low.abc"}).json()
    said = planned(client, found)
    assert any("ABC" in line for line in said["supposed"])
    opened(client)
    assert planned(client, found)["supposed"] == said["supposed"]


def test_more_notes_than_can_be_planned_at_once_are_refused_and_some_measures_are_not(client, here, monkeypatch,
                                                                                      ) -> None:
    monkeypatch.setattr(here, "MOST_NOTES", 100)
    found = opened(client)
    reply = client.post("/api/plan", content=question(found))
    assert reply.status_code == 400
    assert "are more than are planned at once (100). Choose some of its measures." in reply.json()["line"]
    assert planned(client, found, **{"from": "3", "to": "5"})["notes"]
    assert client.post("/api/plan", content=question(found, **{"from": "none"})).status_code == 400


def test_a_number_that_json_has_not_is_no_answer(client, here, monkeypatch) -> None:
    """The page would take NaN for no JSON at all; a fault of ours is said as one."""
    found = opened(client)
    monkeypatch.setattr(answers_module, "pictures_for", lambda *_: {"pictures": [float("nan")]})
    monkeypatch.setattr(score_routes_module, "pictures_for", lambda *_: {"pictures": [float("nan")]})
    reply = client.post("/api/pictures", content=question(found))
    assert reply.status_code == 500
    assert "NaN" not in reply.text


def test_fifty_uploads_at_once_are_all_answered_and_few_are_held(workers, planner) -> None:
    data = (SAMPLES / ETUDE).read_bytes()
    page = page_of(workers, planner, scores=OpenScores(most=10))
    app = build(TOKEN, (HOST,), page)

    async def slowly():
        for start in range(0, len(data), 60000):
            yield data[start:start + 60000]
            await asyncio.sleep(0.002)

    async def all_at_once() -> list[httpx.Response]:
        transport = httpx.ASGITransport(app=app)
        async with httpx.AsyncClient(transport=transport, base_url=f"http://{HOST}",
                                     headers={"X-Lowbrass-Token": TOKEN}, timeout=60) as client:
            return await asyncio.gather(*(client.post("/api/open", content=slowly()) for _ in range(50)))

    replies = asyncio.run(all_at_once())
    assert [reply.status_code for reply in replies] == [200] * 50
    assert len({reply.json()["session"] for reply in replies}) == 50
    assert 1 <= page.most_reading <= UPLOADS_AT_ONCE
    assert len(page.scores) == 10


@pytest.mark.parametrize("path", ["/api/open", "/api/plan", "/api/fit", "/api/section/read", "/api/player/read"])
def test_a_client_that_dawdles_is_let_go(workers, planner, monkeypatch, path: str) -> None:
    monkeypatch.setattr(asked_module, "UPLOAD_TIME_S", 0.2)
    app = build(TOKEN, (HOST,), page_of(workers, planner))

    async def slowly():
        for _ in range(100):
            yield b" "
            await asyncio.sleep(0.05)

    async def ask() -> httpx.Response:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app=app), base_url=f"http://{HOST}",
                                     headers={"X-Lowbrass-Token": TOKEN}, timeout=60) as client:
            return await client.post(path, content=slowly())

    reply = asyncio.run(ask())
    assert reply.status_code == 408
    assert reply.json()["line"] == "The file did not arrive in time. Try again."


def test_fifty_fits_at_once_are_all_answered(workers, planner) -> None:
    data = (SAMPLES / "evening-song-euphonium.musicxml").read_bytes()
    app = build(TOKEN, (HOST,), page_of(workers, planner))
    section = {"players": [{"name": "A", "horns": ["euphonium-4"]}], "spare": []}

    async def all_at_once() -> list[httpx.Response]:
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app=app), base_url=f"http://{HOST}",
                                     headers={"X-Lowbrass-Token": TOKEN}, timeout=120) as client:
            found = (await client.post("/api/open", content=data)).json()
            body = question(found, section=section)
            return await asyncio.gather(*(client.post("/api/fit", content=body) for _ in range(50)))

    replied = asyncio.run(all_at_once())
    done = [reply.json()["verdict"] for reply in replied if reply.status_code == 200]
    assert len(done) == JOBS_WAITING
    assert len(set(done)) == 1
    assert {reply.json()["line"] for reply in replied if reply.status_code != 200} == {
        "Too much work at once. Wait a moment and try again."}


def test_nothing_is_written_to_disk(client, tmp_path, monkeypatch) -> None:
    import tempfile

    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    found = opened(client)
    planned(client, found)
    client.post("/api/open", content=b" " * 3 * 2**20)
    assert list(tmp_path.iterdir()) == []


def test_a_score_without_low_brass_opens_with_one_sentence_that_names_its_parts(client) -> None:
    from tests.score.build import attributes, note, score

    found = client.post("/api/open", content=score(note("C5", 16), name="Flute", first=attributes(4, "G2")),
                        headers={"x-file-name": "flute.musicxml"}).json()
    assert "no trombone, euphonium or baritone" in found["notice"]
    assert "Flute" in found["notice"]
    assert opened(client)["notice"] == ""


def test_the_page_says_what_was_assumed_and_answers_how_treble_clef_is_read(client) -> None:
    from tests.score.build import attributes, note, score

    data = score(*(note("C5", 16),) * 2, name="Baritone T.C.", first=attributes(4, "G2"))
    found = client.post("/api/open", content=data, headers={"x-file-name": "tc.musicxml"}).json()
    suggested = planned(client, found)
    assert any(line.startswith("Transposition: treble clef in B♭") for line in suggested["supposed"])
    assert suggested["treble"]
    assert suggested["notes"][0]["sounding"] == "B♭3"
    assert planned(client, found, reads="concert")["notes"][0]["sounding"] == "C5"
