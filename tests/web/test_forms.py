"""Section, player and pins as forms and as files: the same readers, one clear line for a fault, nothing on disk."""

import json
import re
import tempfile
import time
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analyzer.horns.profiles import horn_names
from analyzer.marking.pins import read_pins_file
from analyzer.plan.player import KEYS, read_player
from analyzer.problem import Unreadable
from analyzer.section.section import EXTRA_KEYS, read_section
from analyzer.toml_file import parse_table
from analyzer.web.forms import MAX_TOML_BYTES, MOST_PLAYERS, player_text, read_player_file, section_text
from tests.web.conftest import SAMPLES
from tests.web.test_app import opened, planned, question

FULL = {"name": 'Ch"air\\ 1 ♭', "horns": ["tenor-f", "tenor"], "keeps": "trombone", "level": "intermediate",
        "extreme_low": "C2", "extreme_high": "Bb4", "endurance_minutes": 8, "clefs": ["bass", "tenor"], "reach_mm": 520,
        "attachment_ceiling": "none", "max_slide_speed_mm_s": 1600, "low": "E2", "high": "F4", "learned": ["T"],
        "cannot": ["S"], "stave": {"text": 1.3}}


def put(client, path: str, content: bytes, name: str = "my file.toml"):
    return client.post(path, content=content, headers={"x-file-name": name.replace(" ", "%20")})


def test_a_section_goes_through_form_and_file_unchanged(client, tmp_path: Path) -> None:
    text = (SAMPLES / "section.toml").read_bytes()
    form = put(client, "/api/section/read", text).json()
    assert form["players"] == tomllib.loads(text.decode())["player"]
    form["players"].append({**FULL, "name": "Player 7"})
    form["spare"] = ["bass-single"]
    reply = client.post("/api/section/write", content=json.dumps(form))
    assert reply.status_code == 200, reply.text
    assert "section.toml" in reply.headers["content-disposition"]
    assert put(client, "/api/section/read", reply.content).json() == form
    # The command line reads the saved file as it is.
    path = tmp_path / "section.toml"
    path.write_bytes(reply.content)
    section = read_section(path)
    assert [one.name for one in section.members] == [one["name"] for one in form["players"]]
    assert [horn.name for horn in section.spare] == ["bass-single"]


def test_every_key_of_a_section_has_its_way_through_the_form(client) -> None:
    # Secure moves come from practice, sizes of print are a table of the file: both are kept as they are.
    keys = {*EXTRA_KEYS, *KEYS} - {"secure", "stave"}
    script = (Path(__file__).parents[2] / "analyzer" / "web" / "static" / "section.js").read_text(encoding="utf-8")
    assert all(f'["{key}"' in script for key in keys)


def test_a_player_goes_through_form_and_file_unchanged(client, tmp_path: Path) -> None:
    text = (SAMPLES / "student.toml").read_bytes()
    form = put(client, "/api/player/read", text).json()["player"]
    assert form == tomllib.loads(text.decode())["player"]
    for one in (form, {**form, "learned": []}, {}, {**form, "stave": {"staff_mm": 10, "dynamics": "above"}}):
        reply = client.post("/api/player/write", content=json.dumps(one))
        assert reply.status_code == 200, reply.text
        assert put(client, "/api/player/read", reply.content).json()["player"] == one
    path = tmp_path / "player.toml"
    path.write_bytes(client.post("/api/player/write", content=json.dumps(form)).content)
    assert read_player(path) == read_player(SAMPLES / "student.toml")
    # All that a player file may say may be asked with.
    assert planned(client, opened(client), player=form)["notes"]


_text = st.text(max_size=12)
_value = st.one_of(_text, st.integers(), st.booleans(), st.floats(), st.lists(_text, max_size=3), st.none(),
                   st.lists(st.integers(), max_size=2), st.dictionaries(_text, _text, max_size=2))
_KEYS = st.one_of(st.sampled_from(("name", "horns", "low", "learned", "reach_mm")), _text)


@settings(max_examples=100, deadline=None)
@given(st.dictionaries(_KEYS, _value, max_size=5))
def test_whatever_a_form_holds_the_file_means_the_same_or_is_refused(table: dict) -> None:
    try:
        found = read_player_file(player_text(table), "x")
    except Unreadable:
        return
    given = {key: value for key, value in table.items() if key in KEYS and value not in (None, "")}
    assert found == {key: value for key, value in given.items() if value != [] or key == "learned"}


def test_a_hostile_name_stays_a_name() -> None:
    evil = 'x"\n[[player]]\nname = "y'
    text = section_text({"players": [{"name": evil, "horns": ["tenor"]}]})
    assert tomllib.loads(text)["player"] == [{"name": evil, "horns": ["tenor"]}]


HOSTILE = {
    "nothing": b"", "picture": b"\x89PNG\r\n\x1a\n" + b"x" * 99, "latin": "[player]\nname = 'J\xf6'".encode("latin-1"),
    "deep": b"x = " + b"[" * 20000, "no toml": b"hello", "array": b"[[player]]\n" * 10, "score": b"<score-partwise/>",
    "many": b"".join(b"k%d = 1\n" % k for k in range(5000)), "number": b"player = 3",
    "unknown": b"[player]\nshoe = 43\n", "foreign horn": b'[[player]]\nhorns = ["../../../etc/passwd"]\n',
    "horn file": b'spare = ["/etc/hostname.toml"]\n[[player]]\nhorns = ["/tmp/x.toml"]\n',
    "crowd": b'[[player]]\nhorns = ["tenor"]\n' * (MOST_PLAYERS + 1), "part": b"[[part]]\npins = 1",
    "zeros": b"\0" * 999,
}


@pytest.mark.parametrize("kind", HOSTILE)
@pytest.mark.parametrize("path", ["/api/section/read", "/api/player/read", "/api/pins/read"])
def test_hostile_files_get_one_clear_line_at_once(client, path: str, kind: str, tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    begun = time.process_time()
    if path == "/api/pins/read":
        text = HOSTILE[kind].decode("latin-1")
        reply = client.post(path, content=question(opened(client), text=text, name="my file.toml"))
    else:
        reply = put(client, path, HOSTILE[kind])
    if kind == "nothing" and "player" in path:
        assert reply.json() == {"player": {}}      # every key may be left out
        return
    assert reply.status_code == 400, reply.text
    line = reply.json()["line"]
    assert line.startswith("my file.toml"), line
    assert "\n" not in line
    assert "Traceback" not in line
    assert "root:" not in line
    assert time.process_time() - begun < 5
    assert list(tmp_path.iterdir()) == []


def test_a_horn_file_is_never_looked_for(client, tmp_path: Path) -> None:
    horn = tmp_path / "horn.toml"
    horn.write_text("secret = 'do not show'", encoding="utf-8")
    for key in ("horns", "spare"):
        section = {"players": [{"name": "A", "horns": ["tenor"]}], "spare": []}
        (section if key == "spare" else section["players"][0])[key] = [str(horn)]
        for path, body in (("/api/section/write", json.dumps(section)),
                           ("/api/fit", question(opened(client), section=section))):
            reply = client.post(path, content=body)
            assert reply.status_code == 400
            assert "the page has no horn" in reply.json()["line"]
            assert "secret" not in reply.text


@pytest.mark.parametrize("path", ["/api/section/read", "/api/player/read"])
def test_too_long_files_are_refused(client, path: str) -> None:
    reply = put(client, path, b"#" * (MAX_TOML_BYTES + 1))
    assert reply.status_code == 413
    assert "64 KiB" in reply.json()["line"]


# --- pins ------------------------------------------------------------------------------------------------------------

def test_pins_go_to_a_file_and_back(client) -> None:
    found = opened(client, "harbour-march-trio.musicxml")
    pins = []
    for line in (1, 2):
        note = next(note for note in planned(client, found, line=line)["notes"] if len(note["prices"]) > 1)
        pins.append({"part": found["parts"][0]["id"], "line": line, "ref": note["refs"][0],
                     "label": note["prices"][1][0], "measure": note["measure"], "nth": note["nth"],
                     "written": note["written"]})
    reply = client.post("/api/pins/write", content=question(found, pins=pins))
    assert reply.status_code == 200, reply.text
    assert "harbour-march-trio-pins.toml" in reply.headers["content-disposition"]
    [part] = read_pins_file(parse_table(reply.text, "x"))
    assert [(pin.line, pin.measure, pin.nth, pin.label) for pin in part.pins] == [
        (pin["line"], pin["measure"], pin["nth"], pin["label"]) for pin in pins]
    back = client.post("/api/pins/read", content=question(found, text=reply.text, name="p.toml")).json()
    assert back == {"pins": pins, "missed": []}
    # In another score the name of the part, or the measure, is not there.
    other = opened(client)
    reply = client.post("/api/pins/read", content=question(other, text=reply.text, name="p.toml"))
    assert reply.status_code == 400 or reply.json()["missed"]


def test_pins_without_a_note_are_named_and_the_others_kept(client) -> None:
    found = opened(client)
    name = found["parts"][0]["name"]
    text = (f'[[part]]\nname = "{name}"\nid = "x"\npins = ["1:1=1", "900:1=1", "1:2.1=1"]\n'
            '[[part]]\nname = "Tuba"\npins = []\n')
    said = client.post("/api/pins/read", content=question(found, text=text, name="p.toml")).json()
    assert [(pin["measure"], pin["nth"], pin["label"]) for pin in said["pins"]] == [("1", 1, "1")]
    assert len(said["missed"]) == 3
    assert any("Tuba" in line for line in said["missed"])


def test_nothing_pinned_is_said(client) -> None:
    reply = client.post("/api/pins/write", content=question(opened(client)))
    assert reply.status_code == 400
    assert "nothing is chosen" in reply.json()["line"]


def test_sections_to_start_from_have_known_horns() -> None:
    from analyzer.web.app import STATIC

    ready = (STATIC / "section.js").read_text(encoding="utf-8").split("const READY = {")[1].split("};")[0]
    named = re.findall(r'\["([\w-]+)"\]', ready)
    assert len(named) == 12
    assert set(named) <= set(horn_names())


def test_sizes_of_print_of_a_player_file_go_along(client) -> None:
    form = put(client, "/api/player/read", b'[player]\nname = "A"\n[stave]\nstaff_mm = 11\n').json()["player"]
    assert form == {"name": "A", "stave": {"staff_mm": 11}}
    reply = client.post("/api/player/write", content=json.dumps(form))
    assert put(client, "/api/player/read", reply.content).json()["player"] == form
