"""The survey under way: dying workers, kills, Ctrl-C, stores, jobs and engines."""

import csv
import io
import json
import multiprocessing
import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from analyzer.horns.profiles import load_horn
from analyzer.library.files import find_entries
from analyzer.library.limits import WorkerLimits, within
from analyzer.library.run import run_dask, run_pool
from analyzer.library.store import Store
from analyzer.library.survey import Options, Record, survey_bytes
from analyzer.problem import Unreadable
from tests.benchmarks import making

ROOT = Path(__file__).parents[2]
POSIX = pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX systems")


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twenty-four small studies and one bad file."""
    folder = tmp_path_factory.mktemp("library")
    for number in range(24):
        (folder / f"study {number:02}.musicxml").write_bytes(making.study(8, seed=number))
    (folder / "bad.xml").write_bytes(b"<score-partwise>")
    return folder


def command(folder: Path, *more: str, **how: object) -> "subprocess.Popen[str]":
    return subprocess.Popen([sys.executable, "-m", "analyzer", "survey", str(folder), *more], cwd=ROOT, text=True,
                            stdout=subprocess.PIPE, stderr=subprocess.PIPE, **how)      # type: ignore[call-overload]


def ended(folder: Path, *more: str) -> tuple[int, str, str]:
    process = command(folder, *more)
    out, err = process.communicate(timeout=120)
    return process.returncode, out, err


def kept(store: Path) -> list[tuple[str, ...]]:
    base = sqlite3.connect(store)
    try:
        return sorted(base.execute("SELECT name, content, settings, record FROM record").fetchall())
    finally:
        base.close()


# --- workers ---------------------------------------------------------------------------------------------------------


def deadly(name: str, data: bytes, options: Options) -> Record:
    """Survey, but die of one file as of a crash in a library."""
    if "07" in name or "15" in name:
        os._exit(9)
    return survey_bytes(name, data, options)


def slow(name: str, data: bytes, options: Options) -> Record:
    time.sleep(60)
    return {}


def test_a_file_that_kills_its_worker_is_named_and_no_other_is_hurt(library: Path) -> None:
    entries = [one for one in find_entries(library) if one.status == "score"]
    options = Options(horns=(load_horn("tenor"),))
    done = list(run_pool(entries, options, jobs=2, work=deadly))
    assert sorted(entry.name for entry, _ in done) == sorted(entry.name for entry in entries)
    records = {entry.name: record for entry, record in done}
    died = {name for name, record in records.items() if (record["problem"] or {}).get("code") == "worker-died"}
    assert died == {"study 07.musicxml", "study 15.musicxml"}
    assert records["bad.xml"]["status"] == "unreadable"
    assert sum(record["status"] == "read" for record in records.values()) == 22


def endless(name: str, data: bytes, options: Options) -> Record:
    """Survey, but turn round and round in one file, take all memory for a second, and hang in a third."""
    while "03" in name:
        pass
    if "09" in name:
        return {"status": "read", "problem": None, "lines": [len(bytearray(2**30))]}
    if "14" in name:
        time.sleep(600)                 # foreign code that does not come back
    return survey_bytes(name, data, options)


def problems_of(library: Path, names: str, **limits: int | float) -> dict[str, str]:
    entries = [one for one in find_entries(library) if one.name[6:8] in names.split()]
    records = {entry.name[6:8]: record for entry, record in run_pool(
        entries, Options(), jobs=2, limits=WorkerLimits(**limits), work=endless)}
    assert sorted(records) == names.split()
    return {name: (record["problem"] or {}).get("code", "read") for name, record in records.items()}


def test_a_file_that_takes_too_long_is_named_and_left(library: Path) -> None:
    assert problems_of(library, "01 02 03 04 05", seconds=1.0) == {
        "01": "read", "02": "read", "03": "too-slow", "04": "read", "05": "read"}


@pytest.mark.skipif(sys.platform != "linux", reason="memory of a process is limited on Linux")
def test_a_file_that_takes_too_much_memory_is_named_and_left(library: Path) -> None:
    assert problems_of(library, "08 09 10", memory_mib=512) == {"08": "read", "09": "out-of-memory", "10": "read"}


@pytest.mark.whole
def test_a_file_that_hangs_in_foreign_code_is_named_and_left(library: Path) -> None:
    assert problems_of(library, "12 13 14 15 16", seconds=1.0) == {
        "12": "read", "13": "read", "14": "too-slow", "15": "read", "16": "read"}


def test_time_over_is_told_from_any_other_error() -> None:
    def busy() -> None:
        while True:
            try:
                time.sleep(0.001)
            except Exception:           # what ends the work must not be taken for an error of its own
                continue

    with pytest.raises(TimeoutError, match=r"not done in 0\.2 seconds"):
        within(0.2, busy)
    with pytest.raises(ZeroDivisionError):
        within(5.0, lambda: 1 / 0)
    assert within(None, lambda: 7) == 7


def test_time_over_in_the_last_moment_does_not_strike_later() -> None:
    ends = {"done": 0, "over": 0}
    for _ in range(300):
        try:
            within(0.001, lambda: time.sleep(0.0009))
        except TimeoutError:
            ends["over"] += 1
        else:
            ends["done"] += 1
    time.sleep(0.05)
    assert sum(ends.values()) == 300


def test_closing_the_run_ends_its_workers_at_once(library: Path) -> None:
    entries = [one for one in find_entries(library) if one.status == "score"]

    def interrupted(entries: list) -> Iterator:
        yield entries[0]
        raise KeyboardInterrupt

    start = time.monotonic()
    with pytest.raises(KeyboardInterrupt):
        list(run_pool(interrupted(entries), Options(), jobs=1, work=slow))
    assert time.monotonic() - start < 20, "a minute's sleep was waited for"
    assert multiprocessing.active_children() == []


# --- the store -------------------------------------------------------------------------------------------------------


def test_a_record_comes_back_only_for_the_same_name_content_and_options(tmp_path: Path) -> None:
    (tmp_path / "a.xml").write_bytes(making.study(2))
    entry, = find_entries(tmp_path)
    path = tmp_path / "s.sqlite"
    options = Options(horns=(load_horn("tenor"),))
    with Store(path, options) as store:
        assert store.done([entry]) == {}
        store.keep(entry, {"status": "unreadable", "problem": {"code": "too-slow"}})
        assert store.done([entry]) == {}, "what is of the moment is tried again"
        record = {"status": "read", "reason": "", "problem": None, "title": "", "content": None, "problems": [],
                  "lines": []}
        store.keep(entry, record)
        assert store.done([entry]) == {"a.xml": record}
        with pytest.raises(Unreadable, match="cannot be used"):
            store.keep(entry, record)
    (tmp_path / "a.xml").write_bytes(making.study(2, seed=5))
    changed, = find_entries(tmp_path, leave_out=[path])
    with Store(path, options) as store:
        assert store.done([entry]) != {}
        assert store.done([changed]) == {}
    with Store(path, Options(horns=(load_horn("tenor-f"),))) as store:
        assert store.done([entry]) == {}


def test_foreign_files_are_left_alone(tmp_path: Path) -> None:
    text, other = tmp_path / "notes.txt", tmp_path / "other.sqlite"
    text.write_text("not a database, " * 100)
    base = sqlite3.connect(other)
    base.execute("CREATE TABLE students (name TEXT)")
    base.commit()
    base.close()
    before = other.read_bytes(), text.read_bytes()
    with pytest.raises(Unreadable, match="no store of a survey"):
        Store(text, Options())
    with pytest.raises(Unreadable, match="another program's database"):
        Store(other, Options())
    with pytest.raises(Unreadable, match="cannot be used"):
        Store(tmp_path / "nowhere" / "s.sqlite", Options())
    assert (other.read_bytes(), text.read_bytes()) == before


def test_one_survey_at_a_time_has_a_store(tmp_path: Path) -> None:
    with Store(tmp_path / "s.sqlite", Options()), pytest.raises(Unreadable, match="another survey has this store open"):
        Store(tmp_path / "s.sqlite", Options())


# --- the command -----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def whole(library: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The store and the JSON of a survey that nothing disturbed."""
    store = tmp_path_factory.mktemp("store") / "whole.sqlite"
    code, out, err = ended(library, "--jobs", "2", "--store", str(store), "--format", "json")
    assert code == 0, err
    return store, out


def test_one_process_and_two_give_the_same_bytes(library: Path, whole: tuple[Path, str], tmp_path: Path) -> None:
    code, one_json, err = ended(library, "--jobs", "1", "--format", "json", "-o", str(tmp_path / "one.csv"))
    assert code == 0, err
    code, two_csv, err = ended(library, "--jobs", "2", "--format", "csv", "-o", str(tmp_path / "two.parquet"))
    assert code == 0, err
    assert one_json == whole[1]
    assert (tmp_path / "one.csv").read_bytes() == two_csv.encode()
    rows = list(csv.DictReader(io.StringIO(two_csv)))
    assert [row["file"] for row in rows] == [row["file"] for row in json.loads(one_json)["lines"]] == sorted(
        row["file"] for row in rows)
    pandas = pytest.importorskip("pandas")
    frame = pandas.read_parquet(tmp_path / "two.parquet")
    assert frame.to_csv(index=False, lineterminator="\n") == two_csv


@POSIX
@pytest.mark.parametrize("seed", [0, *(pytest.param(one, marks=pytest.mark.whole) for one in range(1, 12))])
def test_killed_at_any_moment_it_goes_on_and_ends_the_same(seed: int, library: Path, whole: tuple[Path, str],
                                                          tmp_path: Path) -> None:
    rng = random.Random(seed)
    store = tmp_path / "s.sqlite"
    kills = 0
    for _ in range(3):
        process = command(library, "--jobs", "2", "--store", str(store), "--format", "json", start_new_session=True)
        # Wait until the store grows, then some moment more: kills fall before, between and inside the writes.
        had = len(kept(store)) if store.exists() else 0
        target = had + rng.randint(0, 6)
        while process.poll() is None and target and _count(store) <= target - 1:
            time.sleep(0.005)
        time.sleep(rng.uniform(0, 0.05))
        if process.poll() is None:
            kills += 1
            process.kill()
        process.communicate()
        # The workers are in the process group of the one that was killed; they must go by themselves.
        _wait_for_empty_group(process.pid)
    assert kills >= 2, "the survey was over before it could be killed"
    had = len(kept(store))
    code, out, err = ended(library, "--jobs", "2", "--store", str(store), "--format", "json")
    assert code == 0, err
    assert f"25 scores; {had} were in the store already, {25 - had} done now." in err
    assert kept(store) == kept(whole[0])
    assert out == whole[1]


def _count(store: Path) -> int:
    """Records in a store that another process holds: read from a copy of the file, as its lock keeps us out."""
    try:
        return _read_aside(store)
    except (sqlite3.Error, OSError):
        return 0


def _read_aside(store: Path) -> int:
    base = sqlite3.connect(":memory:")
    content = store.read_bytes()
    try:
        base.deserialize(content or b" ")           # nothing at all would be a MemoryError
        count: int = base.execute("SELECT count(*) FROM record").fetchone()[0]
        return count
    finally:
        base.close()


def _wait_for_empty_group(group: int) -> None:
    for _ in range(400):
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return
        time.sleep(0.025)
    pytest.fail("workers outlived the survey by ten seconds")


@POSIX
def test_ctrl_c_says_how_to_go_on(tmp_path: Path) -> None:
    library = tmp_path / "library"
    library.mkdir()
    for number in range(500):                           # long enough that a busy machine cannot end it unseen
        (library / f"study {number:03}.musicxml").write_bytes(making.study(20, seed=number))
    store = tmp_path / "s.sqlite"
    process = command(library, "--jobs", "2", "--store", str(store), "--format", "json", start_new_session=True)
    while process.poll() is None and _count(store) < 3:
        time.sleep(0.005)
    os.killpg(process.pid, signal.SIGINT)           # as a terminal does it: to all processes at once
    out, err = process.communicate(timeout=30)
    assert process.returncode == 1, err
    assert out == ""
    assert "Traceback" not in err
    assert err.splitlines()[-1].endswith("scores are done. The same command goes on from there. [stopped]")
    _wait_for_empty_group(process.pid)
    assert 3 <= len(kept(store)) < 500
    code, _, err = ended(library, "--jobs", "2", "--store", str(store))
    assert code == 0
    assert f"{len(kept(store))} scores; " in err


def test_errors_are_one_line(library: Path, tmp_path: Path) -> None:
    code, out, err = ended(tmp_path / "nowhere")
    assert (code, out, err.count("\n")) == (1, "", 1)
    assert "there is no such folder" in err
    code, out, err = ended(library, "--scheduler", "tcp://127.0.0.1:1")
    assert (code, out) == (2, "")
    code, out, err = ended(library, "-o", "table.xls")
    assert (code, out) == (2, "")
    code, out, err = ended(library, "--horn", "ophicleide")
    assert (code, out, err.count("\n")) == (1, "", 1)


# --- the cluster -----------------------------------------------------------------------------------------------------


def test_cluster_gives_the_same_bytes(library: Path, whole: tuple[Path, str]) -> None:
    pytest.importorskip("distributed")
    code, out, err = ended(library, "--engine", "dask", "--jobs", "2", "--format", "json")
    assert code == 0, err
    assert out == whole[1]


def test_no_scheduler_is_one_clear_line(library: Path) -> None:
    pytest.importorskip("distributed")
    with pytest.raises(Unreadable, match="no Dask scheduler answers there"):
        list(run_dask([], Options(), jobs=1, scheduler="tcp://127.0.0.1:1", answer_s=0.5))


_DEADLY = """
from pathlib import Path
from analyzer.library.survey import Options
from analyzer.library.files import find_entries
from analyzer.library.run import run_dask
from tests.library.test_survey_run import deadly
import sys
if __name__ == "__main__":
    entries = [one for one in find_entries(Path(sys.argv[1])) if one.status == "score"]
    for entry, record in run_dask(entries, Options(), jobs=2, work=deadly):
        print(entry.name, (record["problem"] or {}).get("code", "read"), sep="|")
"""


@pytest.mark.whole
def test_cluster_names_the_file_that_kills_its_workers(library: Path, tmp_path: Path) -> None:
    pytest.importorskip("distributed")
    script = tmp_path / "deadly.py"
    script.write_text(_DEADLY)
    done = subprocess.run([sys.executable, str(script), str(library)], cwd=ROOT, check=True, capture_output=True,
                          text=True, env={**os.environ, "PYTHONPATH": str(ROOT)}, timeout=300)
    found = dict(line.split("|") for line in done.stdout.splitlines())
    assert len(found) == 25
    assert {name for name, code in found.items() if code == "worker-died"} == {"study 07.musicxml", "study 15.musicxml"}
    assert sum(code == "read" for code in found.values()) == 22


_LOST = """
import sys
from pathlib import Path
import distributed
from analyzer.problem import Unreadable
from analyzer.library.survey import Options
from analyzer.library.files import find_entries
from analyzer.library.run import run_dask
if __name__ == "__main__":
    entries = [one for one in find_entries(Path(sys.argv[1])) if one.status == "score"]
    cluster = distributed.LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=None)
    done = list(run_dask(entries, Options(), jobs=1, scheduler=cluster.scheduler_address))
    print(len(done), flush=True)
    run = run_dask(entries, Options(), jobs=1, scheduler=cluster.scheduler_address)
    next(run)
    cluster.close()
    try:
        list(run)
    except Unreadable as error:
        print(error.problem.code, flush=True)
"""


@pytest.mark.whole
def test_a_scheduler_elsewhere_is_used_and_its_loss_is_no_fault_of_the_files(library: Path, tmp_path: Path) -> None:
    pytest.importorskip("distributed")
    script = tmp_path / "lost.py"
    script.write_text(_LOST)
    done = subprocess.run([sys.executable, str(script), str(library)], cwd=ROOT, check=True, capture_output=True,
                          text=True, env={**os.environ, "PYTHONPATH": str(ROOT)}, timeout=300)
    assert done.stdout.split() == ["25", "cluster-lost"]
