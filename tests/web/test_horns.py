"""Horns on the page: charts, changes and fits are the commands' own; one's own horns are kept, used and forgotten."""

import json
import random
from pathlib import Path

import pytest

from analyzer.analysis import Request, analyse
from analyzer.horns.candidates import chart_choice
from analyzer.horns.profiles import horn_from_text, horn_names, load_horn
from analyzer.horns.transition import transition
from analyzer.pitch import pitch_of
from analyzer.plan.player import Player, player_of
from analyzer.problem import Unreadable
from analyzer.report.blocks import Cautions, Gap, Hint, as_text
from analyzer.report.chart.transition import transition_blocks
from analyzer.report.map.document import map_document
from analyzer.report.page_blocks import page_blocks, said_plainly
from analyzer.report.ready import ready_blocks
from analyzer.score.document import open_document
from analyzer.section.ready import ready
from analyzer.section.section import read_section
from analyzer.tuning.readings import read_readings
from analyzer.tuning.sheet import sheet
from analyzer.tuning.tuner import fit
from analyzer.web.memory import Memory
from analyzer.web.own_horns import MOST_HORNS, OwnHorns
from analyzer.words import shown
from tests.web.conftest import SAMPLES
from tests.web.test_app import ETUDE, opened, planned, question
from tests.web.test_plain import TERMINAL, said_in


def asked(client, path: str, status: int = 200, **body: object) -> dict:
    reply = client.post(f"/api/horns/{path}", content=json.dumps(body))
    assert reply.status_code == status, reply.text
    return reply.json()


@pytest.mark.parametrize("name", horn_names())
def test_the_chart_is_the_horn_s(client, name: str) -> None:
    found = asked(client, "chart", horn=name, width=390)
    horn = load_horn(name)
    assert found["description"] == horn.description
    for note, usual, _, _ in found["rows"]:
        choice = next(chart_choice(horn, midi) for midi in range(20, 100) if pitch_of(midi).pretty == note)
        assert usual.split(" (")[0] == (shown(choice.label) if choice else "none")
    assert found["sheets"]
    for text in said_in({key: found[key] for key in ("description", "said", "heads", "rows")}):
        assert not TERMINAL.search(text), text


@pytest.mark.parametrize("paper", ["a4", "a3", "letter"])
def test_the_chart_for_the_wall_is_a_pdf(client, paper: str) -> None:
    reply = client.post("/api/horns/chart", content=json.dumps({"horn": "tenor-f", "paper": paper}))
    assert reply.content.startswith(b"%PDF")
    assert "tenor-f-chart.pdf" in reply.headers["content-disposition"]


@pytest.mark.parametrize(("before", "after"), [("tenor", "tenor-f"), ("euphonium-3", "euphonium-4-compensating"),
                                               ("tenor", "euphonium-3"), ("tenor-f", "bass-independent")])
@pytest.mark.parametrize("with_score", [False, True])
def test_a_change_of_horn_says_what_the_commands_say(client, before: str, after: str, with_score: bool) -> None:
    found = opened(client, ETUDE) if with_score else None
    said = asked(client, "change", before=before, after=after, player={"height_cm": 150},
                 **({"session": found["session"]} if found else {}))
    old, new = load_horn(before), load_horn(after)
    documents = [open_document(SAMPLES / ETUDE)] if said["music"] else []
    expected = ready(documents, old, new, player_of({"height_cm": 150}))
    assert said["aid"] == page_blocks(ready_blocks(expected))
    assert said["moves"] == (page_blocks(transition_blocks(transition(old, new))) if old.family == new.family else [])
    assert (said["picture"] is not None) == (old.family == new.family)
    # The étude is a trombone's: nothing in it is for either of two euphoniums.
    assert bool(said["music"]) == (with_score and before != "euphonium-3")
    assert bool(said["left_out"]) != bool(said["music"])
    assert said["aid"][-1]["kind"] == "cautions"
    for text in said_in({**said, "picture": ""}):
        assert not TERMINAL.search(text), text


def test_every_part_of_an_answer_reaches_the_page_but_for_the_terminal_s() -> None:
    answer = ready([open_document(SAMPLES / ETUDE)], load_horn("tenor"), load_horn("tenor-f"), Player())
    blocks = ready_blocks(answer)
    parts = page_blocks(blocks)
    told = " ".join(said_in([{key: value for key, value in part.items() if key != "kind"} for part in parts]))
    for block in blocks:
        words = [word for word in as_text([block]).replace("Caution: ", "").split() if word.isalpha() and len(word) > 5]
        if isinstance(block, Gap | Hint):
            continue
        missing = [word for word in words if word not in told]
        assert missing == [], (block, missing)
    assert any(isinstance(block, Cautions) for block in blocks)
    assert "lowbrass" not in told


def test_horns_are_said_by_what_they_are() -> None:
    assert said_plainly("From tenor to bass-single") == \
        "From tenor trombone to bass trombone with F attachment"
    assert said_plainly("reads tenor clef on tenor") == "reads tenor clef on tenor trombone"


@pytest.mark.parametrize(("body", "why"), [
    ({"before": "tenor", "after": "tenor", "player": {}}, "both horns are the same"),
    ({"before": "none", "after": "tenor", "player": {}}, "there is no horn 'none'"),
    ({"before": "tenor", "after": "euphonium-3", "player": {}, "print": "chart"}, "one has a slide"),
    ({"before": "tenor", "after": "tenor-f", "player": {"low": "H2"}}, "lowest note"),
])
def test_a_wrong_change_is_one_plain_line(client, body: dict, why: str) -> None:
    line = asked(client, "change", 400, **body)["line"]
    assert why in line
    assert not TERMINAL.search(line)


# --- horns of one's own ----------------------------------------------------------------------------------------------


def filled(name: str, seed: int = 1) -> str:
    """The table of a horn, filled in with readings that stray by some cents."""
    rng = random.Random(seed)
    lines = [line for line in sheet(load_horn(name)).splitlines() if not line.startswith("#")]
    columns = lines[0].split(",")
    out = [lines[0]]
    for line in lines[1:]:
        cells = dict(zip(columns, line.split(","), strict=True))
        cells["cents"] = f"{rng.gauss(-6, 3):.0f}"
        out.append(",".join(cells.values()))
    return "\n".join(out)


def mine() -> str:
    """The profile of a tenor trombone called `mine`."""
    text = Path(load_horn.__globals__["DATA"], "tenor.toml").read_text(encoding="utf-8")
    return text.replace('"tenor"', '"mine"', 1)


@pytest.mark.parametrize("name", ["tenor-f", "euphonium-3"])
def test_a_horn_is_found_kept_planned_with_and_forgotten(client, page, tmp_path: Path, name: str) -> None:
    memory = Memory(tmp_path / "page")
    page.memory, page.own = memory, OwnHorns(memory)
    rows = asked(client, "sheet", horn=name)
    assert [",".join(row) for row in rows["rows"]] == [
        line for line in sheet(load_horn(name)).splitlines() if not line.startswith("#")][1:]
    table = filled(name)
    found = asked(client, "fit", horn=name, table=table, file="readings.csv", name="My horn!")
    readings, _ = read_readings(table.encode(), "readings.csv", load_horn(name))
    expected = fit(load_horn(name), readings, name="My-horn-", origin="readings.csv").horn
    assert horn_from_text(found["profile"], "x").tube_mm == pytest.approx(expected.tube_mm, rel=1e-5)
    assert found["cautions"]
    kept = asked(client, "keep", profile=found["profile"], file="horn", keep=True)
    assert [horn["name"] for horn in kept["own"]] == [kept["name"]]
    files = list((tmp_path / "page").glob("horn-*.toml"))
    assert len(files) == 1
    assert client.get("/api/start").json()["horns"][0] == kept["own"][0]
    # The plan is the one that the command makes with the same file.
    score = ETUDE if name == "tenor-f" else "evening-song-euphonium.musicxml"
    opened_score = opened(client, score)
    answer = planned(client, opened_score, horn=kept["name"])
    line = map_document(analyse(open_document(SAMPLES / score), Request(horns=(str(files[0]),))))["lines"][0]
    assert [note["label"] for note in answer["notes"]] == [note["label"] for note in line["notes"]]
    assert answer["horn"] == kept["name"]
    compared = client.post("/api/compare", content=question(opened_score, horns=[kept["name"], name]))
    assert [horn["name"] for horn in compared.json()["horns"]] == [kept["name"], name]
    # The same name again takes the other's place; forgetting leaves nothing.
    asked(client, "keep", profile=found["profile"].replace("fitted", "fitted once more"), file="horn", keep=True)
    assert len(list((tmp_path / "page").glob("horn-*.toml"))) == 1
    assert asked(client, "forget", name=kept["name"])["own"] == []
    assert list((tmp_path / "page").glob("horn-*")) == []
    assert "there is no horn" in asked(client, "write", 400, name=kept["name"])["line"]


def test_what_is_not_kept_lies_elsewhere_and_goes_with_the_page(tmp_path: Path) -> None:
    own = OwnHorns(Memory(tmp_path))
    horn = own.keep(mine(), "mine.toml", keeping=False)
    assert horn.name == "mine"
    path = own.path("mine")
    assert path is not None
    assert Path(path).is_file()
    assert list(tmp_path.rglob("*.toml")) == []
    own.end()
    assert not Path(path).exists()
    assert own.path("mine") is None


def test_no_horn_takes_a_name_of_the_list_and_there_are_bounds(tmp_path: Path) -> None:
    own = OwnHorns(Memory(tmp_path))
    text = Path(load_horn.__globals__["DATA"], "tenor.toml").read_text(encoding="utf-8")
    with pytest.raises(Unreadable, match="is the name of a horn of the list"):
        own.keep(text, "tenor.toml", keeping=True)
    for number in range(MOST_HORNS):
        own.keep(text.replace('"tenor"', f'"mine-{number}"', 1), "x", keeping=True)
    with pytest.raises(Unreadable, match="horns here already"):
        own.keep(text.replace('"tenor"', '"one-more"', 1), "x", keeping=True)
    assert len(own.all()) == MOST_HORNS


def test_everything_forgotten_takes_the_horns_along_and_undo_brings_them_back(client, page, tmp_path: Path) -> None:
    memory = Memory(tmp_path / "page")
    page.memory, page.own = memory, OwnHorns(memory)
    asked(client, "keep", profile=mine(), file="mine.toml", keep=True)
    client.post("/api/forget", content="{}").raise_for_status()
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []
    client.post("/api/forget", content='{"back": true}').raise_for_status()
    assert list(page.own.all()) == ["mine"]


@pytest.mark.parametrize(("table", "why"), [
    ("note,position,mm,cents\nBb2,1,0,-5\n", "1 reading says too little of a horn"),
    ("note,position,mm,cents\nBb2,1,0,-5\nF3,1,0,x\n", "'x' is no number of cents"),
    ("", "the file is empty"), ("note,position,mm,cents\nBb2,1,0,\n", "no line holds a reading"),
])
def test_readings_that_tell_nothing_are_one_plain_line(client, table: str, why: str) -> None:
    line = asked(client, "fit", 400, horn="tenor-f", table=table, file="readings", name="mine")["line"]
    assert why in line
    assert not TERMINAL.search(line)


@pytest.mark.parametrize("text", ["", "x = [", "schema = 1\n"])
def test_what_is_no_horn_is_one_plain_line(client, text: str) -> None:
    line = asked(client, "keep", 400, profile=text, file="mine.toml", keep=False)["line"]
    assert not TERMINAL.search(line.replace("mine.toml", ""))


def test_a_section_plays_horns_of_its_own(client, page, tmp_path: Path) -> None:
    memory = Memory(tmp_path / "page")
    page.memory, page.own = memory, OwnHorns(memory)
    score = opened(client, "harbour-march-trio.musicxml")
    section = {"players": [{"name": "A", "horns": ["mine"]}], "spare": ["tenor", "mine"]}
    refused = client.post("/api/fit", content=question(score, section=section)).json()
    assert "the page has no horn 'mine'" in refused["line"]
    asked(client, "keep", profile=mine(), file="mine.toml", keep=True)
    found = client.post("/api/fit", content=question(score, section=section)).json()
    assert [one["horn"] for one in found["assignments"]] == ["mine"]
    # The file names the horn's own file beside it, as the command reads it, and comes back to the form by its name.
    written = client.post("/api/section/write", content=json.dumps(section)).content
    assert b"mine.toml, saved under My horns" in written
    (tmp_path / "section.toml").write_bytes(written)
    (tmp_path / "mine.toml").write_text(mine(), encoding="utf-8")
    assert [horn.name for horn in read_section(tmp_path / "section.toml").members[0].horns] == ["mine"]
    back = client.post("/api/section/read", content=written, headers={"x-file-name": "section.toml"}).json()
    assert back == section
    # A file by any other way than its name among one's own is not looked for.
    other = {**section, "players": [{"name": "A", "horns": [str(tmp_path / "mine.toml")]}]}
    assert client.post("/api/fit", content=question(score, section=other)).status_code == 400
