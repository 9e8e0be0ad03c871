"""A kill at every step of every writer leaves the old file or the new one; and there is no writer besides."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import analyzer
from tests.borders.fuzz import COMMANDS
from tests.borders.inputs import INSIDE, KINDS, RIGHT, put

ROOT = Path(analyzer.__file__).parent
posix = pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")


def _writes(row: tuple[str, ...]) -> bool:
    return "-o" in row or "--keep" in row or row[0] == "progress" or row[:2] == ("section", "new")


WRITERS = [row for row in COMMANDS if _writes(row)]
_FIRST = {row[:1] if row[0] != "tune" else row[:2]: row for row in reversed(WRITERS)}


@posix
@pytest.mark.parametrize("row", [pytest.param(row, marks=() if row in _FIRST.values() else pytest.mark.whole)
                                 for row in WRITERS], ids=" ".join)
def test_a_kill_at_any_step_leaves_the_old_file_or_the_new_one(tmp_path: Path, row: tuple[str, ...]) -> None:
    for library in ("verovio", "music21", "soundfile", "tomlkit", "scipy"):
        pytest.importorskip(library)
    folder = tmp_path / "run"
    places = put(folder, {*KINDS, *INSIDE}, {})
    words = {**RIGHT, "state": "TS"} if "--learned" in row else RIGHT     # what is learned already is not written
    asked = [word.format(**places, **words).replace("Chair_", "Chair ") for word in row]
    there = {path for path in folder.rglob("*") if path.is_file()}
    if row[:2] == ("section", "new"):                        # it never overwrites
        asked[-1] = str(folder / "section.new")
    done = _killed("analyzer.files", "write_file", *asked)
    assert "steps" in done.stderr, f"it never came to write: {done.stderr}"
    name = done.stderr.split("|")[1]
    # What a kill leaves behind besides is hidden and says whose it is.
    left = {path.name for path in folder.rglob("*") if path.is_file() and path not in there} - {name}
    assert all(each.startswith(".lowbrass.") or each == "kept.sqlite" for each in left), left


@posix
def test_what_the_page_keeps_too(tmp_path: Path) -> None:
    assert "steps" in _killed("analyzer.web.memory", "write_private", "remember", str(tmp_path / "page")).stderr


def _killed(*arguments: str) -> subprocess.CompletedProcess[str]:
    done = subprocess.run([sys.executable, "-m", "tests.borders.killing", *arguments], capture_output=True, text=True,
                          check=False, timeout=240, cwd=ROOT.parent)
    assert done.returncode == 0, done.stderr
    return done


# Who else opens a file for writing, and why that needs no old one kept.
_OTHERS = {
    "files.py": "the writer itself",
    "web/memory.py": "the page's own writer, killed above",
    "web/shelf.py": "files that a browser sent, in a folder that goes with the page",
    "web/practice_answers.py": "a recording that a browser sent, in a folder that goes with the answer",
    "web/server.py": "the door, new in a folder of its own",
    "failure.py": "a report, new each time",
    "schemas/build.py": "for developers",
    "library/store.py": "SQLite's own transactions: tests/library/test_survey_run.py kills it",
    "cli.py": "the device that is nothing",
    "hearing/sound.py": "the device that is nothing",
    "serving.py": "a pipe",
}
_WRITING = {"write_bytes", "write_text", "mkstemp", "fdopen", "connect", "O_WRONLY"}


def test_there_is_no_other_writer() -> None:
    found: dict[str, set[str]] = {}
    for path in ROOT.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            words = {node.attr} & _WRITING if isinstance(node, ast.Attribute) else set()
            if isinstance(node, ast.Call) and getattr(node.func, "id", getattr(node.func, "attr", "")) == "open":
                words |= {arg.value for arg in node.args if isinstance(arg, ast.Constant) and isinstance(arg.value, str)
                          and set(arg.value) & set("wax+") and len(arg.value) < 4}
            if words:
                found.setdefault(path.relative_to(ROOT).as_posix(), set()).update(words)
    assert "files.py" in found, "it sees nothing"
    assert found.keys() <= _OTHERS.keys(), {name: found[name] for name in found.keys() - _OTHERS.keys()}
