"""Our library on the page: its answers are the commands', told as they come; who gives up ends the work, for good."""

import asyncio
import io
import json
import multiprocessing
import os
import shutil
import time
import zipfile
from pathlib import Path

import pytest

from analyzer.course.course import course_of
from analyzer.course.open_sheets import open_sheets
from analyzer.course.skills import goal_of
from analyzer.course.stretches import CourseWanted, course_bytes
from analyzer.horns.profiles import load_horn
from analyzer.library.files import Contents, find_entries
from analyzer.library.purchase import purchase
from analyzer.library.search import Wanted, search_bytes
from analyzer.library.survey import Options, Survey, assemble, survey_bytes
from analyzer.plan.player import Player
from analyzer.report.course.document import course_blocks
from analyzer.report.page_blocks import page_blocks
from analyzer.report.search import search_blocks
from analyzer.report.survey.table import survey_csv
from analyzer.report.survey.text import survey_blocks
from analyzer.section.section import read_section
from analyzer.web.sweeps import Sweeps
from tests.web.conftest import SAMPLES
from tests.web.running import served
from tests.web.test_plain import TERMINAL, said_in

BARE: dict = {"player": {}}


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    """A small library: three scores, a damaged one, something else."""
    place = tmp_path_factory.mktemp("scores")
    for name in ("attachment-etude.musicxml", "harbour-march-trio.musicxml", "evening-song-euphonium.musicxml"):
        shutil.copy(SAMPLES / name, place / name)
    (place / "broken.musicxml").write_text("<score-partwise><part", encoding="utf-8")
    (place / "notes.txt").write_text("no score", encoding="utf-8")
    return place


def told(client, call: str, status: int = 200, **body: object) -> tuple[list[dict], dict]:
    """What was told line by line, and the last of it."""
    reply = client.post(f"/api/library/{call}", content=json.dumps({**BARE, **body}))
    assert reply.status_code == status, reply.text
    lines = [json.loads(line) for line in reply.text.splitlines()]
    return lines[:-1], lines[-1]


def plain(answer: object) -> None:
    for text in said_in(answer):
        assert not TERMINAL.search(text.replace(".musicxml", "")), text


def swept(folder: Path, options: object, work) -> Survey:
    """The same by the library's own functions, one file after the other."""
    entries = find_entries(folder)
    contents = Contents()
    records = {entry.name: work(entry.name, contents.read(entry), options) for entry in entries
               if entry.status == "score"}
    contents.close()
    return assemble(str(folder), entries, records)


def test_a_survey_is_the_command_s_and_says_how_far_it_is(client, folder: Path) -> None:
    steps, last = told(client, "survey", folder=str(folder))
    answer = last["answer"]
    expected = swept(folder, Options(), survey_bytes)
    assert answer["blocks"] == page_blocks(survey_blocks(expected, None, every=True))
    planning = [step for step in steps if step["doing"] == "Reading and planning"]
    assert [step["done"] for step in planning] == list(range(len(planning)))
    assert planning[-1]["done"] == planning[-1]["of"] == 4
    plain(answer)
    held = answer["held"]
    table = client.post("/api/library/file", content=json.dumps({"held": held, "ending": ".csv"}))
    assert table.text == "".join(survey_csv(expected))
    page = client.post("/api/library/file", content=json.dumps({"held": held, "ending": ".html"}))
    assert page.text.startswith("<!DOCTYPE html>")
    assert client.post("/api/library/file", content=json.dumps({"held": held})).content.startswith(b"%PDF")


def test_a_survey_for_a_section_says_what_one_more_horn_opens(client, folder: Path) -> None:
    section = {"players": [{"name": "A", "horns": ["tenor"]}, {"name": "B", "horns": ["euphonium-3"]}], "spare": []}
    _, last = told(client, "survey", folder=str(folder), section=section)
    path = folder.parent / "section.toml"
    path.write_text('[[player]]\nname = "A"\nhorns = ["tenor"]\n[[player]]\nname = "B"\nhorns = ["euphonium-3"]\n',
                    encoding="utf-8")
    expected = swept(folder, Options(), survey_bytes)
    assert last["answer"]["blocks"] == page_blocks(survey_blocks(expected, purchase(expected, read_section(path)),
                                                                 every=True))
    plain(last["answer"])


@pytest.mark.parametrize("horn", ["", "tenor-f"])
def test_a_search_is_the_command_s_and_its_scores_open(client, folder: Path, horn: str) -> None:
    _, last = told(client, "search", folder=str(folder), horn=horn, most=10)
    answer = last["answer"]
    wanted = Wanted(player=Player(), horns=(load_horn(horn),) if horn else ())
    assert answer["blocks"] == page_blocks(search_blocks(swept(folder, wanted, search_bytes), 10))
    plain(answer["blocks"])
    rows = [row for block in answer["blocks"] if block["kind"] == "findings" for row in block["rows"]]
    assert len(rows) == len(answer["files"]) == min(10, answer["found"])
    for row, place in zip(rows, answer["files"], strict=True):
        assert place["file"] in row[2]
    reply = client.post("/api/library/score", content=json.dumps({"held": answer["held"],
                                                                  "file": answer["files"][0]["file"]}))
    assert reply.status_code == 200
    assert answer["files"][0]["part"] in {part["id"] for part in reply.json()["parts"]}
    printed = client.post("/api/library/file", content=json.dumps({"held": answer["held"], "most": 10}))
    assert printed.content.startswith(b"%PDF")


def test_a_course_is_the_command_s_and_its_sheets_come_in_one(client, folder: Path) -> None:
    asked = {"folder": str(folder), "before": "tenor", "after": "tenor-f", "weeks": 3, "open_sheets": True}
    _, last = told(client, "course", **asked)
    answer = last["answer"]
    wanted = CourseWanted(goal=goal_of(load_horn("tenor"), load_horn("tenor-f"), Player()))
    lines = [*swept(folder, wanted, course_bytes).lines, *open_sheets(wanted)[1]]
    assert answer["blocks"] == page_blocks(course_blocks(course_of(wanted.goal, lines, weeks=3)))
    assert answer["weeks"] == 3
    plain(answer)
    steps, made = told(client, "sheets", held=answer["held"], start="2027-02-01")
    assert steps[0]["doing"] == "Making the sheets"
    packed = client.post("/api/library/file", content=json.dumps({"held": made["answer"]["held"]}))
    names = [name.removeprefix("course/") for name in zipfile.ZipFile(io.BytesIO(packed.content)).namelist()]
    assert names == made["answer"]["files"]
    assert {"00-road.pdf", "week-03.pdf", "course.ics"} <= set(names)


def test_chosen_files_are_a_folder_and_go_with_the_page(client, page, folder: Path) -> None:
    client.post("/api/library/begin", content="{}").raise_for_status()
    for path in sorted(folder.iterdir()):
        client.post("/api/library/add", content=path.read_bytes(),
                    headers={"x-file-name": f"../../{path.name}"}).raise_for_status()
    # Another of the same name stands beside it.
    client.post("/api/library/add", content=b"x", headers={"x-file-name": "notes.txt"}).raise_for_status()
    place = page.shelf.folder_of({"folder": ""}).path
    assert sorted(path.name for path in place.iterdir()) == sorted(
        [*(path.name for path in folder.iterdir()), "notes (5).txt"])
    _, last = told(client, "survey", folder="")
    assert last["answer"]["lines"] == len(swept(folder, Options(), survey_bytes).lines)
    assert str(place) not in json.dumps(last)
    client.post("/api/forget", content="{}").raise_for_status()
    assert not place.exists()


@pytest.mark.parametrize(("call", "body", "why"), [
    ("survey", {"folder": "/no/such/folder"}, "there is no such folder on this computer"),
    ("survey", {"folder": ""}, "no folder is given and no files are chosen"),
    ("search", {"folder": str(SAMPLES), "horn": "none"}, "there is no horn 'none'"),
    ("search", {"folder": str(SAMPLES), "section": {"players": []}}, "player"),
    ("course", {"folder": "/no/such", "before": "tenor", "after": "tenor-f"}, "there is no such folder"),
    ("sheets", {"held": "none"}, "no longer here"), ("file", {"held": 3}, "no longer here"),
])
def test_what_cannot_be_done_is_one_plain_line(client, call: str, body: dict, why: str) -> None:
    reply = client.post(f"/api/library/{call}", content=json.dumps({**BARE, **body}))
    assert reply.status_code in (400, 410)
    assert why in reply.json()["line"]
    assert not TERMINAL.search(reply.json()["line"])


def test_a_change_without_anything_to_learn_is_said(client, folder: Path) -> None:
    _, last = told(client, "course", folder=str(folder), before="tenor-f", after="tenor")
    assert "nothing to learn" in last["line"] or "no valve, slide or clef" in last["line"]


def endless(tell, path: str) -> tuple[dict, object]:
    """A job that never ends, with a process of its own below it."""
    child = multiprocessing.get_context("spawn").Process(target=time.sleep, args=(600,), daemon=False)
    child.start()
    Path(path).write_text(f"{os.getpid()}", encoding="utf-8")
    while True:
        tell({"doing": "Nothing", "done": 0, "of": None, "name": ""})
        time.sleep(0.05)


def dying(tell) -> tuple[dict, object]:
    os._exit(9)


def alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return not Path(f"/proc/{pid}/stat").is_file() or " Z " not in Path(f"/proc/{pid}/stat").read_text()


def test_who_gives_up_ends_the_work(tmp_path: Path) -> None:
    path = tmp_path / "pid"

    async def run() -> int:
        sweeps = Sweeps()
        lines = sweeps.lines(lambda kept: {}, endless, str(path))
        async for _ in lines:
            if path.exists() and path.read_text():
                break
        pid = int(path.read_text())
        assert alive(pid)
        await lines.aclose()
        return pid

    pid = asyncio.run(run())
    for _ in range(100):
        if not alive(pid):
            return
        time.sleep(0.05)
    raise AssertionError("the work goes on")


def test_work_that_dies_is_one_line() -> None:
    async def run() -> list[bytes]:
        return [line async for line in Sweeps().lines(lambda kept: {}, dying)]

    assert json.loads(asyncio.run(run())[-1])["line"].startswith("The work broke off.")


def below(pid: int) -> set[int]:
    """The processes below one, by their parents' numbers."""
    parents = {}
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            number, rest = path.read_text(encoding="utf-8", errors="replace").split(" (", 1)
            parents[int(number)] = int(rest.rsplit(") ", 1)[1].split()[1])
        except (OSError, IndexError, ValueError):
            continue
    found: set[int] = set()
    while more := {child for child, parent in parents.items() if parent in found | {pid}} - found:
        found |= more
    return found


@pytest.mark.skipif(not Path("/proc/self/stat").is_file(), reason="looks at /proc")
def test_cancel_on_the_page_leaves_no_process_behind(tmp_path: Path) -> None:
    httpx = pytest.importorskip("httpx")
    text = (SAMPLES / "harbour-march-trio.musicxml").read_text(encoding="utf-8")
    for number in range(120):
        (tmp_path / f"{number}.musicxml").write_text(f"{text}<!-- {number} -->", encoding="utf-8")
    with served() as (process, address):
        base, _, key = address.partition("#key=")
        with httpx.Client(base_url=base, headers={"X-Lowbrass-Token": key}, timeout=60) as http:
            http.get("api/start").raise_for_status()
            time.sleep(3)                        # the page's own processes have started by then
            before = below(process.pid)
            with http.stream("POST", "api/library/survey", json={"folder": str(tmp_path), **BARE}) as reply:
                for line in reply.iter_lines():
                    if json.loads(line).get("done", 0) > 2:
                        break
                # The tracker of shared memory is the server's own: it comes with its first process and stays.
                at_work = {pid for pid in below(process.pid) - before
                           if "resource_tracker" not in Path(f"/proc/{pid}/cmdline").read_text(encoding="utf-8")}
                assert len(at_work) >= 2, "one that hands out, and one that reads"
            for _ in range(400):
                if not any(alive(pid) for pid in at_work):
                    break
                time.sleep(0.05)
            assert [pid for pid in at_work if alive(pid)] == []
            # And it goes on: the next question is answered.
            http.get("api/start").raise_for_status()
