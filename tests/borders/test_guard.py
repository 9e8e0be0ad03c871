"""Foreign code dies, hangs and eats memory, and the command lives on and says so in one line."""

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

from analyzer.cli import cli
from analyzer.guard import MEMORY_VARIABLE, TIME_VARIABLE, guarded, limits_told
from analyzer.problem import Unreadable
from tests.borders import working
from tests.borders.running import TRACEBACK, lowbrass, written
from tests.score.build import forward, note, score

posix = pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
# One rest without end, as a damaged export has it; the engraver and music21 each make hundreds of measures of it.
ENDLESS = score(note("C3", 4) + forward(9_999_999) + note("D3", 4), note("C3", 16))


@pytest.fixture
def short(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(TIME_VARIABLE, "1.5")
    monkeypatch.setenv(MEMORY_VARIABLE, "512")


def test_a_worker_stays_for_the_next_piece() -> None:
    assert guarded(working.double, 21, where="x") == 42
    first = guarded(working.process, where="x")
    assert first == guarded(working.process, where="x") != os.getpid()
    assert guarded(working.print_then, 5, where="x") == 5


def test_an_exception_comes_through_and_the_worker_lives() -> None:
    before = guarded(working.process, where="x")
    with pytest.raises(ValueError, match="no music") as raised:
        guarded(working.refuse, "no music", where="x")
    assert any("worker process" in one for one in raised.value.__notes__)
    with pytest.raises(RuntimeError, match="odd"):
        guarded(working.refuse_without_pickling, where="x")
    assert guarded(working.process, where="x") == before


@posix
@pytest.mark.parametrize("work", ["crash", "abort", "divide", "leave"])
def test_a_death_is_one_line_and_the_next_piece_is_done(work: str) -> None:
    with pytest.raises(Unreadable) as refused:
        guarded(getattr(working, work), where="March.musicxml")
    line = str(refused.value)
    assert line.startswith("March.musicxml: engraving broke off")
    assert ("exit code 7" if work == "leave" else "signal") in line
    assert "\n" not in line
    assert guarded(working.double, 1, where="x") == 2


@posix
def test_limits_strike_and_are_named(short: None) -> None:
    begin = time.monotonic()
    with pytest.raises(Unreadable, match=r"stopped after 1\.5 seconds.*--time-limit") as refused:
        guarded(working.sleep, 60, where="x")
    assert refused.value.problem.code == "too-slow"
    assert time.monotonic() - begin < 20
    with pytest.raises(Unreadable, match=r"more than 512 MiB.*--memory-limit") as refused:
        guarded(working.hold, 2048, where="x")
    assert refused.value.problem.code == "out-of-memory"
    assert guarded(working.hold, 64, where="x") == 64 * 2**20


@pytest.mark.parametrize("value", ["nan", "inf", "-1", "0", "x", "1e99"])
@pytest.mark.parametrize("variable", [TIME_VARIABLE, MEMORY_VARIABLE])
def test_limits_that_are_none_are_refused(monkeypatch: pytest.MonkeyPatch, variable: str, value: str) -> None:
    monkeypatch.setenv(variable, value)
    with pytest.raises(Unreadable, match="is no limit"):
        limits_told()
    option = "--time-limit" if variable == TIME_VARIABLE else "--memory-limit"
    assert CliRunner().invoke(cli, [option, value, "horns"]).exit_code == 2


@posix
def test_a_worker_ends_with_a_parent_that_is_killed() -> None:
    code = ("import os, signal; from analyzer.guard import guarded; from tests.borders import working; "
            "print(guarded(working.process, where='x'), flush=True); os.kill(os.getpid(), signal.SIGKILL)")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, timeout=60,
                          cwd=Path(__file__).parents[2])
    worker = int(done.stdout)
    for _ in range(100):
        try:
            os.kill(worker, 0)
        except ProcessLookupError:
            return
        if _zombie(worker):
            return
        time.sleep(0.1)
    pytest.fail("the worker outlived the process that it worked for")


def _zombie(process: int) -> bool:
    stat = Path(f"/proc/{process}/stat")
    return stat.exists() and stat.read_text().rsplit(")", 1)[1].split()[0] == "Z"


@posix
@pytest.mark.filterwarnings("ignore:This process:DeprecationWarning")
def test_a_forked_process_takes_a_worker_of_its_own() -> None:
    ours = guarded(working.process, where="x")
    child = os.fork()
    if child == 0:
        try:
            os._exit(int(guarded(working.process, where="x") == ours))
        finally:
            os._exit(9)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
    assert guarded(working.process, where="x") == ours


@posix
@pytest.mark.parametrize("command", [("map", "page.svg", "verovio"), ("map", "page.pdf", "verovio"),
                                     ("map", "page.html", "verovio"), ("drill", "sheet.musicxml", "music21"),
                                     ("drill", "sheet.pdf", "music21")])
def test_a_rest_without_end_is_stopped(tmp_path: Path, command: tuple[str, str, str]) -> None:
    name, output, library = command
    pytest.importorskip(library)
    begin = time.monotonic()
    done = lowbrass("--time-limit", "3", name, written(tmp_path, ENDLESS), "-o", tmp_path / output)
    assert time.monotonic() - begin < 60
    assert done.returncode == 1
    assert TRACEBACK not in done.stderr
    assert "stopped after 3 seconds" in done.stderr.splitlines()[-1]
    assert not (tmp_path / output).exists()


@posix
@pytest.mark.parametrize("ending", [".svg", ".pdf", ".html"])
def test_an_engraver_that_dies_takes_no_command_with_it(tmp_path: Path, ending: str) -> None:
    """An engraver that is ended by a signal, put in the place of the real one by a folder that is found first."""
    pytest.importorskip("verovio")
    import verovio

    fake = tmp_path / "fake" / "verovio"
    fake.mkdir(parents=True)
    (fake / "__init__.py").write_text("import os\nLOG_OFF = 0\ndef enableLog(_): os.abort()\n", encoding="utf-8")
    (fake / "data").symlink_to(Path(verovio.__file__).parent / "data")
    done = subprocess.run(
        [sys.executable, "-m", "analyzer", "map", str(written(tmp_path)), "-o", str(tmp_path / f"page{ending}")],
        capture_output=True, text=True, check=False, timeout=60, cwd=Path(__file__).parents[2],
        env={**os.environ, "PYTHONPATH": str(fake.parent)})
    assert done.returncode == 1
    assert "broke off" in done.stderr.splitlines()[-1]
    assert TRACEBACK not in done.stderr
    assert not (tmp_path / f"page{ending}").exists()
