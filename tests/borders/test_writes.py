"""Files are written whole or not at all: links, devices, pipes, and a kill at every step of every writer."""

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from analyzer.files import write_file
from analyzer.problem import Unreadable
from tests.borders.running import lowbrass, written

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="links, pipes and signals of POSIX")


def test_a_link_is_followed(tmp_path: Path) -> None:
    real, folder = tmp_path / "real.txt", tmp_path / "folder"
    folder.mkdir()
    real.write_bytes(b"old")
    real.chmod(0o640)
    link, dangling = folder / "link.txt", folder / "dangling.txt"
    link.symlink_to(real)
    dangling.symlink_to(tmp_path / "new.txt")
    write_file(link, b"new")
    write_file(dangling, b"made")
    assert link.is_symlink()
    assert dangling.is_symlink()
    assert real.read_bytes() == b"new"
    assert real.stat().st_mode & 0o777 == 0o640
    assert (tmp_path / "new.txt").read_bytes() == b"made"
    assert sorted(path.name for path in folder.iterdir()) == ["dangling.txt", "link.txt"]


def test_what_is_no_regular_file_is_refused_at_once(tmp_path: Path) -> None:
    pipe, folder, circle = tmp_path / "pipe.svg", tmp_path / "folder.svg", tmp_path / "circle.svg"
    os.mkfifo(pipe)
    folder.mkdir()
    circle.symlink_to(circle)
    for path, word in ((pipe, "a pipe"), (folder, "a folder"), (Path("/dev/null"), "a device"), (circle, "cannot"),
                       (tmp_path / "a\0b", "cannot"), (tmp_path / ("x" * 300), "cannot"),
                       (tmp_path / "none" / "x", "cannot")):
        begin = time.monotonic()
        with pytest.raises(Unreadable, match=word) as refused:
            write_file(path, b"x")
        assert refused.value.problem.code == "cannot-write"
        assert "\n" not in str(refused.value)
        assert time.monotonic() - begin < 1
    assert pipe.is_fifo()
    assert Path("/dev/null").is_char_device()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["circle.svg", "folder.svg", "pipe.svg"]


def test_a_command_refuses_a_pipe_without_a_reader(tmp_path: Path) -> None:
    pipe = tmp_path / "out.musicxml"
    os.mkfifo(pipe)
    done = lowbrass("map", written(tmp_path), "-o", pipe, timeout=30)
    assert done.returncode == 1
    assert "is a pipe, not a file" in done.stderr.splitlines()[-1]


def test_a_dash_is_standard_output(tmp_path: Path) -> None:
    done = lowbrass("section", "new", "-", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "[[player]]" in done.stdout
    assert list(tmp_path.iterdir()) == []


# Each writer: the command and the file that it writes.
_PLAYER = b'[player]\nname = "Chair 1"\nlearned = ["T"]\n'
WRITERS = {
    "map": (["map", "four.musicxml", "-o", "out.musicxml"], "out.musicxml"),
    "review": (["review", "four.musicxml", "--horn", "tenor", "--ossia", "-o", "out.musicxml"], "out.musicxml"),
    "write": (["write", "four.musicxml", "--part", "P1", "--for", "tenor", "-o", "out.musicxml"], "out.musicxml"),
    "drill": (["drill", "four.musicxml", "-o", "out.musicxml"], "out.musicxml"),
    "fit": (["fit", "four.musicxml", "--section", "band.toml", "-o", "out.html"], "out.html"),
    "horns": (["horns", "calibrate", "--known", "C3 6 496mm", "-o", "out.toml"], "out.toml"),
    "progress": (["progress", "player.toml", "--learned", "3"], "player.toml"),
    "section": (["section", "new", "section.toml"], "section.toml"),
    "survey": (["survey", "scores", "--jobs", "1", "-o", "out.csv"], "out.csv"),
}
_NEEDS = {"drill": "music21", "progress": "tomlkit"}


def _folder(tmp_path: Path) -> Path:
    folder = tmp_path / "scores"
    folder.mkdir()
    written(folder)
    written(tmp_path)
    (tmp_path / "player.toml").write_bytes(_PLAYER)
    (tmp_path / "band.toml").write_text('[[player]]\nname = "Chair 1"\nhorns = ["tenor"]\n', encoding="utf-8")
    return tmp_path


# A command runs once; where it comes to `write_file`, it forks for every step in it a process that is killed there.
_KILLING = """
import os, pathlib, signal, sys
import analyzer.files
from analyzer.cli import cli
target, *arguments = sys.argv[1:]
path = pathlib.Path(target)
state, steps = path.read_bytes() if path.exists() else None, 0

def look():
    return path.read_bytes() if path.exists() else None

def in_child(step):
    child = os.fork()
    if child:
        _, status = os.waitpid(child, 0)
        return os.WIFSIGNALED(status)
    count = 0
    def lines(frame, event, _):
        nonlocal count
        count += event == "line"
        if event == "line" and count == step:
            os.kill(os.getpid(), signal.SIGKILL)
        if event == "return" and frame.f_code is analyzer.files.write_file.__code__:
            os._exit(0)
        return lines
    return lines

def calls(frame, event, _):
    global steps
    if frame.f_code is not analyzer.files.write_file.__code__:
        return None
    def helpers(frame, event, _):
        return lines(frame, event, _) if frame.f_code.co_filename == analyzer.files.__file__ else None
    step, found = 0, []
    while True:
        step += 1
        lines = in_child(step)
        if callable(lines):
            sys.settrace(helpers)
            return lines
        found.append(look())
        if not lines:
            break
        if state is None:
            path.unlink(missing_ok=True)
        else:
            path.write_bytes(state)
    new = look()
    assert new != state, "the writer wrote nothing, so the test would see nothing"
    assert all(one in (state, new) for one in found), "half a file"
    assert found[0] == state and len(found) > 10
    print("steps", len(found), file=sys.__stderr__)
    os._exit(0)

sys.settrace(calls)
cli(arguments, standalone_mode=False)
"""


@pytest.mark.parametrize("writer", WRITERS)
def test_a_kill_at_any_step_leaves_the_old_file_or_the_new_one(tmp_path: Path, writer: str) -> None:
    pytest.importorskip(_NEEDS.get(writer, "click"))
    arguments, name = WRITERS[writer]
    folder = _folder(tmp_path)
    if writer != "section":                                  # it never overwrites
        (folder / name).exists() or (folder / name).write_bytes(b"old and whole")
    there = {path.name for path in folder.iterdir()}
    done = subprocess.run([sys.executable, "-c", _KILLING, name, *arguments], cwd=folder, capture_output=True,
                          text=True, check=False, timeout=120)
    assert done.returncode == 0, done.stderr
    assert "steps" in done.stderr, f"{writer} never came to write: {done.stderr}"
    # What a kill leaves behind besides is hidden and says whose it is.
    assert all(extra.startswith(".lowbrass.") or extra == name
               for extra in {path.name for path in folder.iterdir()} - there)
