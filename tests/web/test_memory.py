"""What the page remembers, looked for on disk: modes, bounds, a kill in between, and nothing left once forgotten."""

import json
import os
import signal
import stat
import sys
from pathlib import Path

import httpx
import pytest

from analyzer.web.app import build
from analyzer.web.memory import Memory
from analyzer.web.page import Page
from tests.web.conftest import HOST, SAMPLES, TOKEN, TestClient
from tests.web.running import served

SETTINGS = {"states": [{"part": "P1", "horn": "tenor", "pins": []}], "at": 0, "view": "marks", "size": "1"}


def files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file())


def test_scores_are_bounded_in_number_and_size_and_the_oldest_go(tmp_path: Path) -> None:
    memory = Memory(tmp_path / "page", most_scores=3, most_bytes=1000)
    ids = [memory.keep(bytes([number]) * 100, f"{number}.xml", f"Title {number}") for number in range(5)]
    assert [score["name"] for score in memory.all()["scores"]] == ["4.xml", "3.xml", "2.xml"]
    assert memory.score(str(ids[0])) is None
    assert memory.keep(b"x" * 700, "large.xml", "") is not None
    assert [score["name"] for score in memory.all()["scores"]] == ["large.xml", "4.xml", "3.xml"]
    assert memory.keep(b"y" * 500, "next.xml", "") is not None
    assert [score["name"] for score in memory.all()["scores"]] == ["next.xml"]
    assert memory.keep(b"z" * 1001, "too-large.xml", "") is None
    assert len(files(tmp_path)) == 2


@pytest.mark.skipif(sys.platform == "win32", reason="modes")
def test_only_the_owner_can_read_it(tmp_path: Path) -> None:
    old = os.umask(0)
    try:
        memory = Memory(tmp_path / "page")
        kept = memory.keep(b"score", "a.xml", "A")
        assert kept
        assert memory.settle(kept, SETTINGS)
        assert memory.keep_desk({"section": {}})
    finally:
        os.umask(old)
    assert {stat.S_IMODE(path.stat().st_mode) for path in files(tmp_path)} == {0o600}
    assert stat.S_IMODE((tmp_path / "page").stat().st_mode) == 0o700


def test_the_same_file_finds_its_pins_and_damaged_ones_are_left_out(tmp_path: Path) -> None:
    memory = Memory(tmp_path / "page")
    kept = memory.keep(b"score", "a.xml", "A")
    assert kept
    assert memory.settle(kept, SETTINGS)
    assert memory.keep(b"score", "a.xml", "A") == kept
    found = Memory(tmp_path / "page").score(kept)
    assert found
    assert (found[0], found[1]["settings"]) == (b"score", SETTINGS)
    (tmp_path / "page" / f"{kept}.json").write_text('{"name": ')
    assert memory.all()["scores"] == []
    assert memory.score(kept) is None
    assert memory.score("../../etc/passwd") is None
    memory.forget("../a")


def test_forget_leaves_no_file(tmp_path: Path) -> None:
    memory = Memory(tmp_path / "lowbrass" / "page")
    one, two = memory.keep(b"1", "1.xml", ""), memory.keep(b"2", "2.xml", "")
    assert one
    assert two
    memory.keep_desk({"section": {"players": []}})
    memory.forget(one)
    assert not [path for path in files(tmp_path) if path.stem == one]
    assert [score["id"] for score in memory.all()["scores"]] == [two]
    memory.forget_all()
    assert list(tmp_path.iterdir()) == []
    # Put back, as long as the program runs, all is as it was; and forgotten again.
    memory.put_back()
    assert memory.score(two) is not None
    assert memory.all()["desk"] == {"section": {"players": []}}
    memory.forget_all()
    assert Memory(tmp_path / "lowbrass" / "page").all()["scores"] == []
    assert list(tmp_path.iterdir()) == []
    # What is set afterwards makes no ghost of a score that is forgotten.
    assert not memory.settle(two, SETTINGS)
    assert files(tmp_path) == []


def test_dont_keep_writes_nothing(page: Page, tmp_path: Path) -> None:
    page.memory = Memory(tmp_path / "page")
    with TestClient(build(TOKEN, (HOST,), page), base_url=f"http://{HOST}",
                    headers={"X-Lowbrass-Token": TOKEN}) as client:
        data = (SAMPLES / "attachment-etude.musicxml").read_bytes()
        found = client.post("/api/open?keep=no", content=data, headers={"X-File-Name": "a.musicxml"}).json()
        assert found["kept"] is None
        assert files(tmp_path) == []
        kept = client.post("/api/open", content=data, headers={"X-File-Name": "a.musicxml"}).json()["kept"]
        assert client.post("/api/remember", json={"kept": kept, "settings": SETTINGS}).json() == {"kept": True}
        again = client.post(f"/api/open?kept={kept}").json()
        assert (again["file"], again["settings"]) == ("a.musicxml", SETTINGS)
        assert client.post("/api/forget", json={"kept": kept}).json()["scores"] == []
        assert client.post(f"/api/open?kept={kept}").status_code == 410
        assert client.post("/api/remember", json={"kept": kept, "settings": SETTINGS}).json() == {"kept": False}


@pytest.mark.skipif(sys.platform == "win32", reason="signals")
def test_all_is_found_again_after_a_kill_and_on_another_port(tmp_path: Path) -> None:
    state = tmp_path / "state"
    with served(state=state) as (process, address):
        base, _, key = address.partition("#key=")
        with httpx.Client(base_url=base, headers={"X-Lowbrass-Token": key}, timeout=60) as client:
            kept = client.post("/api/open?sample=attachment-etude.musicxml").json()["kept"]
            assert client.post("/api/remember", json={"kept": kept, "settings": SETTINGS}).json()["kept"]
            assert client.post("/api/remember", json={"desk": {"section": {"players": []}}}).json()["kept"]
        process.send_signal(signal.SIGKILL)
        process.wait(timeout=30)
    with served(state=state) as (_, other):
        base, _, key = other.partition("#key=")
        with httpx.Client(base_url=base, headers={"X-Lowbrass-Token": key}, timeout=60) as client:
            memory = client.get("/api/start").json()["memory"]
            assert memory["folder"] == str(state / "page")
            assert [score["title"] for score in memory["scores"]] == ["Attachment Etude"]
            assert memory["desk"] == {"section": {"players": []}}
            assert client.post(f"/api/open?kept={kept}").json()["settings"] == SETTINGS
            assert json.loads(client.post("/api/forget", json={}).content)["scores"] == []
            assert not state.exists() or files(state) == []
