"""What a command is given, whole and right, by kind: what the fuzzing then damages, one kind at a time."""

import json
import shutil
import struct
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from functools import cache
from pathlib import Path

import numpy as np
from lxml import etree

from analyzer.hearing.moves import alternations
from analyzer.horns.profiles import load_horn
from analyzer.plan.weights import default_weights, preferences_text
from analyzer.tuning.sheet import sheet
from tests.borders import damage
from tests.score.build import note, score, words
from tests.score.test_foreign import ABC, KERN, MEI, MIDI
from tests.score.test_fuzz import BASE

_ROOT = Path(__file__).parents[2]
_FORMS = Path(__file__).parents[1] / "score" / "forms"
RATE = 22_050


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of input: the file's name, its whole content, and how it is damaged."""

    name: str
    whole: Callable[[], bytes]
    damaged: Callable[[bytes, int], bytes]


def tones(midis: Sequence[int], lasts_s: float) -> bytes:
    """Return a WAV file of brass-like tones one after another (harmonics that fall off, a short dip between)."""
    count = round(lasts_s * RATE)
    k = np.arange(count)
    level = np.minimum(1.0, np.minimum(k / 600, (count - k) / 900))
    body = b"".join(
        (9000 * level * sum(np.sin(2 * np.pi * 440 * 2 ** ((midi - 69) / 12) * h * k / RATE) / h for h in (1, 2, 3, 4)))
        .astype("<i2").tobytes() if midi else bytes(2 * count) for midi in midis)
    return (b"RIFF" + struct.pack("<I", 36 + len(body)) + b"WAVEfmt " + struct.pack("<IHHIIHH", 16, 1, 1, RATE,
            2 * RATE, 2, 16) + b"data" + struct.pack("<I", len(body)) + body)


SOLO = score(words("Moderato") + '<sound tempo="96"/>' + "".join(
    note(pitch, 4, after=f"<notations><technical><fingering>{mark}</fingering></technical></notations>")
    for pitch, mark in (("Bb2", "1"), ("C3", "6"), ("D3", "4"), ("F3", "1"))),
    note("Eb3", 4, '<tie type="start"/>') + note("Eb3", 2, '<tie type="stop"/>') + note("G3", 2)
    + note("F3", 4, after='<notations><slur type="start" number="1"/></notations>')
    + note("D3", 4, after='<notations><slur type="stop" number="1"/></notations>'),
    note("C3", 8) + note("", 4) + note("Bb2", 4), head="<work><work-title>Evening</work-title></work>")


@cache
def _recording() -> bytes:
    """The notes of the solo, at its tempo."""
    return tones([midi for midi, quarters in (
        (46, 2), (48, 2), (50, 2), (53, 2), (51, 3), (55, 1), (53, 2), (50, 2), (48, 4), (0, 2), (46, 2))
        for _ in range(quarters)], 60 / 96 / 2)


@cache
def _moves() -> bytes:
    return tones([midi for one in alternations(load_horn("tenor"))
                  for midi in (*(one.first.midi, one.second.midi) * 7, 0, 0, 0, 0)], 0.25)


@cache
def _readings() -> bytes:
    rows = sheet(load_horn("tenor-f")).splitlines()
    head = next(k for k, row in enumerate(rows) if not row.startswith("#"))
    place = rows[head].split(",").index("cents")
    filled = [",".join("2" if k == place else cell for k, cell in enumerate(row.split(","))) for row in rows[head + 1:]]
    return "\n".join((*rows[:head + 1], *filled)).encode()


@cache
def _store() -> bytes:
    """The store of a survey of the plain score, made by the command itself."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "scores"
        folder.mkdir()
        (folder / "fuzz.musicxml").write_bytes(BASE)
        store = Path(name) / "kept.sqlite"
        subprocess.run([sys.executable, "-m", "analyzer", "survey", str(folder), "--store", str(store), "--jobs", "1"],
                       check=True, capture_output=True, cwd=_ROOT)
        return store.read_bytes()


@cache
def _preferences() -> bytes:
    weights = default_weights()
    first = fields(weights)[0].name
    return preferences_text(replace(weights, **{first: 1.5 * getattr(weights, first)}), "Fitted to 12 marks.").encode()


def _file(*names: str) -> Callable[[], bytes]:
    return lambda: _ROOT.joinpath(*names).read_bytes()


_TICKED = json.dumps({
    "schema": "lowbrass.practice/1", "score": "fuzz.musicxml", "title": "March", "part": {"id": "P1",
    "name": "Trombone"}, "beat": {"unit": "quarter"}, "goal_bpm": 96,
    "clean": [{"measures": ["1", "2"], "bpm": 60, "at": "2026-03-01"}, {"measures": ["2", "3"], "bpm": 80,
                                                                        "at": "2026-03-02"}]}).encode()
_PINS = b'[[part]]\nid = "P1"\nname = "Trombone"\npins = ["1:2=T1", "2:1=3"]\n'
_BAND = (b'[[player]]\nname = "Chair 1"\nhorns = ["tenor", "tenor-f"]\nlow = "E2"\nhigh = "G4"\n'
         b'clefs = ["bass", "tenor"]\n\n'
         b'[[player]]\nname = "Chair 2"\nhorns = ["tenor-f"]\nlearned = ["T"]\nheight_cm = 158\n')

KINDS: dict[str, Kind] = {
    "score": Kind("fuzz.musicxml", lambda: BASE, damage.score),
    "solo": Kind("solo.musicxml", lambda: SOLO, damage.score),
    "mei": Kind("fuzz.mei", lambda: MEI.encode(), damage.raw),
    "mscz": Kind("fuzz.mscz", lambda: (_FORMS / "evening-song-euphonium-4.mscz").read_bytes(), damage.raw),
    "mxl": Kind("fuzz.mxl", _file("sample_scores", "quiet-chorale-trombones.mxl"), damage.raw),
    "abc": Kind("fuzz.abc", lambda: ABC.encode(), damage.raw),
    "kern": Kind("fuzz.krn", lambda: KERN.encode(), damage.raw),
    "midi": Kind("fuzz.mid", lambda: MIDI, damage.raw),
    "player": Kind("player.toml", _file("sample_scores", "student.toml"), damage.toml),
    "band": Kind("band.toml", lambda: _BAND, damage.toml),
    "pins": Kind("pins.toml", lambda: _PINS, damage.toml),
    "prefer": Kind("prefer.toml", _preferences, damage.toml),
    "horn": Kind("mine.toml", _file("analyzer", "horns", "data", "tenor-f.toml"), damage.toml),
    "readings": Kind("readings.csv", _readings, damage.csv),
    "ticked": Kind("ticked.json", lambda: _TICKED, damage.json_document),
    "recording": Kind("heard.wav", _recording, damage.sound),
    "moves": Kind("moves.wav", _moves, damage.sound),
    "store": Kind("kept.sqlite", _store, damage.raw),
}


RIGHT = {"date": "2026-09-07", "tempo": "88", "measures": "1-2", "pin": "1:2=T1", "state": "T", "known": "C3 6 496mm",
         "part": "P1"}
"""What is right for an argument of each kind of `damage.WORDS`."""


INSIDE = {"folder": ("score", "solo"), "class": ("recording",)}
"""What lies in a folder that a command is given."""


def bases() -> list[bytes]:
    """Return the scores that are damaged: a small one of every feature, and the samples."""
    samples = sorted((_ROOT / "sample_scores").glob("*.musicxml"))
    return [BASE, *(etree.tostring(etree.fromstring(path.read_bytes(), etree.XMLParser(remove_comments=True)))
                    for path in samples)]


def put(folder: Path, needed: set[str], changed: dict[str, bytes]) -> dict[str, Path]:
    """Write the inputs that a command needs into an empty folder, some with other bytes; return where each is.

    ``{folder}`` is a folder with two scores, ``{class}`` one with the recording, ``{outs}`` one that is not there
    yet, ``{out}`` the beginning of a file's name.
    """
    shutil.rmtree(folder, ignore_errors=True)
    scores, heard = folder / "scores", folder / "class"
    scores.mkdir(parents=True)
    heard.mkdir()
    places = {"folder": scores, "class": heard, "outs": folder / "outs", "out": folder / "out"}
    kinds = needed.union(*(inside for kind, inside in INSIDE.items() if kind in needed))
    for kind in sorted(kinds & KINDS.keys()):
        where = scores if kind in ("score", "solo") else heard if kind == "recording" else folder
        places[kind] = where / KINDS[kind].name
        places[kind].write_bytes(changed[kind] if kind in changed else KINDS[kind].whole())
    return places
