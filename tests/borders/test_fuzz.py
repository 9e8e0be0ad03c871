"""What once felled a command, and a seeded sample of damaged input, through every command."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from analyzer.cli import COMMANDS as EVERY
from tests.borders.fuzz import COMMANDS, CRASHERS, Trial, run, trial, warm_up
from tests.borders.inputs import BASE, KINDS, RIGHT

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="forks and limits of POSIX"),
    pytest.mark.filterwarnings("ignore:This process:DeprecationWarning"),
]
ROOT = Path(__file__).parents[2]
_PAGES = [command for command in COMMANDS
          if "{score}" in command and command[-1].endswith((".svg", ".pdf", ".musicxml", ".mid", ".wav"))]


@pytest.fixture(scope="module", autouse=True)
def _whole() -> None:
    for library in ("verovio", "music21", "pandas", "soundfile", "tomlkit", "icalendar", "starlette", "httpx"):
        pytest.importorskip(library)
    warm_up()


def test_every_command_is_among_them() -> None:
    assert {row[0] for row in COMMANDS} == set(EVERY)
    assert {row[1] for row in COMMANDS if row[0] == "tune"} == {"sheet", "fit", "pull", "chords", "moves"}
    used = {trial(seed, COMMANDS[seed % len(COMMANDS)], BASE).kind for seed in range(20 * len(COMMANDS))}
    assert used >= KINDS.keys()


def _ran(*words: str, log: Path) -> list[tuple[str, str]]:
    """Return the command and the end of each run that a process of its own made.

    Runs are forked, which a process with the threads of a test runner in it is no safe start for.
    """
    done = subprocess.run([sys.executable, "-m", "tests.borders.fuzz", "--log", str(log), *words], cwd=ROOT,
                          capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    rows = [json.loads(line) for line in log.read_text(encoding="utf-8").splitlines()]
    return [(row[1], row[3]) for row in rows]


def test_whole_input_is_answered(tmp_path: Path) -> None:
    """Else its damaged runs would be refused for another reason than the damage."""
    ended = _ran("--whole", log=tmp_path / "log")
    assert [each for each in ended if each[1] != "done"] == []
    assert [command for command, _ in ended] == [" ".join(row) for row in COMMANDS]


@pytest.mark.parametrize("crasher", sorted(CRASHERS.iterdir()), ids=lambda path: path.stem)
def test_what_once_felled_a_command_is_answered(tmp_path: Path, crasher: Path) -> None:
    kind = next(kind for kind, each in KINDS.items() if Path(each.name).suffix == crasher.suffix)
    commands = (COMMANDS[4], *_PAGES[::3]) if kind == "score" else [row for row in COMMANDS if f"{{{kind}}}" in row]
    for command in commands:
        ended, *_ = run(Trial(command, kind, {kind: crasher.read_bytes()}, dict(RIGHT)), tmp_path / "run", limit_s=2)
        assert ended in ("done", "refused"), (command, ended)


def test_a_sample_of_damaged_input(tmp_path: Path) -> None:
    ended = _ran("--seed", "500", "--count", str(len(COMMANDS)), log=tmp_path / "log")
    assert len(ended) == len(COMMANDS)
    assert {end for _, end in ended} <= {"done", "refused"}
    assert sum(end == "done" for _, end in ended) > len(COMMANDS) // 4, "hardly anything is read"
