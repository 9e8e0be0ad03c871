"""No user sees a traceback: a fault of ours is one line and a private report; a full disk is one line."""

import os
import stat
import sys
from pathlib import Path

import pytest

from tests.borders.running import TRACEBACK, lowbrass, written

posix = pytest.mark.skipif(sys.platform == "win32", reason="devices and rights of POSIX")
_BROKEN = """
import sys
import analyzer.analysis as analysis
def broken(*args, **more):
    raise KeyError("Anna")
analysis.analyse = broken
from analyzer.cli import main
sys.argv = ["lowbrass", "map", sys.argv[1]]
main()
"""


def _with_a_fault(score: Path, state: str) -> tuple[int, str]:
    import subprocess

    done = subprocess.run([sys.executable, "-c", _BROKEN, str(score)], capture_output=True, text=True, check=False,
                          env={**os.environ, "LOWBRASS_STATE": state}, timeout=60)
    assert done.stdout == ""
    return done.returncode, done.stderr


@posix
def test_a_fault_is_one_line_and_a_private_report(tmp_path: Path) -> None:
    state = tmp_path / "state"
    code, said = _with_a_fault(written(tmp_path), str(state))
    assert code == 70
    assert len(said.splitlines()) == 1
    assert TRACEBACK not in said
    report, = state.iterdir()
    assert str(report) in said
    assert stat.S_IMODE(report.stat().st_mode) == 0o600
    assert stat.S_IMODE(state.stat().st_mode) == 0o700
    text = report.read_text(encoding="utf-8")
    assert TRACEBACK in text
    # The score's name stands on the command line alone, and that is not written down.
    assert "four.musicxml" not in text


@posix
def test_a_fault_whose_report_cannot_be_written_is_said_all_the_same(tmp_path: Path) -> None:
    code, said = _with_a_fault(written(tmp_path), "/dev/null/nowhere")
    assert code == 70
    assert len(said.splitlines()) == 1
    assert "could not be saved" in said


@posix
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full")
@pytest.mark.parametrize("command", ["parts", "map"])
@pytest.mark.parametrize("form", ["text", "json", "csv"])
def test_full_disk_on_standard_output_is_one_line(tmp_path: Path, command: str, form: str) -> None:
    with open("/dev/full", "w") as full:  # noqa: PTH123  a device
        done = lowbrass(command, written(tmp_path), "--format", form, capture_output=False, stdout=full,
                        stderr=-1)
    assert done.returncode == 1
    assert TRACEBACK not in done.stderr
    assert all(line.endswith("]") for line in done.stderr.splitlines()), "each line is a problem with its code"
    assert done.stderr.splitlines()[-1:] == [
        "standard output: cannot be written (No space left on device). Make room, or send it elsewhere. [cannot-write]"]


@posix
def test_full_disk_in_help_and_for_standard_error(tmp_path: Path) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("no /dev/full")
    with open("/dev/full", "w") as full:  # noqa: PTH123
        done = lowbrass("--help", capture_output=False, stdout=full, stderr=-1)
        assert done.returncode == 1
        assert len(done.stderr.splitlines()) == 1
        done = lowbrass("map", tmp_path / "none.xml", capture_output=False, stdout=-1, stderr=full)
        assert done.returncode == 1
