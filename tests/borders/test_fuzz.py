"""Scores that once felled a command, and a seeded sample of damaged ones, through every command."""

import sys
from pathlib import Path

import pytest

from tests.borders.fuzz import COMMANDS, CRASHERS, MEMORY_LIMIT_MIB, lines, run, table

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="forks and limits of POSIX"),
    pytest.mark.filterwarnings("ignore:This process:DeprecationWarning"),
]
_PAGES = [command for command in COMMANDS if command[-1].endswith((".svg", ".pdf", ".musicxml", ".mid", ".wav"))]


@pytest.fixture(scope="module", autouse=True)
def _whole() -> None:
    for library in ("verovio", "music21", "pandas"):
        pytest.importorskip(library)


@pytest.mark.parametrize("crasher", sorted(CRASHERS.glob("*.musicxml")), ids=lambda path: path.stem)
def test_what_once_felled_a_command_is_answered(tmp_path: Path, crasher: Path) -> None:
    for command in (COMMANDS[1], *_PAGES[::3], ("drill", "{score}", "-o", "{out}.musicxml")):
        ended, seconds, mib = run(command, crasher.read_bytes(), tmp_path, limit_s=2)
        assert ended in ("done", "refused"), (command, ended)
        assert mib < 2 * MEMORY_LIMIT_MIB, (command, seconds)


def test_a_sample_of_damaged_scores() -> None:
    rows = table(range(500, 500 + 2 * len(COMMANDS)))
    assert not any(row.fallen for row in rows.values()), "\n".join(lines(rows))
    assert sum(row.ended["done"] for row in rows.values()) > len(COMMANDS) // 2, "hardly anything is read"
