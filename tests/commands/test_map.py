"""``lowbrass map`` as a user runs it: a process, its streams, its exit code, its files."""

import json
import os
import re
import stat
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_scores"


def run(*words: object, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "analyzer", *map(str, words)], capture_output=True, text=True,
                          encoding="utf-8", cwd=cwd or ROOT, timeout=120, check=False)


def score(notes: str, name: str = "Trombone") -> str:
    return ('<?xml version="1.0" encoding="UTF-8"?><score-partwise version="4.0"><part-list><score-part id="P1">'
            f'<part-name>{name}</part-name></score-part></part-list><part id="P1"><measure number="1"><attributes>'
            '<divisions>1</divisions><clef><sign>F</sign><line>4</line></clef></attributes>'
            f'{notes}</measure></part></score-partwise>')


B1 = "<note><pitch><step>B</step><octave>1</octave></pitch><duration>4</duration><type>whole</type></note>"
B2 = "<note><pitch><step>B</step><octave>2</octave></pitch><duration>4</duration><type>whole</type></note>"


def test_json_keeps_the_contract() -> None:
    done = run("map", SAMPLES / "deep-water-bass-trombone.musicxml", "--format", "json", "--plans", "3")
    assert done.returncode == 0
    data = json.loads(done.stdout)
    assert data["schema"] == "lowbrass.map/1"
    assert data["cautions"]
    line = data["lines"][0]
    assert {"part", "line", "of", "horn", "notes", "totals", "plans"} <= set(line)
    assert set(line["totals"]) == {"notes", "unplayable", "travel_mm", "chart_travel_mm", "valve_changes",
                                   "peak_speed_mm_s", "tempo_ceiling_bpm", "ceiling_by", "beat"}
    for note in line["notes"]:
        assert {"index", "measure", "onset", "duration", "written", "sounding", "midi", "grace", "label", "valves",
                "position", "shade", "partial", "extension_mm", "off_cents", "chart_label", "pinned", "why",
                "alternatives", "problem"} <= set(note)
        assert note["label"] is not None or note["problem"] is not None
    costs = [plan["cost"] for plan in line["plans"]]
    assert costs == sorted(costs)
    assert line["plans"][0]["labels"] == [note["label"] for note in line["notes"]]
    assert len({tuple(plan["labels"]) for plan in line["plans"]}) == 3
    first, *others = line["variants"]
    assert first["labels"] == line["plans"][0]["labels"]
    assert first["differs"] == []
    for other in others:
        assert other["differs"] == [k for k, (a, b) in enumerate(zip(first["labels"], other["labels"], strict=True))
                                    if a != b] != []


def test_other_plans_and_three_sentences_are_told(tmp_path: Path) -> None:
    path = tmp_path / "low.musicxml"
    path.write_text(score(B2), encoding="utf-8")
    said = " ".join(run("map", path, "--plans", "3").stdout.split())
    assert "The one note can be played; none uses an alternate." in said
    assert "Slide travel: 0.0 m, the same as the usual chart." in said
    assert "Plan 2: cost" in said
    assert "Differs: measure 1 B2 in 7 (not T2)." in said
    assert "Plan 2" not in run("map", path).stdout
    pinned = run("map", path, "--plans", "3", "--pin", "1:1=7").stdout
    assert "No other plan really differs" in pinned


@pytest.mark.parametrize("name", sorted(path.name for path in SAMPLES.glob("*.m*x*l")))
def test_every_sample_is_mapped_marked_and_cleared(name: str, tmp_path: Path) -> None:
    source = SAMPLES / name
    out, again, clear = (tmp_path / f"{stem}{source.suffix}" for stem in ("out", "again", "clear"))
    assert run("map", source, "-o", out).returncode == 0
    assert run("map", out, "-o", again).returncode == 0
    assert again.read_bytes() == out.read_bytes()
    assert run("map", out, "--clear", "-o", clear).returncode == 0
    if source.suffix == ".mxl":
        before, after = zipfile.ZipFile(source), zipfile.ZipFile(clear)
        assert before.namelist() == after.namelist()
        assert all(before.read(member) == after.read(member) for member in before.namelist())
    else:
        assert clear.read_bytes() == source.read_bytes()


def test_pins_by_measure_and_strict(tmp_path: Path) -> None:
    path = tmp_path / "low.musicxml"
    path.write_text(score(B2), encoding="utf-8")
    pinned = json.loads(run("map", path, "--pin", "1:1=7", "--format", "json").stdout)["lines"][0]["notes"][0]
    assert (pinned["label"], pinned["pinned"], pinned["chart_label"]) == ("7", True, "T2")
    path.write_text(score(B1), encoding="utf-8")
    assert run("map", path).returncode == 0
    strict = run("map", path, "--strict")
    assert strict.returncode == 3
    assert run("map", path, "--strict", "--horn", "bass-independent").returncode == 0


def test_horn_holds_for_its_family_and_the_assumption_is_said() -> None:
    data = json.loads(run("map", SAMPLES / "harbour-march-trio.musicxml", "--horn", "tenor", "--format", "json").stdout)
    horns = {line["part"]["name"]: (line["horn"], line["horn_assumed"]) for line in data["lines"]}
    assert all(horn == ("tenor", False) for name, horn in horns.items() if "uph" not in name)
    assert all(horn == ("euphonium-4-compensating", True) for name, horn in horns.items() if "uph" in name)
    assert len(horns) >= 3


HOSTILE = {
    "empty.musicxml": b"",
    "cut.musicxml": score(B2).encode()[:-40],
    "picture.musicxml": b"\x89PNG\r\n\x1a\n" + bytes(200),
    "page.xml": b"<!DOCTYPE html><html><head><title>x</title></head><body>hi</body></html>",
    "bomb.xml": b'<!DOCTYPE lolz [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]><score-partwise>&b;'
                b"</score-partwise>",
    "folder.mxl": b"PK\x05\x06" + bytes(18),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_bad_files_get_one_line_and_leave_nothing(name: str, tmp_path: Path) -> None:
    path = tmp_path / name
    path.write_bytes(HOSTILE[name])
    out = tmp_path / f"out{path.suffix}"
    done = run("map", path, "-o", out)
    assert done.returncode == 1
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    assert name in done.stderr
    assert "Traceback" not in done.stderr
    assert sorted(tmp_path.iterdir()) == [path]


def test_a_huge_archive_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "huge.mxl"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("META-INF/container.xml",
                         '<container><rootfiles><rootfile full-path="score.xml"/></rootfiles></container>')
        with archive.open("score.xml", "w", force_zip64=True) as member:
            for _ in range(1024):
                member.write(bytes(1 << 20))
    done = run("map", path)
    assert done.returncode == 1
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize(("words", "code", "said"), [
    (["nowhere.musicxml"], 1, "nowhere.musicxml"),
    (["{low}", "--part", "Tuba"], 1, "no part is called 'Tuba'"),
    (["{low}", "--horn", "sackbut"], 1, "sackbut"),
    (["{low}", "--measures", "7-9"], 1, "no measure 7"),
    (["{low}", "--measures", "-"], 2, "no range of measures"),
    (["{low}", "--pin", "1:1=9"], 1, "'9' does not sound B2"),
    (["{low}", "--pin", "1:9=7"], 1, "has 1 attacks"),
    (["{low}", "--pin", "what"], 2, "no pin"),
    (["{low}", "-o", "x.docx"], 2, "ending"),
    (["{low}", "--tempo", "-5"], 2, "tempo"),
    (["{low}", "--player", "none.toml"], 1, "none.toml"),
    (["{violin}"], 1, "no trombone"),
])
def test_wrong_requests_say_where_what_and_what_to_try(words: list[str], code: int, said: str, tmp_path: Path) -> None:
    low, violin = tmp_path / "low.musicxml", tmp_path / "violin.musicxml"
    low.write_text(score(B2), encoding="utf-8")
    violin.write_text(score(B2, "Violin"), encoding="utf-8")
    done = run("map", *(word.format(low=low, violin=violin) for word in words), cwd=tmp_path)
    assert done.returncode == code
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    assert sorted(tmp_path.iterdir()) == [low, violin]


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root writes everywhere")
def test_a_read_only_folder_is_said(tmp_path: Path) -> None:
    low, folder = tmp_path / "low.musicxml", tmp_path / "shut"
    low.write_text(score(B2), encoding="utf-8")
    folder.mkdir()
    folder.chmod(stat.S_IRUSR | stat.S_IXUSR)
    done = run("map", low, "-o", folder / "out.musicxml")
    assert done.returncode == 1
    assert "cannot be written" in done.stderr


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    low = tmp_path / "low.musicxml"
    low.write_text(score(B2), encoding="utf-8")
    done = run("map", low, "-o", tmp_path / "no" / "out.musicxml")
    assert done.returncode == 1
    assert "cannot be written" in done.stderr
    assert sorted(tmp_path.iterdir()) == [low]


def test_two_runs_give_the_same_bytes(tmp_path: Path) -> None:
    for ending in ("json", "csv", "text"):
        first, second = (run("map", SAMPLES / "harbour-march-trio.musicxml", "--format", ending).stdout for _ in "ab")
        assert first == second
        assert first


def test_the_ending_decides_plain_or_compressed(tmp_path: Path) -> None:
    from lxml import etree

    from analyzer.score.document import open_document

    plain, packed = SAMPLES / "attachment-etude.musicxml", SAMPLES / "quiet-chorale-trombones.mxl"
    for source in (plain, packed):
        outs = [tmp_path / f"{source.stem}{ending}" for ending in (".musicxml", ".mxl")]
        for out in outs:
            assert run("map", source, "-o", out).returncode == 0
        assert not zipfile.is_zipfile(outs[0])
        assert zipfile.is_zipfile(outs[1])
        first, second = (etree.tostring(open_document(out).root, method="c14n") for out in outs)
        assert first == second


def test_the_answer_comes_first_and_every_note_on_request() -> None:
    path = SAMPLES / "harbour-march-trio.musicxml"
    short, whole = (run("map", path, *more).stdout for more in ((), ("--notes",)))
    lines = len(json.loads(run("map", path, "--format", "json").stdout)["lines"])
    first = " ".join(short.split("\n\n")[0].split())
    head = rf"Harbour Street March: Trio: {lines} lines with \d+ notes\. Tempo: half note = \d+"
    assert re.match(head, first)
    # The march is in cut time, and its tempi are told in halves, as printed.
    assert re.search(r"Top tempo: about half note = \d+ \(.+, m\. \d+\)\.", first)
    assert short.count("Caution:") == 1
    assert "--notes" in short
    assert whole.count("Caution:") == len(json.loads(run("map", path, "--format", "json").stdout)["cautions"])
    assert "m. 19" in whole
    assert len(short.splitlines()) < 0.5 * len(whole.splitlines())


def test_what_cannot_be_played_is_in_the_first_paragraph_with_its_measures(tmp_path: Path) -> None:
    path = tmp_path / "low.musicxml"
    path.write_text(score(B1 + B2), encoding="utf-8")
    said = run("map", path, "--horn", "tenor-f").stdout
    assert "Cannot be played: B1 (measure 1)." in " ".join(said.split("\n\n")[0].split())
    assert "! m. 1: B1 cannot be played on tenor-f" in said
    path.write_text(score(B2), encoding="utf-8")
    assert "Every note can be played. Nothing is too fast." in " ".join(run("map", path).stdout.split())


def test_a_review_without_findings_says_so_once(tmp_path: Path) -> None:
    path = tmp_path / "calm.musicxml"
    part = score("<note><pitch><step>F</step><octave>3</octave></pitch><duration>4</duration></note>")
    second = '<score-part id="P2"><part-name>Trombone 2</part-name></score-part>'
    two = part.replace("</score-part>", f"</score-part>{second}")
    body = part[part.index('<part id="P1">'):part.index("</score-partwise>")].replace("P1", "P2")
    path.write_text(two.replace("</score-partwise>", f"{body}</score-partwise>"), encoding="utf-8")
    said = run("review", path).stdout
    assert said.count("Nothing found") == 1
    assert "Nothing found in 2 lines" in said
