"""What a score does not say: name × clef × transposition × harmony, each row reasoned beside its expectation.

`reading_truth.csv` is the master. Columns: `notes` is the written melody (``high`` E4 to D5, ``mid`` and ``low`` an
octave lower or two in bass clef, ``rest`` none), `backing` the key in which three other players' chords fit it (as
written, or read in B flat), `beside` the names of the parts before and after. `assumed` is ``about=beginning of the
value`` (``!about``: no such assumption), `codes` the problems of doubt, `sounding` the first note.
"""

import csv
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from analyzer.cli import cli
from analyzer.problem import Unreadable
from tests.score.build import attributes, chord, entry, note, words

TABLE = Path(__file__).with_name("reading_truth.csv")
ROWS = list(csv.DictReader(TABLE.read_text(encoding="utf-8").splitlines()))
DOUBTS = {"transposition-doubt", "tempo-assumed", "swing-straight", "no-notes", "no-low-brass"}
MELODY = ("C5", "E5", "G4", "C5", "A4", "F4", "A4", "C5", "G4", "B4", "D5", "G4", "C5", "G4", "E4", "C5")
CHORDS = {"concert": (("C4", "E4", "G4"), ("F3", "A3", "C4"), ("G3", "B3", "D4"), ("C4", "E4", "G4")),
          "b-flat": (("Bb3", "D4", "F4"), ("Eb3", "G3", "Bb3"), ("F3", "A3", "C4"), ("Bb3", "D4", "F4"))}
CLEFS = {"bass": "F4", "tenor": "C4", "alto": "C3", "treble": "G2", "treble-8vb": "G2"}
LOWER = {"high": 0, "mid": 1, "rest": 0, "low8": 2}


def metronome(bpm: int) -> str:
    return (f"<direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>{bpm}</per-minute>"
            "</metronome></direction-type></direction>")


def sign(what: str) -> str:
    """Return what stands at the beginning: a mark of 96 unless the row is about tempo."""
    if what == "none":
        return ""
    if what == "playback":
        return '<sound tempo="90"/>'
    if what in ("", "q=96"):
        return metronome(96)
    return words(what) + ("" if what == "Allegro" else metronome(96))


def score_of(row: dict[str, str]) -> str:
    before, _, after = row["beside"].partition("|")
    names = [name for name in (before, row["name"], after) if name]
    place = 1 if before else 0
    more = f"<transpose><chromatic>{row['transpose']}</chromatic></transpose>" if row["transpose"] else ""
    if row["transpose"] == "-14":
        more = ("<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic><octave-change>-1</octave-change>"
                "</transpose>")
    head = attributes(4, CLEFS[row["clef"]], more)
    if row["clef"] == "treble-8vb":
        head = head.replace("</line>", "</line><clef-octave-change>-1</clef-octave-change>")
    lower = LOWER.get(row["notes"], 1 if row["clef"] == "treble" else 2)
    melody = ["" if row["notes"] == "rest" else f"{pitch[:-1]}{int(pitch[-1]) - lower}" for pitch in MELODY]
    silent = [note("", 16)] * 4
    parts: list[tuple[str, list[str], str]] = []
    for k, name in enumerate(names):
        music = [sign(row["words"]) * (m == 0) + "".join(note(pitch, 4) for pitch in melody[4 * m:4 * m + 4])
                for m in range(4)]
        parts.append((name, music if k == place else silent, head if k == place else attributes()))
    if row["backing"]:
        parts.append(("Strings", [chord(*pitches, ticks=16) for pitches in CHORDS[row["backing"]]], attributes()))
    listed = body = ""
    others = iter(("P7", "P8"))
    for name, measures, first in parts:
        mine = measures is parts[place][1]
        part_id = "P1" if mine else "P9" if name == "Strings" else next(others)
        listed += entry(part_id, name, sound=row["sound"] if part_id == "P1" else "")
        body += f'<part id="{part_id}">' + "".join(
            f'<measure number="{m + 1}">{first if m == 0 else ""}{one}</measure>' for m, one in enumerate(measures)
        ) + "</part>"
    return f"<score-partwise><part-list>{listed}</part-list>{body}</score-partwise>"


def run(*arguments: str) -> tuple[int, Any, str]:
    """Return exit code, JSON document and what is said to a person."""
    result = CliRunner().invoke(cli, list(arguments))
    said = result.exception.problem.line() if isinstance(result.exception, Unreadable) else result.stderr
    return result.exit_code, json.loads(result.stdout) if result.stdout.startswith("{") else None, said


@pytest.mark.parametrize("row", ROWS, ids=[f"{k}-{row['name']}-{row['clef']}{row['transpose']}-{row['backing']}"
                                           for k, row in enumerate(ROWS)])
def test_row(row: dict[str, str], tmp_path: Path) -> None:
    path = tmp_path / "row.musicxml"
    path.write_text(score_of(row), encoding="utf-8")
    _, listed, _ = run("parts", str(path), "--format", "json")
    mine = next(part for part in listed["parts"] if part["id"] == "P1")
    assert mine["family"] == row["family"], mine["evidence"]
    code, found, said = run("map", str(path), "--format", "json", *row["options"].split())
    expected = set(row["codes"].split())
    if "no-low-brass" in expected:
        assert code == 1
        assert "no-low-brass" in said
        assert row["name"] in said, "the parts are named"
        return
    assert code == 0, said
    assert {problem["code"] for problem in found["problems"]} & DOUBTS == expected, found["problems"]
    (line,) = found["lines"]
    assert line["horn"] == row["horn"]
    assumed = {one["about"]: one for one in line["assumptions"]}
    for wanted in row["assumed"].split(";") if row["assumed"] else ():
        about, _, value = wanted.partition("=")
        if about.startswith("!"):
            assert about[1:] not in assumed
        else:
            assert assumed[about]["value"].startswith(value)
            assert assumed[about]["from"]
    if "transposition" not in row["assumed"]:
        assert "transposition" not in assumed
    assert [one["sounding"] for one in line["notes"][:1]] == ([row["sounding"]] if row["sounding"] else [])
    if "transposition-doubt" in expected:
        (doubt,) = [problem for problem in found["problems"] if problem["code"] == "transposition-doubt"]
        assert "--reads" in doubt["try"]


def test_the_table_is_large_and_reasoned() -> None:
    assert len(ROWS) >= 60
    assert all(row["reason"] and row["source"] for row in ROWS)
    assert len({(row["name"], row["clef"], row["transpose"], row["notes"], row["backing"], row["beside"], row["sound"],
                 row["words"], row["options"]) for row in ROWS}) == len(ROWS)
