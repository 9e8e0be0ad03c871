"""What once felled a command, and a seeded sample of damaged input, through every command."""

import sys
from pathlib import Path

import pytest

from analyzer.cli import COMMANDS as EVERY
from tests.borders.fuzz import COMMANDS, CRASHERS, Trial, fallen, lines, run, table, trial, warm_up
from tests.borders.inputs import BASE, KINDS, RIGHT

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="forks and limits of POSIX"),
    pytest.mark.filterwarnings("ignore:This process:DeprecationWarning"),
]
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


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_whole_input_is_answered(tmp_path: Path, command: tuple[str, ...]) -> None:
    """Else its damaged runs would be refused for another reason than the damage."""
    ended, _, _ = run(Trial(command, "", {}, dict(RIGHT)), tmp_path / "run")
    assert ended == "done", (tmp_path / "run" / "said.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize("crasher", sorted(CRASHERS.iterdir()), ids=lambda path: path.stem)
def test_what_once_felled_a_command_is_answered(tmp_path: Path, crasher: Path) -> None:
    kind = next(kind for kind, each in KINDS.items() if Path(each.name).suffix == crasher.suffix)
    commands = (COMMANDS[4], *_PAGES[::3]) if kind == "score" else [row for row in COMMANDS if f"{{{kind}}}" in row]
    for command in commands:
        ended, *_ = run(Trial(command, kind, {kind: crasher.read_bytes()}, dict(RIGHT)), tmp_path / "run", limit_s=2)
        assert ended in ("done", "refused"), (command, ended)


def test_a_sample_of_damaged_input() -> None:
    commands, _ = table(range(500, 500 + len(COMMANDS)))
    assert not fallen(commands), "\n".join((*lines(commands), *fallen(commands)))
    assert sum(row.ended["done"] for row in commands.values()) > len(COMMANDS) // 4, "hardly anything is read"
