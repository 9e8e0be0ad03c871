"""No word of the terminal or of the inside of a file on the page: every sentence that may come, every view and state.

Whoever sits at the page may never have seen a terminal: an option, a command's name, a key of a file, a horn's name
there or the code of a problem tells nothing there.
"""

import ast
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from lxml import html

import analyzer
from analyzer.horns.profiles import horn_names
from analyzer.problem import Problem
from analyzer.report.plain import FIELD_NAMES, plain, plain_line
from analyzer.web.app import FILES, STATIC
from tests.web.conftest import SAMPLES
from tests.web.test_app import opened, planned, question

ROOT = Path(analyzer.__file__).parent
COMMANDS = "|".join(sorted(path.stem for path in (ROOT / "commands").glob("*.py") if path.stem != "__init__"))
HORNS = "|".join(sorted((name for name in horn_names() if "-" in name), key=len, reverse=True))
TERMINAL = re.compile(
    rf"(?<![\w-])--[a-z]|(?<![\w-])-o\b|\blowbrass (?:{COMMANDS})\b|\bpip\b|`|\[\[|\w = \[|\[player\]|\bJSON\b(?!\))"
    rf"|\b[a-z]+_[a-z_]+\b|(?<![\w-])(?:{HORNS})(?![\w-])| \[[a-z]+(?:-[a-z]+)+\](?=\s|$)|\btreble-b-flat\b")
# Whose sentences come to the page.
HEARD = [*(ROOT / "score").glob("*.py"), *(ROOT / "plan").glob("*.py"), *(ROOT / "review").glob("*.py"),
         *(ROOT / "section").glob("*.py"), *(ROOT / "marking").glob("*.py"), *(ROOT / "web").glob("*.py"),
         ROOT / "selection.py", ROOT / "supposed.py", ROOT / "analysis.py", ROOT / "cautions.py",
         ROOT / "assumption.py", ROOT / "toml_file.py", ROOT / "report" / "page_answers.py",
         ROOT / "report" / "fit" / "text.py", ROOT / "horns" / "profiles.py", ROOT / "report" / "ready.py",
         *(ROOT / "practice").glob("*.py"), *(ROOT / "hearing").glob("*.py"), ROOT / "report" / "drill" / "text.py",
         *(ROOT / "tuning").glob("*.py"), *(ROOT / "course").glob("*.py"), ROOT / "report" / "search.py",
         ROOT / "report" / "survey" / "text.py", ROOT / "report" / "survey" / "document.py",
         ROOT / "report" / "course" / "document.py", ROOT / "library" / "files.py", ROOT / "library" / "search.py",
         ROOT / "library" / "survey.py", ROOT / "library" / "purchase.py", ROOT / "report" / "chart" / "transition.py"]
# Said at the terminal alone: why a file cannot be read or written there, and what no view asks for.
ELSEWHERE = {
    "calibrate.py", "learn.py", "practiced.py", "weights.py", "pulls.py", "server.py",
    "Name one file in it; `lowbrass survey` reads a whole folder.", "width_px is {}; it goes from 200 to 10000",
    "Give another name, or look at it with lowbrass section check.",
    "Describe 3 or 4, each under [[valve]].", "valve {} has second_percent, but the second loops are the others'",
    "Take second_percent out under valve {}.",
    "{}: see the page (-o FILE.html) or --format json",
    "Play the alternations of lowbrass tune moves --sheet, each for some seconds.",
    # Hints, which the page leaves out, and a list that it gives whole.
    "Week by week from a folder of scores: lowbrass course FOLDER --player FILE.toml --from {} --to {} -o FOLDER",
    "--most shows them, --format json gives all.", "and {} more; --format json names them all.",
    "A change of horn or clef week by week from this folder: lowbrass course (see its --help).",
}
FILES_THEMSELVES = ("# ", "\n[[part]]", "import sys;")    # beginnings of what is written into files, or run


def sentences(path: Path) -> Iterator[str]:
    """Every text of a module that has a space in it, with {} for what is put in; documentation left out."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    skipped = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    skipped |= {id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) for part in node.values}
    for node in ast.walk(tree):
        if id(node) in skipped:
            continue
        if isinstance(node, ast.JoinedStr):
            yield "".join(str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value


def test_the_ban_knows_what_it_bans() -> None:
    for text in ("Say --tempo.", 'Add horns = ["tenor-f"]', "lowbrass horns lists them", "reach_mm is 3", "write -o",
                 "better on bass-single", "`lowbrass parts`", "a line [[player]]", "no part. [no-such-part]",
                 "Transposition: treble-b-flat"):
        assert TERMINAL.search(text), text
    for text in ("mm. 3-5", "1-2-3 to 0", "T-S", "F attachment [sic] and more", "lowbrass", "a four-part chorale",
                 "Data (JSON)", "line 3: no notes."):
        assert not TERMINAL.search(text), text


def test_no_sentence_that_may_come_to_the_page_speaks_of_the_terminal() -> None:
    seen, wrong = 0, []
    for path in HEARD:
        if path.name in ELSEWHERE:
            continue
        for text in sentences(path):
            if " " not in text or text.startswith(FILES_THEMSELVES) or text in ELSEWHERE:
                continue
            seen += 1
            if TERMINAL.search(plain(text)):
                wrong.append(f"{path.relative_to(ROOT)}: {plain(text)}")
    assert seen > 500
    assert wrong == []


def test_every_key_of_a_file_has_a_name_on_the_page() -> None:
    from analyzer.plan.player import KEYS
    from analyzer.section.section import EXTRA_KEYS

    assert {*KEYS, *EXTRA_KEYS} - {*FIELD_NAMES, "horns"} == set()


def test_a_problem_s_line_has_no_code() -> None:
    problem = Problem(severity="error", code="no-such-part", where="a.mxl", what="there is no part 'X'",
                      try_="`lowbrass parts` lists the parts.")
    assert plain_line(problem) == "a.mxl: there is no part 'X'. Choose another part."


def test_the_page_s_own_words_are_plain() -> None:
    said = html.fromstring((STATIC / "page.html").read_bytes())
    assert not TERMINAL.search(" ".join(said.text_content().split()))
    for name, kind in FILES.values():
        if kind == "text/javascript":
            script = (STATIC / name).read_text(encoding="utf-8")
            # Sentences alone: what a script is made of has underscores and horns' names, what it says has spaces.
            for text in re.findall(r'"([^"\n]* [^"\n]*)"', script):
                assert not re.search(rf"\blowbrass (?:{COMMANDS})\b|(?<![\w-])--[a-z]|\.toml\b", text), (name, text)


def said_in(answer: object, name: str = "") -> Iterator[str]:
    """Every sentence of an answer that the page shows: not what names a thing for the script."""
    if isinstance(answer, dict):
        for key, value in answer.items():
            yield from said_in(value, key)
    elif isinstance(answer, list):
        for value in answer:
            yield from said_in(value, name)
    elif isinstance(answer, str) and name not in ("horn", "horn_name", "svg", "pictures", "name", "key", "code",
                                                  "session", "file"):
        yield answer


@pytest.mark.parametrize("score", ["attachment-etude.musicxml", "deep-water-bass-trombone.musicxml",
                                   "evening-song-euphonium.musicxml", "harbour-march-trio.musicxml"])
@pytest.mark.parametrize("more", [
    {}, {"horn": "tenor"}, {"horn": "bass-dependent", "player": {"outermost_position": 3}}, {"tempo": 260},
    {"horn": "euphonium-3", "player": {"learned": [], "high": "D4"}}, {"reads": "treble-b-flat"}, {"part": "none"},
    {"player": {"reach_mm": 1}}, {"from": "900"}, {"horn": "none"},
])
def test_every_answer_is_plain(client, score: str, more: dict) -> None:
    found = opened(client, score)
    body = question(found, **more)
    answers: list[object] = []
    for path in ("plan", "sound", "review"):
        answer = client.post(f"/api/{path}", content=body).json()
        answers.append(answer.get("page", answer) if "line" not in answer or path == "plan" else answer["line"])
        if isinstance(answers[-1], dict):
            answers[-1].pop("problem", None)
    answers.append({"horns": [one["description"] for one in client.get("/api/start").json()["horns"]]})
    for text in said_in(answers):
        assert not TERMINAL.search(text), text


@pytest.mark.parametrize("players", [
    [], [{"name": "A", "horns": []}], [{"name": "A"}, {"name": "a", "horns": ["tenor"], "low": "H2", "reach_mm": 1}],
    [{"name": "A", "horns": ["nothing"], "outermost_position": 9, "endurance_minutes": -1, "clefs": ["c"],
      "keeps": "tuba", "extreme_low": "x", "level": "god", "learned": 3, "cannot": 3, "attachment_in_tune": "G"}],
    [{"name": "A", "horns": ["tenor"], "low": "F4", "high": "E2"}, {"name": "B", "horns": ["tenor"], "no_key": 1}],
    [{"name": "A", "horns": ["tenor", "bass-single"], "outermost_position": 3, "keeps": "trombone"},
     {"name": "B", "horns": ["euphonium-3"], "low": "C3", "high": "D4", "clefs": ["bass"], "level": "beginner"}],
])
def test_every_answer_about_a_section_is_plain(client, players: list[dict]) -> None:
    found = opened(client, "harbour-march-trio.musicxml")
    reply = client.post("/api/fit", content=question(found, section={"players": players, "spare": ["tenor-f"]}))
    answer = reply.json()
    for text in said_in(answer["page"] if reply.status_code == 200 else answer):
        assert not TERMINAL.search(text), text


@pytest.mark.parametrize(("path", "text"), [
    ("section/read", "x"), ("section/read", "[player]\nname = 'A'\n"), ("section/read", "[[player]]\nname = 'A'\n"),
    ("section/read", "spare = ['none']\n"), ("section/read", "level = 'x'\n[[player]]\nhorns = ['x.toml']\n"),
    ("player/read", "[[player]]\nname='A'"), ("player/read", "a = 1"), ("player/read", "player = 3"),
    ("player/read", "[player]\nreach_mm = 'x'"), ("player/read", "reach_mm = 300"),
])
def test_every_answer_about_a_file_is_plain(client, path: str, text: str) -> None:
    answer = client.post(f"/api/{path}", content=text.encode(), headers={"x-file-name": "mine.toml"}).json()
    assert not TERMINAL.search(answer["line"].replace("mine.toml", "")), answer["line"]


@pytest.mark.parametrize("pins", ["", "[[part]]\nid = 'P9'\nname = 'X'\npins = ['1.1=1']\n", "pins = 3"])
def test_every_answer_about_pins_is_plain(client, pins: str) -> None:
    body = json.loads(question(opened(client)))
    answer = client.post("/api/pins/read", content=json.dumps({**body, "text": pins, "name": "mine.toml"})).json()
    assert not TERMINAL.search(answer["line"].replace("mine.toml", "")), answer["line"]
    nothing = client.post("/api/pins/write", content=json.dumps(body)).json()
    assert not TERMINAL.search(nothing["line"]), nothing["line"]


def test_a_horn_named_in_a_remedy_is_told_by_what_it_is(client) -> None:
    found = opened(client, "deep-water-bass-trombone.musicxml")
    planned(client, found)
    shown = client.post("/api/review", content=question(found, horn="tenor")).json()["page"]
    said = " ".join(said_in(shown))
    assert "bass trombone with" in said
    assert (SAMPLES / "section.toml").is_file()
