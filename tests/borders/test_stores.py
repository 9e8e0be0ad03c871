"""Broken stores: refused in one line, or mended by doing the damaged file again; no wrong record comes back."""

import hashlib
import json
import os
import sqlite3
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from analyzer.cli import cli
from tests.borders.running import written


def _survey(folder: Path, store: Path) -> Result:
    return CliRunner().invoke(cli, ["survey", str(folder), "--store", str(store), "--jobs", "1", "--format", "json"])


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, bytes, str]:
    """A folder of one score, its store, and what the survey says."""
    folder = tmp_path_factory.mktemp("scores")
    written(folder)
    store = tmp_path_factory.mktemp("store") / "kept.sqlite"
    result = _survey(folder, store)
    assert result.exit_code == 0, result.output
    return folder, store.read_bytes(), result.stdout


def _record(change: Callable[[str], object], *, digest: bool = False) -> Callable[[Path], None]:
    """Change the record; with `digest`, as somebody would who knows how the digest is made."""
    def work(path: Path) -> None:
        with sqlite3.connect(path) as base:
            *key, text = base.execute("SELECT name, content, settings, record FROM record").fetchone()
            new = change(text)
            base.execute("UPDATE record SET record = ?", (new,))
            if digest:
                base.execute("UPDATE record SET digest = ?",
                             (hashlib.sha256("\0".join([*key, str(new)]).encode()).hexdigest(),))
        base.close()
    return work


def _run(sql: str) -> Callable[[Path], None]:
    def work(path: Path) -> None:
        with sqlite3.connect(path) as base:
            base.executescript(sql)
        base.close()
    return work


def _without(key: str) -> Callable[[str], str]:
    def change(text: str) -> str:
        record = json.loads(text)
        del record[key]
        return json.dumps(record)
    return change


MENDED = {
    "no JSON": _record(lambda text: text[:-20]),
    "NaN": _record(lambda text: text.replace('"travel_mm": ', '"travel_mm": NaN, "x": ')),
    "NaN with its digest": _record(lambda text: text.replace('"travel_mm": ', '"travel_mm": NaN, "x": '), digest=True),
    "rows of text with their digest": _record(lambda text: json.dumps({**json.loads(text), "lines": ["x"]}),
                                              digest=True),
    "no lines, with its digest": _record(lambda text: _without("lines")(text), digest=True),
    "a list": _record(lambda text: f"[{text}]"),
    "a number": _record(lambda text: 7),
    "no lines": _record(_without("lines")),
    "other figures": _record(lambda text: text.replace('"notes": 4', '"notes": 9')),
    "lines of text": _record(lambda text: json.dumps({**json.loads(text), "lines": ["x"]})),
    "no text": _record(lambda text: b"\xff\xfe\x00"),
    "nested": _record(lambda text: "[" * 20_000),
    "no digest": _run("UPDATE record SET digest = ''"),
    "older": _run("PRAGMA user_version = 2"),
    "emptied": _run("DELETE FROM record"),
}
REFUSED = {
    "newer": _run("PRAGMA user_version = 99"),
    "another program's": _run("PRAGMA application_id = 1"),
    "other columns": _run("DROP TABLE record; CREATE TABLE record (a TEXT)"),
    "cut off": lambda path: path.write_bytes(path.read_bytes()[:5000]),
    "overwritten": lambda path: path.write_bytes(path.read_bytes()[:100] + b"\xa5" * 8000),
    "text": lambda path: path.write_bytes(b"this is a letter to the band parents\n" * 200),
}


@pytest.mark.parametrize("how", MENDED)
def test_a_damaged_record_is_worked_out_again(good: tuple[Path, bytes, str], tmp_path: Path, how: str) -> None:
    folder, whole, said = good
    store = tmp_path / "kept.sqlite"
    store.write_bytes(whole)
    MENDED[how](store)
    result = _survey(folder, store)
    assert result.exit_code == 0, result.output
    assert result.stdout == said
    # And it is whole again.
    again = _survey(folder, store)
    assert "were in the store already, 0 done now" in again.stderr
    assert again.stdout == said


@pytest.mark.parametrize("how", REFUSED)
def test_a_broken_store_is_refused_in_one_line(good: tuple[Path, bytes, str], tmp_path: Path, how: str) -> None:
    folder, whole, _ = good
    store = tmp_path / "kept.sqlite"
    store.write_bytes(whole)
    REFUSED[how](store)
    before = store.read_bytes()
    result = _survey(folder, store)
    assert result.exit_code == 1
    assert type(result.exception).__name__ == "Unreadable", result.exception
    assert "\n" not in str(result.exception)
    assert store.read_bytes() == before, "a store that is refused stays as it was"


@pytest.mark.skipif(sys.platform == "win32", reason="pipes of POSIX")
def test_a_pipe_is_no_store(good: tuple[Path, bytes, str], tmp_path: Path) -> None:
    pipe = tmp_path / "kept.sqlite"
    os.mkfifo(pipe)
    result = _survey(good[0], pipe)
    assert result.exit_code == 1
    assert "no store" in str(result.exception)


def test_a_store_that_is_whole_is_used(good: tuple[Path, bytes, str], tmp_path: Path) -> None:
    store = tmp_path / "kept.sqlite"
    store.write_bytes(good[1])
    result = _survey(good[0], store)
    assert "1 were in the store already" in result.stderr
    assert result.stdout == good[2]
