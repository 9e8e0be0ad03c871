"""How far to pull the slides for lines of music: never worse than nothing, with the fingerings the plan takes."""

import json
import random
import re
import subprocess
import sys
from itertools import product
from math import sqrt
from pathlib import Path

import pytest
from click.testing import CliRunner

from analyzer.commands import tune
from analyzer.horns.horn import Horn
from analyzer.horns.profiles import load_horn
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner
from analyzer.problem import Unreadable
from analyzer.review.pulls import ALIKE_CENTS, advise
from analyzer.tuning.best_pulls import LIMITS_MM, UNUSUAL_CENTS
from analyzer.tuning.retuned import slides
from tests.lines import line_of

SONG = "sample_scores/evening-song-euphonium.musicxml"
LOW = "C3 F2 G2 C3 F3 C3 E2 F2 C3 Bb2 F2 C3"


def limits(horn: Horn, **changed: int) -> dict[str, int]:
    return {slide: changed.get(slide, LIMITS_MM[slide]) for slide in slides(horn)}


def planner(notes: str, name: str = "euphonium-3", **more) -> Planner:
    return Planner(line_of(notes, 2, family="euphonium"), load_horn(name), Player(**more))


def rms(horn: Horn, notes: str) -> float:
    """The root mean square of a plan's cents over equal notes, the long way round."""
    plan = Planner(line_of(notes, 2, family="euphonium"), horn).plan()
    off = [note.choice.off_cents for note in plan.notes if note.choice]
    assert len(off) == len(notes.split())
    return sqrt(sum(cents ** 2 for cents in off) / len(off))


def test_the_figures_are_those_of_the_plans() -> None:
    one = planner(LOW)
    advice = advise([one], limits(one.horn))
    assert advice.rms_cents[0] == pytest.approx(rms(one.horn, LOW))
    assert advice.rms_cents[1] == pytest.approx(rms(advice.named("own"), LOW))
    # 1-3 and 1-2-3 are sharp: the third slide comes out, and low music gains by it.
    assert advice.pulls_mm["3"] > 10
    assert advice.rms_cents[1] < advice.rms_cents[0] / 2


CASES = list(product(["euphonium-3", "euphonium-4", "euphonium-4-compensating", "baritone-3"], [False, True],
                     [LOW, "Bb3 C4 D4 Eb4 F4 D4 Bb3 F4", "B2 C#3 E3 F#3 G#3 B3", "F4"]))
SAMPLE = random.Random(4).sample(CASES, 6)


@pytest.mark.parametrize(("name", "worst", "notes"), [
    pytest.param(*case, marks=() if case in SAMPLE else pytest.mark.whole) for case in CASES])
def test_the_advice_is_never_worse_than_none(name: str, worst: bool, notes: str) -> None:
    one = planner(notes, name)
    advice = advise([one], limits(one.horn), worst=worst)
    first, last = advice.worst
    before = abs(first.before.farthest_cents) if worst else advice.rms_cents[0]
    after = abs(last.after.farthest_cents) if worst else advice.rms_cents[1]
    assert sqrt(after ** 2 + UNUSUAL_CENTS ** 2 * advice.refingered) <= before + ALIKE_CENTS + 1e-9
    assert all(0 <= pull <= advice.limits_mm[slide] for slide, pull in advice.pulls_mm.items())


def test_kept_slides_stay_and_true_music_needs_no_pull() -> None:
    one = planner(LOW)
    still = advise([one], dict.fromkeys(slides(one.horn), 0))
    assert set(still.pulls_mm.values()) == {0}
    assert still.rms_cents[0] == still.rms_cents[1]
    assert advise([one], limits(one.horn, **{"3": 0})).pulls_mm["3"] == 0
    assert set(advise([planner("Bb2 Bb3 Bb2 F3")], limits(one.horn)).pulls_mm.values()) == {0}


def test_the_longer_music_has_more_say() -> None:
    # 2-3 wants the third slide a little out, 1-3 far out.
    near, far = planner("F#3 C#3 F#3 C#4"), planner("C3 F2 C3 C4")
    only = limits(near.horn, main=0, **{"1": 0, "2": 0})
    mostly_near = advise([near, near, near, near, far], only).pulls_mm["3"]
    mostly_far = advise([near, far, far, far, far], only).pulls_mm["3"]
    assert mostly_near < mostly_far


def test_what_the_horn_does_not_have_counts_nowhere() -> None:
    one = planner(f"{LOW} C2 Eb2")
    advice = advise([one], limits(one.horn))
    assert advice.beyond == (36, 39)
    assert {note.midi for note in advice.notes} == {40, 41, 43, 46, 48, 53}
    assert advice.rms_cents == advise([planner(LOW)], limits(one.horn)).rms_cents


def test_states_not_learned_are_no_way_out() -> None:
    one = planner(LOW, "euphonium-4", learned=("1", "2", "1-2", "2-3", "1-3", "1-2-3"))
    advice = advise([one], limits(one.horn))
    assert not any("4" in label for note in advice.notes for label in note.after.labels)


def test_an_attachment_pulled_far_enough_brings_low_b() -> None:
    # S22, copy of "Trombone", pinocchiopedia.com: B1 only when the attachment is pulled to E. By hand: it needs
    # 1.8748 tubes less the 0.4392 of 650 mm of slide, where F has 1.3387: 143 mm.
    one = Planner(line_of("C3 B1 C3 D3 B1 F2"), load_horn("tenor-f"))
    near = advise([one], limits(one.horn))
    assert near.beyond == (35,)
    advice = advise([one], limits(one.horn, T=150))
    low = advice.notes[0]
    assert (low.midi, low.before.label) == (35, None)
    assert low.after.label is not None
    assert 141 <= advice.pulls_mm["T"] <= 145
    assert advice.beyond == ()


def test_lines_on_different_horns_are_the_callers_mistake() -> None:
    with pytest.raises(ValueError, match="one horn"):
        advise([planner(LOW), planner(LOW, "euphonium-4")], limits(load_horn("euphonium-4")))
    with pytest.raises(ValueError, match="with notes"):
        advise([], {})
    with pytest.raises(Unreadable, match=r"euphonium-3 has none of these notes, whatever is pulled\."):
        advise([planner("C2 Eb2")], limits(load_horn("euphonium-3")))


# --- from the command line -----------------------------------------------------------------------------------------


def run(*arguments: str):
    return CliRunner().invoke(tune.command, arguments, catch_exceptions=False)


def test_the_command_says_it_in_a_sentence_and_writes_the_horn(tmp_path: Path) -> None:
    own = tmp_path / "pulled.toml"
    said = run("pull", SONG, "--horn", "euphonium-3", "--keep", "main", "--limit", "3=20", "-o", str(own))
    assert said.exit_code == 0
    assert "Pull out the " in said.stdout
    assert "third valve slide 20 mm" in said.stdout
    assert "Not on this horn with any slide pulled, and not counted: C2, D2 and E♭2." in said.stdout
    assert said.stdout.rstrip().splitlines()[-1].startswith("Caution: ")
    horn = load_horn(str(own))
    assert horn.name == "pulled"
    assert horn.loops[2].share == pytest.approx(0.191 + 40 / 2960.2, abs=1e-5)
    assert [path.name for path in tmp_path.iterdir()] == ["pulled.toml"]


def test_the_command_as_data() -> None:
    document = json.loads(run("pull", SONG, "--horn", "euphonium-4", "--worst", "--format", "json").stdout)
    assert document["schema"] == "lowbrass.tune-pull/1"
    assert document["aim"] == "worst"
    assert [one["slide"] for one in document["slides"]] == ["main", "1", "2", "3", "4"]
    assert all(isinstance(one["pull_mm"], int) and 0 <= one["pull_mm"] <= one["limit_mm"]
               for one in document["slides"])
    assert document["cautions"]
    assert abs(document["worst"]["after"]["off_cents"]) < abs(document["worst"]["before"]["off_cents"])
    assert sum(one["uses"] for one in document["notes"]) > 60


@pytest.mark.parametrize(("arguments", "code", "words"), [
    (("--horn", "euphonium-3", "--keep", "4"), 2, "euphonium-3 has no slide '4'; it has main, 1, 2, 3."),
    (("--horn", "euphonium-3", "--limit", "3=long"), 2, "'3=long' is no limit; write a slide and whole mm"),
    (("--horn", "euphonium-3", "--limit", "3=-4"), 2, "'3=-4' is no limit"),
])
def test_a_wrong_command_line(arguments: tuple[str, ...], code: int, words: str) -> None:
    said = run("pull", SONG, *arguments)
    assert said.exit_code == code
    assert words in " ".join(said.stderr.split()).replace("│ ", "")


def test_a_horn_of_the_other_family_is_told() -> None:
    with pytest.raises(Unreadable, match=r"there is no line with notes for tenor\. Name a horn of the parts' family"):
        run("pull", SONG, "--horn", "tenor")


def test_from_a_sheet_to_a_fitted_horn_as_processes(tmp_path: Path) -> None:
    def lowbrass(*arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run([sys.executable, "-m", "analyzer", "tune", *arguments], capture_output=True, text=True,
                              encoding="utf-8", check=False)

    table, own = tmp_path / "readings.csv", tmp_path / "mine.toml"
    made = lowbrass("sheet", "--horn", "euphonium-3", "-o", str(table))
    assert (made.returncode, made.stdout) == (0, "")
    bare = lowbrass("fit", str(table), "--horn", "euphonium-3", "-o", str(own))
    assert bare.returncode == 1
    assert bare.stderr.startswith("readings.csv, line 1: no line holds a reading.")
    assert not own.exists()
    # Ten cents sharp all over: the sheet filled in with what the profile sounds, and ten more.
    filled = []
    horn = load_horn("euphonium-3")
    for line in table.read_text(encoding="utf-8").splitlines():
        if line.startswith(("#", "note")):
            filled.append(line)
            continue
        filled.append(f"{line}{sounding(horn, *line.split(',')[:2]) + 10:.0f}")
    table.write_text("\n".join(filled), encoding="utf-8")
    done = lowbrass("fit", str(table), "--horn", "euphonium-3", "-o", str(own))
    assert done.returncode == 0, done.stderr
    # By hand: 2960.2 / 2 * (2 ** (10 / 1200) - 1) is 8.6 mm.
    assert re.search(r"stands 10 cents sharp: pull the main tuning slide out another [89] mm", done.stdout)
    assert done.stderr.strip() == f"Wrote {own}; use it as --horn {own}."
    assert "origin" not in own.read_text(encoding="utf-8")
    assert load_horn(str(own)).loops[0].evidence.kind == "measured"
    again = lowbrass("fit", str(table), "--horn", str(own), "--format", "json")
    changes = {one["what"] + one["name"]: one["change"] for one in json.loads(again.stdout)["found"]}
    assert changes["horn"] == pytest.approx(0, abs=0.5)


def sounding(horn: Horn, note: str, held: str) -> float:
    from analyzer.horns.candidates import candidates
    from analyzer.pitch import parse_pitch

    return next(one.off_cents for one in candidates(horn, parse_pitch(note).midi) if one.label == held)
