"""Files are written whole or not at all: links, devices, pipes, and a kill at every step of every writer."""

import os
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
