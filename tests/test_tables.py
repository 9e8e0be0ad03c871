"""Tables as CSV: the same from every command, without pandas, read back by another program."""

import csv
import io
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from analyzer.toml_file import toml_value

ROOT = Path(__file__).parent.parent
SCORE = "sample_scores/harbour-march-trio.musicxml"
WITHOUT_PANDAS = "import sys; sys.modules['pandas'] = None; from analyzer.cli import main; main()"


@pytest.mark.parametrize("words", [
    ["map", SCORE], ["parts", SCORE], ["chart", "tenor-f"],
    ["survey", "sample_scores", "--jobs", "1"],
], ids=lambda words: words[0])
def test_csv_needs_no_pandas_and_is_read_back(words: list[str]) -> None:
    done = subprocess.run([sys.executable, "-c", f"if __name__ == '__main__': {WITHOUT_PANDAS}", *words, "--format",
                           "csv"], capture_output=True, text=True, encoding="utf-8", cwd=ROOT, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    assert "\r" not in done.stdout
    rows = list(csv.DictReader(io.StringIO(done.stdout), strict=True))
    assert len(rows) > 2
    # Every row has all cells and no more, and numbers that count stay whole.
    assert all(None not in row and None not in row.values() for row in rows)
    for column in {"partial", "notes", "lines"} & set(rows[0]):
        assert all(row[column].isdigit() or row[column] == "" for row in rows), column


@pytest.mark.parametrize("value", ['a "quoted" \\ text', "tab\tand\nline", "\x7f\x00", "Posaune\u2028\U0001f4ef",
                                   ["T", "TS"], True, 12.5, 3], ids=ascii)
def test_toml_reads_back_what_is_written(value: object) -> None:
    assert tomllib.loads(f"key = {toml_value(value)}")["key"] == value
