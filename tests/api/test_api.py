"""``import analyzer`` as a programmer uses it: the same documents as the commands, short forms, tables, files."""

import inspect
import json
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner
from lxml import etree, html

import analyzer
from analyzer.cli import cli

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_scores"
TRIO, ETUDE, BASS, HYMN = (SAMPLES / f"{name}.musicxml" for name in (
    "harbour-march-trio", "attachment-etude", "deep-water-bass-trombone", "brass-band-hymn"))
STUDENT, SECTION = SAMPLES / "student.toml", SAMPLES / "section.toml"


def said(*words: object) -> dict:
    done = CliRunner().invoke(cli, [*map(str, words), "--format", "json"])
    assert done.exit_code in (0, 3), done.output
    return json.loads(done.stdout)


def alike(document: dict) -> dict:
    return json.loads(json.dumps(document))


@pytest.fixture(scope="module")
def trio() -> object:
    return analyzer.read(TRIO)


@pytest.mark.parametrize(("answer", "words"), [
    (lambda trio: trio, ["parts", TRIO]),
    (lambda trio: analyzer.horn("tenor-f"), ["chart", "tenor-f"]),
    (lambda trio: analyzer.plan(trio), ["map", TRIO]),
    (lambda trio: analyzer.plan(TRIO, horn="tenor", tempo_bpm=80, measures="3-9", player=STUDENT),
     ["map", TRIO, "--horn", "tenor", "--tempo", 80, "--measures", "3-9", "--player", STUDENT]),
    (lambda trio: analyzer.plan(ETUDE, pins={"9:5": "1"}, horn=analyzer.horn("tenor")),
     ["map", ETUDE, "--pin", "9:5=1", "--horn", "tenor"]),
    (lambda trio: analyzer.plan(HYMN, reads="treble-b-flat"), ["map", HYMN, "--reads", "treble-b-flat"]),
    (lambda trio: analyzer.plan(trio, intonation="just"), ["map", TRIO, "--intonation", "just"]),
    (lambda trio: analyzer.review(BASS, horn="tenor", measures=(1, 9)),
     ["review", BASS, "--horn", "tenor", "--measures", "1-9"]),
    (lambda trio: analyzer.compare(trio, horns=["tenor", "tenor-f"]), ["compare", TRIO, "--horns", "tenor,tenor-f"]),
    (lambda trio: analyzer.fit(trio, section=SECTION, tempo_bpm=100),
     ["fit", TRIO, "--section", SECTION, "--tempo", 100]),
    (lambda trio: analyzer.ready(trio, player=STUDENT, from_horn="tenor", to_horn="tenor-f"),
     ["ready", TRIO, "--player", STUDENT, "--from", "tenor", "--to", "tenor-f"]),
    (lambda trio: analyzer.drill(ETUDE, horn="tenor-f", weeks=2), ["drill", ETUDE, "--horn", "tenor-f", "--weeks", 2]),
    (lambda trio: analyzer.survey(SAMPLES), ["survey", SAMPLES, "--jobs", 1]),
], ids=lambda value: value[0] if isinstance(value, list) else "")
def test_each_result_is_the_document_and_the_text_of_its_command(trio, answer, words: list[object]) -> None:
    found = answer(trio)
    document = found.to_dict()
    assert alike(document) == said(*words)
    jsonschema.validate(alike(document), analyzer.schema(document["schema"]))
    assert str(found) == CliRunner().invoke(cli, [*map(str, words)]).stdout.strip("\n")
    assert len(repr(found)) < 200
    assert "\n" not in repr(found)
    assert html.fromstring(found._repr_html_()).text_content().strip()


def test_the_caller_may_change_a_document_without_harm(trio) -> None:
    analysis = analyzer.plan(trio)
    analysis.to_dict()["lines"].clear()
    assert analysis.to_dict()["lines"]


def test_even_what_lies_below_has_a_short_form(trio) -> None:
    found = analyzer.plan(trio)._found
    for each in (found, found.document, found.lines[0], found.lines[0].plan, found.lines[0].plan.line):
        assert len(repr(each)) < 300, type(each)


def test_a_plan_has_lines_notes_and_totals(trio) -> None:
    analysis = analyzer.plan(trio, part=["Euphonium"])
    [line] = analysis.lines
    assert (line.number, line.of, line.horn) == (1, 1, "euphonium-4-compensating")
    assert line.labels == [note["label"] for note in analysis.to_dict()["lines"][0]["notes"]]
    assert line.totals["notes"] == len(line.notes) > 10
    assert analysis.cautions


def test_the_table_has_one_row_a_note_and_the_fields_of_a_note(trio) -> None:
    pandas = pytest.importorskip("pandas")
    analysis = analyzer.plan(trio)
    frame = analysis.to_frame()
    notes = [note for line in analysis.to_dict()["lines"] for note in line["notes"]]
    assert list(frame.columns) == list(notes[0])
    assert len(frame) == len(notes)
    assert frame.index.names == ["part", "line"]
    assert list(frame["label"]) == [note["label"] for note in notes]
    assert frame["position"].dtype == pandas.Int64Dtype()
    euphonium = frame.loc[("P3", 1)] if ("P3", 1) in frame.index else frame[frame["position"].isna()]
    assert len(euphonium) > 0
    first = frame.iloc[0]
    assert (first["written"], first["midi"]) == (notes[0]["written"], notes[0]["midi"])


@pytest.mark.parametrize("ending", [".musicxml", ".xml", ".mxl", ".svg", ".html", ".pdf"])
def test_write_gives_what_the_command_writes(ending: str, tmp_path: Path) -> None:
    if ending in (".svg", ".html", ".pdf"):
        pytest.importorskip("verovio", reason="the extra engrave is not installed")
    ours, theirs = tmp_path / f"ours{ending}", tmp_path / f"theirs{ending}"
    assert analyzer.plan(ETUDE, measures="1-4").write(str(ours)) == ours
    assert CliRunner().invoke(cli, ["map", str(ETUDE), "--measures", "1-4", "-o", str(theirs)]).exit_code == 0
    assert ours.stat().st_size > 500
    if ending in (".musicxml", ".xml", ".svg"):
        assert etree.parse(ours).getroot() is not None
        assert ours.read_bytes() == theirs.read_bytes()


def test_a_practice_sheet_is_written(tmp_path: Path) -> None:
    sheet = analyzer.drill(ETUDE, horn="tenor-f").write(tmp_path / "sheet.musicxml")
    assert len(analyzer.read(sheet).parts) == 1
    with pytest.raises(ValueError, match="ending"):
        analyzer.drill(ETUDE, horn="tenor-f").write(tmp_path / "sheet.docx")


@pytest.mark.parametrize(("ask", "code", "words"), [
    (lambda: analyzer.read("nowhere.musicxml"), "no-file", "nowhere.musicxml"),
    (lambda: analyzer.read(SECTION), "not-musicxml", "section.toml"),
    (lambda: analyzer.plan(TRIO, part="Bagpipe"), "no-such-part", "Bagpipe"),
    (lambda: analyzer.plan(TRIO, measures="300-301"), "no-such-measure", "300"),
    (lambda: analyzer.plan(TRIO, player={"reach": 5}), "bad-key", "reach"),
    (lambda: analyzer.fit(TRIO, section={"player": []}), "bad-section", "empty"),
    (lambda: analyzer.survey("no/such/folder"), "no-folder", "no/such/folder"),
])
def test_what_cannot_be_read_is_one_clear_error(ask, code: str, words: str) -> None:
    with pytest.raises(analyzer.Unreadable) as caught:
        ask()
    assert caught.value.problem.code == code
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(("ask", "words"), [
    (lambda: analyzer.plan(TRIO, tempo_bpm=5000), "10 to 600"),
    (lambda: analyzer.plan(TRIO, measures="-"), "5-12"),
    (lambda: analyzer.plan(TRIO, pins=["what"]), "12:3=T1"),
    (lambda: analyzer.plan(TRIO, intonation="wild"), "equal"),
    (lambda: analyzer.plan(TRIO, reads="upside-down"), "treble-b-flat"),
    (lambda: analyzer.compare(TRIO, horns=["tenor"]), "two horns"),
    (lambda: analyzer.ready(TRIO, player=STUDENT, from_horn="tenor", to_horn="tenor"), "tenor"),
    (lambda: analyzer.plan(TRIO).write("marked.docx"), ".musicxml"),
    (lambda: analyzer.schema("nothing"), "map"),
])
def test_a_value_of_the_wrong_form_says_what_to_give(ask, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        ask()


def test_folders_of_the_package_are_functions_too(trio) -> None:
    """`plan` and `review` are folders of code; whoever imported from them first, they can be called."""
    from analyzer.plan.solve import Planner
    from analyzer.review.line import review

    assert Planner
    assert review
    assert analyzer.plan(trio).lines
    assert "horn" in inspect.signature(analyzer.plan).parameters
    assert "measures" in inspect.signature(analyzer.review).parameters
    assert set(analyzer.__all__) <= set(dir(analyzer))
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = analyzer.nothing


def test_a_bare_import_loads_nothing() -> None:
    """Counted, not timed: what a bare import adds to a bare start."""
    code = ("import sys; before = set(sys.modules); import analyzer; "
            "print(sorted(set(sys.modules) - before))")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    added = set(eval(done.stdout))
    assert {name for name in added if name.startswith("analyzer")} == {"analyzer"}
    heavy = {"lxml", "click", "pandas", "verovio", "json", "pathlib", "typing"}
    assert not {name.split(".")[0] for name in added} & heavy
