"""A cluster as it stands in a school or at a university: a scheduler and two workers, processes of their own."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from analyzer.library import run
from analyzer.library.files import find_entries
from analyzer.library.limits import WorkerLimits
from analyzer.library.run import run_dask
from analyzer.library.survey import Options, Record, survey_bytes
from analyzer.problem import Unreadable
from tests.benchmarks import making
from tests.library.test_survey_run import endless

pytest.importorskip("distributed", reason="the cluster is Dask's")
pytestmark = [pytest.mark.whole, pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX systems")]

ROOT = Path(__file__).parents[2]
FILES = 60


class Cluster:
    """A scheduler and workers on the loopback, each a process of its own, ended by their ids."""

    def __init__(self, folder: Path) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        self.address = f"tcp://127.0.0.1:{port}"
        self.folder = folder
        self.processes = [self._start("scheduler", "--host", "127.0.0.1", "--port", str(port), "--no-dashboard")]
        self.workers = [self._worker(number) for number in (1, 2)]
        self._wait()

    def _start(self, *arguments: str) -> "subprocess.Popen[bytes]":
        return subprocess.Popen([sys.executable, "-m", "dask", *arguments], cwd=self.folder, stdout=subprocess.DEVNULL,
                                stderr=subprocess.DEVNULL, env={**os.environ, "PYTHONPATH": str(ROOT)})

    def _worker(self, number: int) -> "subprocess.Popen[bytes]":
        process = self._start("worker", self.address, "--no-nanny", "--nthreads", "1", "--no-dashboard", "--host",
                              "127.0.0.1", "--name", f"worker-{number}", "--local-directory", str(self.folder))
        self.processes.append(process)
        return process

    def _wait(self) -> None:
        import distributed

        end = time.monotonic() + 60
        while True:
            try:
                with distributed.Client(self.address, timeout=5, set_as_default=False) as client:
                    client.wait_for_workers(2, timeout=30)
                    return
            except OSError:
                if time.monotonic() > end:
                    raise
                time.sleep(0.3)

    def close(self) -> None:
        for process in reversed(self.processes):
            process.terminate()
        for process in self.processes:
            try:
                process.wait(timeout=20)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[Cluster]:
    made = Cluster(tmp_path)
    yield made
    made.close()


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("library")
    for number in range(FILES):
        (folder / f"study {number:02}.musicxml").write_bytes(making.study(12, seed=number))
    (folder / "bad.xml").write_bytes(b"<score-partwise>")
    return folder


@pytest.fixture(scope="module")
def alone(library: Path) -> dict[str, Record]:
    """What one process finds, one file after the other."""
    return {one.name: survey_bytes(one.name, one.path.read_bytes(), Options()) for one in find_entries(library)}


def test_two_workers_find_what_one_process_finds(cluster: Cluster, library: Path, alone: dict[str, Record]) -> None:
    done = list(run_dask(find_entries(library), Options(), jobs=1, scheduler=cluster.address))
    assert len(done) == FILES + 1, "each file once"
    assert {entry.name: record for entry, record in done} == alone


def test_a_file_that_takes_too_long_is_named_there_too(cluster: Cluster, library: Path) -> None:
    entries = [one for one in find_entries(library) if one.name[6:8] in ("01", "02", "03", "04")]
    done = run_dask(entries, Options(), jobs=1, scheduler=cluster.address, limits=WorkerLimits(seconds=1.5),
                    work=endless)
    codes = {entry.name[6:8]: (record["problem"] or {}).get("code", "read") for entry, record in done}
    assert codes == {"01": "read", "02": "read", "03": "too-slow", "04": "read"}


@pytest.mark.parametrize("after", [3, 20])
def test_a_worker_killed_midway_changes_nothing(after: int, cluster: Cluster, library: Path,
                                                alone: dict[str, Record]) -> None:
    done = []
    for number, step in enumerate(run_dask(find_entries(library), Options(), jobs=1, scheduler=cluster.address), 1):
        done.append(step)
        if number == after:
            os.kill(cluster.workers[0].pid, signal.SIGKILL)
    assert cluster.workers[0].poll() is not None, "the worker is gone"
    assert len(done) == FILES + 1, "each file once"
    assert {entry.name: record for entry, record in done} == alone


def test_a_cluster_without_workers_is_given_up_in_one_clear_line(cluster: Cluster, library: Path,
                                                                 monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(run, "_WORKERLESS_S", 3.0)
    steps = run_dask(find_entries(library), Options(), jobs=1, scheduler=cluster.address)
    next(steps)
    for worker in cluster.workers:
        os.kill(worker.pid, signal.SIGKILL)
    with pytest.raises(Unreadable, match="the cluster does not answer any more"):
        list(steps)
