"""What a command is told to read is a plain file, or refused at once: a pipe without a writer would keep it waiting."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.borders.fuzz import COMMANDS
from tests.borders.inputs import INSIDE, KINDS, RIGHT, put
from tests.borders.running import FOUR_NOTES, lowbrass, written

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pipes and devices of POSIX")
_NEEDS = {"readings": "scipy", "recording": "soundfile", "moves": "soundfile", "player": "tomlkit"}


def _row(kind: str) -> tuple[str, ...]:
    """Return a command that reads this kind of input."""
    return next(row for row in COMMANDS if f"{{{kind}}}" in " ".join(row) and row[0] != "serve")


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "solo"])
@pytest.mark.parametrize("what", ["pipe", "zeros", "folder"])
def test_no_file_is_one_line_at_once(tmp_path: Path, kind: str, what: str) -> None:
    pytest.importorskip(_NEEDS.get(kind, "click"))
    row = _row(kind)
    places = put(tmp_path / "run", {*KINDS, *INSIDE}, {})
    path = places[kind]
    path.unlink()
    if what == "pipe":
        os.mkfifo(path)
    elif what == "zeros":
        path.symlink_to("/dev/zero")
    else:
        path.mkdir()
    asked = [word.format(**places, **RIGHT).replace("Chair_", "Chair ") for word in row]
    done = lowbrass(*asked, timeout=60)
    if (kind, what) == ("recording", "folder"):              # a folder is a class there
        assert "--keep is for one recording" in done.stderr
        return
    assert done.returncode == 1, (asked, done.stdout, done.stderr)
    assert len(done.stderr.splitlines()) == 1
    assert done.stderr.rstrip().endswith("]"), "a problem with its code"


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash")
def test_a_process_substitution_is_told_to_be_saved_first(tmp_path: Path) -> None:
    """A score is told apart by what it holds and named in every message: what has no name is not taken."""
    path = written(tmp_path, FOUR_NOTES)
    done = subprocess.run(["bash", "-c", f"exec {sys.executable} -m analyzer map <(cat {path})"], capture_output=True,
                          text=True, check=False, timeout=60, cwd=Path(__file__).parents[2])
    assert done.returncode == 1
    line, = done.stderr.splitlines()
    assert "a pipe" in line
    assert "Save it as a file first" in line
