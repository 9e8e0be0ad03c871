"""A survey's lines are read from the store at each pass: the same as from memory, and never all at once."""

import json
from pathlib import Path

import pytest

from analyzer.library.files import find_entries
from analyzer.library.store import Store
from analyzer.library.survey import Options, Survey, assemble, survey_bytes, survey_folder
from analyzer.plain import json_pieces, json_text
from analyzer.report.survey.document import streamed_document, survey_document
from analyzer.report.survey.table import survey_csv, survey_parquet
from tests.benchmarks import making


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("library")
    for number in range(6):
        (folder / f"study {number}.musicxml").write_bytes(making.study(4, seed=number))
    (folder / "two.musicxml").write_bytes(making.score(("Bass Trombone", "Euphonium"), 4, seed=9))
    (folder / "bad.xml").write_bytes(b"<score-partwise>")
    return folder


class Counting(Store):
    read = 0

    def record(self, name: str, content: str | None) -> dict[str, object]:
        Counting.read += 1
        return super().record(name, content)


def stored(folder: Path, store: Store) -> Survey:
    entries = find_entries(folder)
    passing = {}
    for entry in entries:
        record = survey_bytes(entry.name, (folder / entry.name).read_bytes(), Options())
        if entry.name == "study 3.musicxml" or not store.keep(entry, record):
            passing[entry.name] = record
    return assemble(str(folder), entries, store.done(entries, passing))


def test_from_a_store_as_from_memory(folder: Path) -> None:
    with Store(None, Options()) as store:
        mine, plain = stored(folder, store), survey_folder(folder, Options())
        assert list(mine.lines) == list(plain.lines)
        assert len(mine.lines) == len(list(mine.lines)) == 16
        assert list(mine.files) == list(plain.files)
        assert survey_document(mine) == survey_document(plain)
        assert list(survey_csv(mine)) == list(survey_csv(plain))
        whole = json_text(survey_document(plain))
        assert "".join(json_pieces(streamed_document(mine))) == whole
        assert len(json.loads(whole)["lines"]) == 16
        pytest.importorskip("pyarrow")
        assert b"".join(survey_parquet(mine)) == b"".join(survey_parquet(plain))


def test_a_pass_reads_each_record_once(folder: Path) -> None:
    with Counting(None, Options()) as store:
        survey = stored(folder, store)
        Counting.read = 0
        lines = iter(survey.lines)
        next(lines)
        assert Counting.read == 1
        assert sum(1 for _ in lines) == 15
        assert Counting.read == 6           # one of the seven scores is at hand, and gave its lines from there


def test_rows_of_files_are_made_when_they_are_asked_for(folder: Path) -> None:
    with Counting(None, Options()) as store:
        survey = stored(folder, store)
        Counting.read = 0
        assert survey.files.statuses == {"read": 7, "unreadable": 1}
        assert [row["file"] for row in survey.files.having("unreadable")] == ["bad.xml"]
        assert Counting.read == 1
        assert survey.files[1]["file"] == "study 0.musicxml"
        assert [row["file"] for row in survey.files[-2:]] == ["study 5.musicxml", "two.musicxml"]


def test_what_a_file_takes_in_memory_is_its_name_and_hash(tmp_path: Path) -> None:
    # So that of ten thousand files the asking process holds some MiB: names, places and hashes, no row of any table.
    import tracemalloc

    for number in range(400):
        (tmp_path / f"study {number:03}.musicxml").write_bytes(making.study(2, seed=number))
    record = survey_bytes("study.musicxml", making.study(2), Options())
    find_entries(tmp_path)
    with Store(None, Options()) as store:
        for number, entry in enumerate(find_entries(tmp_path)):
            store.keep(entry, {**record, "content": f"{number:064x}", "title": f"Study {number}" * 50})
        tracemalloc.start()
        try:
            entries = find_entries(tmp_path)
            survey = assemble("x", entries, store.done(entries))
            held = tracemalloc.get_traced_memory()[0]
            assert sum(1 for _ in survey.files) == 400
            assert held / 400 < 800 + len(str(tmp_path)) * 2
        finally:
            tracemalloc.stop()


def test_csv_can_be_read_in_parts(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pandas = pytest.importorskip("pandas")
    monkeypatch.setattr("analyzer.tables._PIECE", 5)
    survey = survey_folder(folder, Options())
    pieces = list(survey_csv(survey))
    assert [piece.count("\n") for piece in pieces] == [1, 5, 5, 5, 1]
    table = tmp_path / "table.csv"
    table.write_text("".join(pieces), encoding="utf-8")
    parts = list(pandas.read_csv(table, chunksize=6))
    assert [len(part) for part in parts] == [6, 6, 4]
    assert sum(int(part["notes"].sum()) for part in parts) == sum(row["notes"] for row in survey.lines)
    assert [name for part in parts for name in part["horn"]] == [row["horn"] for row in survey.lines]


def test_a_table_can_be_read_in_parts(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    import io

    monkeypatch.setattr("analyzer.report.survey.table._GROUP", 5)
    survey = survey_folder(folder, Options())
    file = parquet.ParquetFile(io.BytesIO(b"".join(survey_parquet(survey))))
    assert [file.metadata.row_group(k).num_rows for k in range(file.num_row_groups)] == [5, 5, 5, 1]
    first = file.read_row_group(1, columns=["file", "horn", "notes"]).to_pylist()
    assert [row["horn"] for row in first] == [row["horn"] for row in list(survey.lines)[5:10]]
