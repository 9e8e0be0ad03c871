"""Ticks from a take-home page: taken into the player file, and not trusted."""

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest

from analyzer.plan.player import read_player
from analyzer.plan.practiced import read_practice
from analyzer.problem import Unreadable
from tests.commands.test_map import run


def practice(**more: Any) -> dict[str, Any]:
    return {"schema": "lowbrass.practice/1", "score": "etude.musicxml", "title": "Etude",
            "part": {"id": "P1", "name": "Trombone"}, "line": 1, "horn": "tenor-f",
            "beat": {"unit": "quarter", "dots": 0},
            "goal_bpm": 96, "clean": [{"bpm": 60, "measures": ["1", "4"], "at": "2026-11-30"},
                                      {"bpm": 72, "measures": ["1", "4"], "at": "2026-12-01"},
                                      {"bpm": 96, "measures": ["5", "8"], "at": "2026-12-01"}]} | more


def test_ticks_stand_in_the_player_file_beside_what_was_there(tmp_path: Path) -> None:
    player, sent = tmp_path / "p.toml", tmp_path / "sent.json"
    player.write_text('# mine\n[player]\nname = "A. B."   # initials\nlearned = ["T"]\n', encoding="utf-8")
    sent.write_text(json.dumps(practice()), encoding="utf-8")
    done = run("progress", player, "--from", sent, "--format", "json")
    assert done.returncode == 0, done.stderr
    rows = json.loads(done.stdout)["practiced"]
    assert [(row["measures"], row["bpm"], row["times"]) for row in rows] == [(["1", "4"], 72, 2), (["5", "8"], 96, 1)]
    text = player.read_text(encoding="utf-8")
    assert text.startswith('# mine\n[player]\nname = "A. B."   # initials\n')
    assert len(tomllib.loads(text)["practiced"]) == 2
    assert read_player(player).learned == ("T",), "the file is still a player file"
    again = run("progress", player, "--from", sent)
    assert len(tomllib.loads(player.read_text(encoding="utf-8"))["practiced"]) == 2, "the same passage stands once"
    assert "fastest at quarter = 72 (of 96)" in again.stdout
    assert "student's own word" in again.stdout


@pytest.mark.parametrize("given", [
    b"", b"{", b"[]", b'{"schema": "lowbrass.map/1"}', b"\xff\xfe", b"[" * 100_000, b'{"schema": NaN}',
    *(json.dumps(practice(**more)).encode() for more in (
        {"clean": [{"bpm": "fast", "measures": ["1", "4"], "at": "2026-12-01"}]},
        {"clean": [{"bpm": 1e9, "measures": ["1", "4"], "at": "2026-12-01"}]},
        {"clean": [{"bpm": 60, "measures": ["1"], "at": "2026-12-01"}]},
        {"clean": [{"bpm": 60, "measures": ["1", "x" * 500], "at": "2026-12-01"}]},
        {"clean": [{"bpm": 60, "measures": ["1", "4"], "at": "yesterday"}]}, {"clean": 3}, {"clean": [None]},
        {"clean": [{"bpm": 60, "measures": ["1", "4"], "at": "2026-12-01"}] * 6000}, {"goal_bpm": True},
        {"part": "Trombone"}, {"title": "", "score": ""})),
])
def test_what_no_page_of_ours_writes_is_refused_in_one_line(given: bytes) -> None:
    with pytest.raises(Unreadable) as refused:
        read_practice(given, "sent.json")
    assert refused.value.problem.code == "not-practice"


def test_control_characters_do_not_reach_the_file(tmp_path: Path) -> None:
    player, sent = tmp_path / "p.toml", tmp_path / "sent.json"
    player.write_text("[player]\n", encoding="utf-8")
    sent.write_text(json.dumps(practice(title="E\x1b[31m\ntude")), encoding="utf-8")
    assert run("progress", player, "--from", sent).returncode == 0
    assert "\x1b" not in player.read_text(encoding="utf-8")
