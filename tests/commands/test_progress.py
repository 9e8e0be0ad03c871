"""``lowbrass progress``: what it says, and that no writer loses another's word or leaves half a file."""

import json
import random
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import pytest

pytest.importorskip("tomlkit")

SAMPLE = Path(__file__).resolve().parents[2] / "sample_scores" / "student.toml"


def words(*given: object) -> list[str]:
    return [sys.executable, "-m", "analyzer", *map(str, given)]


def run(*given: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(words(*given), capture_output=True, text=True, encoding="utf-8", timeout=120, check=False)


@pytest.fixture
def student(tmp_path: Path) -> Path:
    path = tmp_path / "student.toml"
    path.write_bytes(SAMPLE.read_bytes())
    return path


def test_it_says_and_records(student: Path) -> None:
    done = run("progress", student, "--secure", "T2-1", "--learned", "TS", "--format", "json")
    assert done.returncode == 0, done.stderr
    data = json.loads(done.stdout)
    assert data["schema"] == "lowbrass.progress/1"
    assert "TS" in data["learned"]
    assert "T2 to 1" in data["secure"]
    kept = [line.split("=")[0] for line in SAMPLE.read_text(encoding="utf-8").splitlines()]
    assert [line.split("=")[0] for line in student.read_text(encoding="utf-8").splitlines()][:len(kept)] == kept
    assert "secure, both ways" in run("progress", student).stdout
    assert list(student.parent.iterdir()) == [student]


def test_a_state_that_no_horn_has_is_taken_with_a_word(student: Path) -> None:
    # A horn of one's own may have valves of other names, so that it is no mistake for sure.
    odd, right = (run("progress", student, "--learned", state) for state in ("Q", "TS"))
    assert odd.returncode == right.returncode == 0
    assert "Q is a valve state of no horn" in odd.stderr
    assert "no horn" not in right.stderr


def test_line_ends_of_the_file_are_kept(student: Path) -> None:
    student.write_bytes(SAMPLE.read_bytes().replace(b"\n", b"\r\n"))
    assert run("progress", student, "--secure", "T2-1").returncode == 0
    content = student.read_bytes()
    assert content.count(b"\r\n") == content.count(b"\n") > 10


@pytest.mark.parametrize(("given", "code", "said"), [
    (("--secure", "T1"), 2, "'T1' is no move; write for instance T1-4"),
    (("--learned", "first"), 2, "'first' is no valve state; write for instance T"),
    (("--again", "TS"), 1, "'TS' stands neither in learned nor in secure")])
def test_mistakes_are_one_line_and_change_nothing(student: Path, given: tuple[str, ...], code: int, said: str) -> None:
    before = student.read_bytes()
    done = run("progress", student, *given)
    assert done.returncode == code
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert student.read_bytes() == before


@pytest.mark.parametrize(("content", "said"), [
    (None, "no such file"), (b"[player\n", "line 1"), (b"[player]\nspeed = 3\n", "unknown key 'speed'"),
    (b"\xff\xfe", "not UTF-8"), (b"[[player]]\nname = 'A'\n", "several players stand there")])
def test_a_file_that_is_none_is_told(tmp_path: Path, content: bytes | None, said: str) -> None:
    path = tmp_path / "p.toml"
    if content is not None:
        path.write_bytes(content)
    done = run("progress", path, "--secure", "T1-4")
    assert done.returncode == 1, done.stderr
    assert said in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert content is None or path.read_bytes() == content


def test_a_file_without_learned_counts_all(tmp_path: Path) -> None:
    path = tmp_path / "p.toml"
    path.write_text("[player]\n", encoding="utf-8")
    done = run("progress", path, "--learned", "T")
    assert done.returncode == 0
    assert "every one counts as learned already" in done.stderr
    assert "learned" not in tomllib.loads(path.read_text(encoding="utf-8"))["player"]


def moves_of(path: Path) -> set[str]:
    return set(tomllib.loads(path.read_text(encoding="utf-8"))["player"].get("secure", ()))


@pytest.mark.skipif(sys.platform == "win32", reason="file locks of this kind are not there")
def test_writers_at_the_same_time_lose_nothing(student: Path) -> None:
    wanted = [f"T{k} to {k + 1}" for k in range(1, 7)]
    jobs = [subprocess.Popen(words("progress", student, "--secure", one), stdout=subprocess.DEVNULL,
                             stderr=subprocess.DEVNULL) for one in wanted]
    assert [job.wait(timeout=120) for job in jobs] == [0] * len(jobs)
    assert set(wanted) <= moves_of(student)
    assert list(student.parent.iterdir()) == [student]


@pytest.mark.skipif(sys.platform == "win32", reason="processes end otherwise there")
def test_a_killed_writer_leaves_a_whole_file(student: Path) -> None:
    """Killed at chance moments of its short life: the file is the old one or the new one."""
    chance = random.Random(5)
    start = time.monotonic()
    run("progress", student, "--secure", "5 to 6")
    whole_s = time.monotonic() - start
    for k in range(4):
        before = moves_of(student)
        job = subprocess.Popen(words("progress", student, "--secure", f"T{k % 6 + 1} to TS{k % 5 + 1}"),
                               stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        time.sleep(whole_s * chance.uniform(0.5, 1.1))
        job.kill()
        job.wait(timeout=60)
        assert moves_of(student) - before in ({f"T{k % 6 + 1} to TS{k % 5 + 1}"}, set())
    assert run("progress", student, "--secure", "1 to 2").returncode == 0
