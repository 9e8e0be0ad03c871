"""One folder of all sorts of files: every one named, the scores found by content, the rows right."""

import io
import os
import random
import shutil
import struct
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest

import analyzer.library.survey as survey_module
from analyzer.horns.profiles import load_horn
from analyzer.library.files import Contents, find_entries, shown_name
from analyzer.library.glance import without_low_brass
from analyzer.library.purchase import purchase
from analyzer.library.survey import Options, Survey, assemble, survey_bytes
from analyzer.problem import Unreadable
from analyzer.report.search import search_text
from analyzer.report.survey.document import STATUSES, summary, survey_document
from analyzer.report.survey.table import survey_frame
from analyzer.report.survey.text import survey_text
from analyzer.score.document import read_document
from analyzer.score.parts import find_parts
from analyzer.section.section import read_section

SAMPLES = Path(__file__).parents[2] / "sample_scores"
STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def score_of(*pitches: str, name: str = "Trombone") -> bytes:
    """A part of quarter notes, at concert pitch."""
    notes = "".join(
        f"<note><pitch><step>{one[0]}</step><alter>{one.count('#') - one[1:].count('b')}</alter>"
        f"<octave>{one[-1]}</octave></pitch><duration>1</duration><voice>1</voice></note>" for one in pitches)
    return (f'<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>{name}</part-name></score-part>'
            f'</part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions><clef><sign>F</sign>'
            f"<line>4</line></clef></attributes>{notes}</measure></part></score-partwise>").encode()


def surveyed(folder: Path, options: Options | None = None) -> Survey:
    entries = find_entries(folder)
    contents = Contents()
    records = {one.name: survey_bytes(one.name, contents.read(one), options or Options())
               for one in entries if one.status == "score"}
    contents.close()
    return assemble(folder.name, entries, records)


def status_of(survey: Survey) -> dict[str, str]:
    return {row["file"]: row["status"] for row in survey.files}


def archive_of(members: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as pack:
        for name, data in members.items():
            pack.writestr(name, data)
    return out.getvalue()


# --- one score -------------------------------------------------------------------------------------------------------


def test_a_row_has_the_positions_of_the_method_book() -> None:
    # The B flat scale in the staff as every beginner's method has it: 1 6 4 3 1 4 2 1 (common practice, no source).
    data = score_of("Bb2", "C3", "D3", "Eb3", "F3", "G3", "A3", "Bb3")
    record = survey_bytes("scale.musicxml", data, Options(horns=(load_horn("tenor"),)))
    row, = record["lines"]
    assert record["status"] == "read"
    assert row["notes_by_position"] == {"1": 3, "2": 1, "3": 1, "4": 2, "6": 1}
    assert row["notes_by_valves"] == {"open": 8}
    assert (row["sounding_low"], row["sounding_high"], row["midi_low"], row["midi_high"]) == ("Bb2", "Bb3", 46, 58)
    assert (row["notes"], row["unplayable"], row["out_of_tune"], row["needs_valve"]) == (8, 0, 0, 0)


def test_notes_that_no_open_position_has_need_the_attachment() -> None:
    # OEIS A309909: no slide position gives B1 to E flat 2; E2 is in seventh. With the F attachment C2 to E flat 2 are
    # there, B1 is not (Wikibooks, Trombone/Slide position chart); a second valve brings B1 (contract: TS4).
    data = score_of("B1", "C2", "Db2", "D2", "Eb2", "E2", "F2")
    horns = tuple(load_horn(name) for name in ("tenor", "tenor-f", "bass-independent"))
    rows = {row["horn"]: row for row in survey_bytes("low.musicxml", data, Options(horns=horns))["lines"]}
    assert [rows[name]["unplayable"] for name in ("tenor", "tenor-f", "bass-independent")] == [5, 1, 0]
    assert [rows[name]["needs_valve"] for name in ("tenor", "tenor-f", "bass-independent")] == [0, 4, 5]
    assert rows["bass-independent"]["needs_two_valves"] == 1


def test_compensating_horn_is_nearer_in_tune_where_the_fourth_valve_is_down() -> None:
    # Sharp without compensation: every combination of the fourth valve with others (reference table of lengths in
    # tests/published/derived_valve_sharpness.csv).
    data = score_of("Eb2", "D2", "Db2", "C2", name="Euphonium")
    record = survey_bytes("low.musicxml", data, Options())
    plain, loops = record["lines"]
    assert [plain["horn"], loops["horn"]] == ["euphonium-4", "euphonium-4-compensating"]
    assert plain["off_sum_cents"] > loops["off_sum_cents"]
    assert plain["out_of_tune"] > loops["out_of_tune"]
    assert plain["needs_valve"] is None
    assert plain["notes_by_position"] == {}


def test_without_horns_each_family_is_planned_on_a_plainer_and_a_fuller_one() -> None:
    for name, horns in (("Trombone 1", ["tenor", "tenor-f"]), ("Bass Trombone", ["bass-single", "bass-independent"]),
                        ("Baritone", ["baritone-3"])):
        lines = survey_bytes("x.xml", score_of("F3", "G3", name=name), Options())["lines"]
        assert [row["horn"] for row in lines] == horns
        assert all(row["horn_assumed"] for row in lines)


def test_a_horn_holds_for_its_family_and_other_lines_keep_theirs() -> None:
    options = Options(horns=(load_horn("tenor"), load_horn("bass-single")))
    lines = survey_bytes("x.xml", score_of("F3", name="Euphonium"), options)["lines"]
    assert [(row["horn"], row["horn_assumed"]) for row in lines] == [("euphonium-4-compensating", True)]
    lines = survey_bytes("x.xml", score_of("F3"), options)["lines"]
    assert [(row["horn"], row["horn_assumed"]) for row in lines] == [("tenor", False), ("bass-single", False)]


def test_a_part_of_another_family_is_planned_when_asked_for() -> None:
    data = score_of("C3", "G2", name="Violoncello")
    assert survey_bytes("x.xml", data, Options())["status"] == "no low brass"
    record = survey_bytes("x.xml", data, Options(parts=("Viola", "violoncello")))
    assert [(row["part"], row["horn"]) for row in record["lines"]] == [("Violoncello", "tenor-f")]
    assert survey_bytes("x.xml", data, Options(parts=("Viola",)))["status"] == "no low brass"


def test_equal_horns_from_another_process_count_as_one() -> None:
    horn = load_horn("tenor")
    twin = replace(horn)
    assert twin is not horn
    assert survey_module._same(twin) is survey_module._same(horn)


def test_a_fault_of_ours_becomes_a_record(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a fault put here")

    monkeypatch.setattr(survey_module, "asked_lines", broken)
    record = survey_bytes("x.xml", score_of("F3"), Options())
    assert (record["status"], record["problem"]["code"]) == ("unreadable", "inner-fault")
    assert "ZeroDivisionError: a fault put here" in record["reason"]


@pytest.mark.parametrize("seed", range(40))
def test_damaged_scores_never_raise(seed: int) -> None:
    rng = random.Random(seed)
    name = rng.choice(("harbour-march-trio.musicxml", "quiet-chorale-trombones.mxl"))
    data = bytearray((SAMPLES / name).read_bytes())
    if seed % 2:
        del data[rng.randrange(len(data)):]
    for _ in range(rng.randint(0, 6)):
        if data:
            data[rng.randrange(len(data))] = rng.randrange(256)
    record = survey_bytes("hurt.musicxml", bytes(data), Options(horns=(load_horn("tenor"),)))
    assert record["status"] in STATUSES
    assert (record["problem"] is None) == (record["status"] == "read")
    assert record["problem"] is None or record["problem"]["code"] != "inner-fault", record["reason"]


# --- a folder --------------------------------------------------------------------------------------------------------


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "library"
    (place / "spring").mkdir(parents=True)
    (place / "spring" / "march").write_bytes(score_of("F3", "Bb2"))                 # no ending at all
    (place / "etude.musicxml").write_bytes((SAMPLES / "attachment-etude.musicxml").read_bytes())
    shutil.copy(SAMPLES / "attachment-etude.musicxml", place / "spring" / "copy of etude.xml")
    shutil.copy(SAMPLES / "quiet-chorale-trombones.mxl", place / "chorale.mxl")
    (place / "choir.musicxml").write_bytes(score_of("C4", name="Soprano"))
    (place / "cut.musicxml").write_bytes((SAMPLES / "harbour-march-trio.musicxml").read_bytes()[:3000])
    (place / "empty.xml").write_bytes(b"")
    (place / "empty too.xml").write_bytes(b"")
    (place / "page.html").write_bytes(b"<!DOCTYPE html><html></html>")
    (place / "page.xml").write_bytes(b"<!DOCTYPE html><html></html> ")
    (place / "picture.png").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(100))
    (place / "letter.docx").write_bytes(archive_of({"[Content_Types].xml": b"<a/>", "word/document.xml": b"<a/>"}))
    (place / "broken.zip").write_bytes(archive_of({"a": b"x" * 1000})[:60])
    with zipfile.ZipFile(place / "chorale.mxl") as pack:
        inner = next(name for name in pack.namelist() if name.endswith((".musicxml", ".xml")) and "META" not in name)
        music = pack.read(inner)
    (place / "chorale as plain text.musicxml").write_bytes(music)
    (place / "pack.zip").write_bytes(archive_of({
        "autumn/waltz.xml": score_of("F3", "Eb3"), "autumn/notes.txt": b"bring mutes",
        "inner.zip": archive_of({"a": b"b"}), "bomb.xml": b"<a>" + b" " * 3 * 2**20 + b"</a>",
        "etude.xml": (place / "etude.musicxml").read_bytes(), "chorale.mxl": (place / "chorale.mxl").read_bytes()}))
    return place


def test_every_file_is_named_and_has_its_status(folder: Path) -> None:
    survey = surveyed(folder)
    found = status_of(survey)
    there = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    with zipfile.ZipFile(folder / "pack.zip") as pack:
        there |= {f"pack.zip/{name}" for name in pack.namelist()}
    assert set(found) == there
    assert len(found) == len(survey.files)
    assert found == {
        "broken.zip": "unreadable", "choir.musicxml": "no low brass", "chorale as plain text.musicxml": "read",
        "chorale.mxl": "duplicate", "cut.musicxml": "unreadable", "empty too.xml": "unreadable",
        "empty.xml": "unreadable", "etude.musicxml": "read", "letter.docx": "not a score", "pack.zip": "archive",
        "pack.zip/autumn/notes.txt": "not a score", "pack.zip/autumn/waltz.xml": "read",
        "pack.zip/bomb.xml": "unreadable", "pack.zip/chorale.mxl": "duplicate", "pack.zip/etude.xml": "duplicate",
        "pack.zip/inner.zip": "unreadable", "page.html": "not a score", "page.xml": "unreadable",
        "picture.png": "not a score", "spring/copy of etude.xml": "duplicate", "spring/march": "read",
    }
    for row in survey.files:
        assert row["status"] == "read" or row["reason"], row["file"]
        assert row["status"] not in ("unreadable", "not a score") or row["problem"]["where"].startswith(row["file"])
    assert {row["file"] for row in survey.lines} == {name for name, status in found.items() if status == "read"}


def test_a_compressed_and_a_plain_copy_are_one_score(folder: Path) -> None:
    rows = {row["file"]: row for row in surveyed(folder).files}
    assert rows["chorale.mxl"]["duplicate_of"] == "chorale as plain text.musicxml"
    assert rows["spring/copy of etude.xml"]["duplicate_of"] == "etude.musicxml"
    assert rows["spring/copy of etude.xml"]["lines"] == 0


def test_document_names_what_could_not_be_read_and_has_cautions(folder: Path) -> None:
    document = survey_document(surveyed(folder))
    assert document["schema"] == "lowbrass.survey/1"
    assert {one["where"].split(",")[0] for one in document["problems"]} >= {"cut.musicxml", "empty.xml", "broken.zip"}
    assert document["cautions"]
    assert document["summary"]["files"]["unreadable"] == len(document["problems"])


def test_encrypted_member_is_named(tmp_path: Path) -> None:
    data = bytearray(archive_of({"a.xml": score_of("F3")}))
    for mark, place in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):        # general purpose flags, bit 0: encrypted
        at = data.index(mark) + place
        struct.pack_into("<H", data, at, struct.unpack_from("<H", data, at)[0] | 1)
    (tmp_path / "secret.zip").write_bytes(data)
    row = surveyed(tmp_path).files[1]
    assert (row["file"], row["status"]) == ("secret.zip/a.xml", "unreadable")
    assert "encrypted" in row["reason"]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_pipes_links_and_odd_names(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "loop").symlink_to(tmp_path, target_is_directory=True)
    (tmp_path / "gone.xml").symlink_to(tmp_path / "nowhere")
    Path(os.fsdecode(os.fsencode(tmp_path) + b"/\xff.xml")).write_bytes(score_of("F3"))
    assert status_of(surveyed(tmp_path)) == {
        "pipe": "not a score", "loop": "unreadable", "gone.xml": "unreadable", "\\xff.xml": "read"}
    assert shown_name("Übung.xml") == "Übung.xml"


def test_a_file_that_may_not_be_read_is_named(tmp_path: Path) -> None:
    (tmp_path / "closed.xml").write_bytes(score_of("F3"))
    (tmp_path / "closed.xml").chmod(0)
    if os.access(tmp_path / "closed.xml", os.R_OK):
        pytest.skip("this user may read everything")
    row, = surveyed(tmp_path).files
    assert row["status"] == "unreadable"


def test_a_file_that_changes_meanwhile_is_not_taken_for_the_other(tmp_path: Path) -> None:
    path = tmp_path / "a.xml"
    path.write_bytes(score_of("F3"))
    entry, = find_entries(tmp_path)
    path.write_bytes(score_of("G3"))
    with pytest.raises(Unreadable, match="changed while the survey ran"):
        Contents().read(entry)
    path.unlink()
    with pytest.raises(Unreadable, match="cannot be read any more"):
        Contents().read(entry)


def test_other_forms_are_read_when_asked(tmp_path: Path) -> None:
    pytest.importorskip("music21", reason="other forms come through music21")
    tune = b"X:1\nT:Low Tune\nM:4/4\nL:1/4\nK:Bb clef=bass\nV:1 name=\"Trombone\"\nB,,C,D,E,|F,4|\n"
    (tmp_path / "tune.abc").write_bytes(tune)
    (tmp_path / "pack.zip").write_bytes(archive_of({"inner.abc": tune + b"% another copy"}))
    (tmp_path / "notes.txt").write_text("bring mutes")
    (tmp_path / "looks like xml.xml").write_bytes(b'<mei xmlns="http://www.music-encoding.org/ns/mei"/>')
    without = surveyed(tmp_path)
    assert status_of(without).pop("looks like xml.xml") == "unreadable", "MEI is read unasked, and this holds no music"
    assert set(status_of(without).values()) == {"not a score", "archive", "unreadable"}
    assert sum("another form" in row["reason"] for row in without.files) == 2
    for text in (survey_text(without), search_text(without, 5)):
        assert "MIDI, ABC or Humdrum is skipped: 2 files; add --foreign to read it." in " ".join(text.split())
    entries = find_entries(tmp_path, foreign=True)
    assert {one.name for one in entries if one.status == "score"} == {
        "tune.abc", "pack.zip/inner.abc", "looks like xml.xml"}
    record = survey_bytes("tune.abc", tune, Options(parts=("P1",)))
    assert (record["status"], record["problem"]) == ("read", None), record["reason"]
    assert {row["notes"] for row in record["lines"]} == {5}
    assert record["problems"], "what the form leaves out is said"


def test_one_archive_or_one_score_may_stand_for_the_folder(folder: Path) -> None:
    assert status_of(surveyed(folder / "pack.zip"))["pack.zip/autumn/waltz.xml"] == "read"
    assert status_of(surveyed(folder / "etude.musicxml")) == {"etude.musicxml": "read"}
    with pytest.raises(Unreadable, match="no such folder"):
        find_entries(folder / "nowhere")


# --- sums ------------------------------------------------------------------------------------------------------------


def test_sums_are_those_of_a_count_by_hand(tmp_path: Path) -> None:
    (tmp_path / "a.xml").write_bytes(score_of("Bb2", "D2", "C2", "F3"))         # two notes need the attachment
    (tmp_path / "b.xml").write_bytes(score_of("Bb2", "F3"))
    (tmp_path / "c.xml").write_bytes(score_of("C2", name="Euphonium"))
    sums = summary(surveyed(tmp_path))
    assert (sums["lines"], sums["notes"]) == (3, 7)
    assert sums["lines_by_family"] == {"euphonium": 1, "trombone": 2}
    assert sums["attachment"] == {"lines": 2, "lines_needing": 1, "notes_needing": 2, "share": 0.5}
    assert sums["second_valve"] is None
    tenor = next(one for one in sums["horns"] if one["horn"] == "tenor")
    assert (tenor["lines"], tenor["notes"], tenor["unplayable"], tenor["lines_with_unplayable"]) == (2, 6, 2, 1)
    assert sums["compensating"]["lines"] == 1
    assert sums["compensating"]["saves_mean_cents"] > 0


def test_one_more_horn_is_worth_the_lines_that_it_opens(tmp_path: Path) -> None:
    (tmp_path / "a.xml").write_bytes(score_of("Bb2", "D2", "C2"))               # D2, C2 need an attachment
    (tmp_path / "b.xml").write_bytes(score_of("Bb2", "B1"))                     # B1 needs two valves
    (tmp_path / "c.xml").write_bytes(score_of("Bb2", "F3"))
    (tmp_path / "section.toml").write_text('[[player]]\nname = "First"\nhorns = ["tenor"]\n')
    survey = surveyed(tmp_path)
    case = purchase(survey, read_section(tmp_path / "section.toml"))
    assert (case.owned, case.lines, case.open_now) == (("tenor",), 3, 1)
    adds = {step.what: lines for step, lines in case.singles}
    assert (adds["tenor-f"], adds["bass-independent"]) == (1, 2)
    text = " ".join(survey_text(survey, case).split())
    assert "1 of 3 lines are playable" in text
    assert "Best next purchase: bass-dependent (then 3 of 3 lines are playable)." in text


def test_compensating_is_compared_with_its_like_once_a_line(tmp_path: Path) -> None:
    (tmp_path / "c.xml").write_bytes(score_of("C3", "D3", name="Euphonium"))
    names = ("baritone-3", "euphonium-3", "euphonium-3-compensating", "euphonium-4", "euphonium-4-compensating")
    loops = summary(surveyed(tmp_path, Options(horns=tuple(load_horn(name) for name in names))))["compensating"]
    assert loops["lines"] == 1
    assert (loops["plain"]["horns"], loops["compensating"]["horns"]) == (["euphonium-4"], ["euphonium-4-compensating"])
    assert summary(surveyed(tmp_path, Options(horns=tuple(load_horn(name) for name in names[::2]))))[
        "compensating"] is None, "a baritone is no like of a euphonium, nor three valves of four"


def test_text_says_it_in_words(folder: Path) -> None:
    text = survey_text(surveyed(folder))
    assert "21 files: 4 read; 1 without the parts asked for; 4 the same as another" in " ".join(text.split())
    assert "cut.musicxml: the file stops in the middle of the score" in text
    assert "Attachment:" in text
    assert text.count("Caution:") >= 3
    assert max(len(line) for line in text.splitlines() if "Caution" not in line) <= 110


def test_text_of_a_folder_without_scores(tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_text("no music")
    text = survey_text(surveyed(tmp_path))
    assert "1 file: 1 no score." in text
    assert "--foreign" not in text, "there is no music in another form"
    assert "No line to plan was found." in text


def test_table_has_a_column_for_every_position_and_state(folder: Path) -> None:
    survey = surveyed(folder)
    frame = survey_frame(survey)
    assert len(frame) == len(survey.lines)
    positions = [name for name in frame.columns if name.startswith("position_")]
    slide = frame[frame["horn_family"] == "slide"]
    assert (slide[positions].sum(axis=1) == slide["notes"] - slide["unplayable"]).all()
    states = [name for name in frame.columns if name.startswith("valves_")]
    assert (frame[states].sum(axis=1) == frame["notes"] - frame["unplayable"]).all()
    empty = survey_frame(assemble("x", [], {}))
    assert list(empty.columns)[:3] == ["file", "title", "part_id"]


# --- a glance at the part list ---------------------------------------------------------------------------------------


def corpus() -> list[Path]:
    music21 = pytest.importorskip("music21", reason="the scores come with music21")
    return sorted(path for path in Path(music21.__file__).parent.rglob("*")
                  if path.suffix in (".mxl", ".xml", ".musicxml") and path.is_file())


def agrees_with_a_whole_reading(path: Path) -> bool:
    """Whether the glance found nothing to read; if so, the whole score must have no low brass either."""
    data = path.read_bytes()
    if without_low_brass(data, path.name) is None:
        return False
    record = survey_bytes(path.name, data, Options())
    try:
        document = read_document(data, path.name)
    except Unreadable:
        return False
    parts, _ = find_parts(document)
    assert record["status"] == "no low brass"
    # Music without an entry in the part list is not seen by the glance, nor has it a name that could be low brass.
    listed = {part.get("id") for part in document.root.iterfind("part-list/score-part")}
    counted = f"among its {len(listed)} parts" if len(listed) != 1 else "its only part is"
    assert counted in record["reason"]
    assert not any(part.low_brass for part in parts), path
    return True


def test_the_part_list_tells_that_there_is_no_low_brass() -> None:
    paths = [*random.Random(5).sample(corpus(), 30), *(SAMPLES.glob("*.m*l"))]
    assert sum(agrees_with_a_whole_reading(path) for path in paths) > 20


@pytest.mark.whole
def test_the_part_list_is_right_about_every_score_of_the_corpus() -> None:
    assert sum(agrees_with_a_whole_reading(path) for path in corpus()) > 700


@pytest.mark.parametrize(("name", "sign"), [("Trombone", "F"), ("Tbn.", "C"), ("Posaune 2", "F")])
def test_a_glance_never_turns_away_low_brass(name: str, sign: str) -> None:
    data = score_of("F3", name=name).replace(b"<sign>F<", f"<sign>{sign}<".encode())
    assert without_low_brass(data, "x.xml") is None
    assert without_low_brass(data.decode().encode("utf-16"), "x.xml") is None
    assert survey_bytes("x.xml", data, Options())["status"] == "read"


def test_parts_in_bass_clef_are_planned_when_asked() -> None:
    data = score_of("C3", "G2", name="Violoncello")
    row, = survey_bytes("x.xml", data, Options(bass_clef=True))["lines"]
    assert (row["part"], row["horn"], row["notes_by_pitch"]) == ("Violoncello", "tenor-f", {"43": 1, "48": 1})
    treble = data.replace(b"<sign>F</sign><line>4</line>", b"<sign>G</sign><line>2</line>")
    assert survey_bytes("x.xml", treble, Options(bass_clef=True))["status"] == "no low brass"


def test_the_hardest_measure_is_the_one_far_out() -> None:
    row, = survey_bytes("x.xml", score_of("Bb2", "E2", "Bb2"), Options(horns=(load_horn("tenor"),)))["lines"]
    # By the definition in plan/difficulty.py: a move across the whole slide, or its far end.
    assert 0.25 < row["difficulty"] <= 2.0
    assert row["hardest_measure"] == "1"
    assert "E2" in row["hardest_why"].replace("♭", "b")
