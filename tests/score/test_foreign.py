"""Scores that are no MusicXML: what is read is what music21 itself reads, and what is broken is said in one line.

The MIDI bytes are written out by hand from the Standard MIDI File specification (MIDI Association, RP-001).
"""

import os
import subprocess
import sys
import warnings
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from analyzer.problem import Unreadable
from analyzer.score import foreign
from analyzer.score.counting import attacks_in_abc, attacks_in_kern, attacks_in_midi
from analyzer.score.document import Document, open_document
from analyzer.score.foreign import MAX_FOREIGN_BYTES, foreign_form
from analyzer.score.parts import find_parts
from analyzer.score.reader import read_part
from analyzer.selection import no_low_brass

music21 = pytest.importorskip("music21", reason="needs music21 (extra build)")
CORPUS = Path(music21.__file__).parent / "corpus"

ABC = "X:1\nT:Low tune\nM:4/4\nL:1/4\nK:Bb bass\nB,,C,D,F,|(G,A,) B,2|]\n"
KERN = ("**kern\t**kern\n*clefF4\t*clefF4\n*M4/4\t*M4/4\n=1\t=1\n2BB-\t4d\n.\t4e-\n2F\t2f\n=2\t=2\n1E\t1c\n==\t==\n"
        "*-\t*-\n")
MEI = """<?xml version="1.0" encoding="UTF-8"?>
<mei xmlns="http://www.music-encoding.org/ns/mei" meiversion="4.0.0"><meiHead><fileDesc><titleStmt><title>Low</title>
</titleStmt><pubStmt/></fileDesc></meiHead><music><body><mdiv><score><scoreDef meter.count="4" meter.unit="4"><staffGrp>
<staffDef n="1" lines="5" label="Euphonium" clef.shape="F" clef.line="4"/></staffGrp></scoreDef><section>
<measure n="1"><staff n="1"><layer n="1"><note pname="b" accid="f" oct="2" dur="2"/><note pname="c" oct="3" dur="2"/>
</layer></staff></measure></section></score></mdiv></body></music></mei>
"""


def _track(*events: bytes) -> bytes:
    body = b"".join(events) + b"\x00\xff\x2f\x00"
    return b"MTrk" + len(body).to_bytes(4) + body


def _midi(*tracks: bytes, ticks: int = 96) -> bytes:
    return b"MThd" + (6).to_bytes(4) + (1).to_bytes(2) + len(tracks).to_bytes(2) + ticks.to_bytes(2) + b"".join(tracks)


def _named(name: str, program: int, midis: tuple[int, ...]) -> bytes:
    text = name.encode()
    notes = b"".join(bytes((0, 0x90, midi, 80, 96, 0x80, midi, 0)) for midi in midis)     # a quarter note each
    return _track(b"\x00\xff\x03" + bytes((len(text),)) + text, bytes((0, 0xC0, program)), notes)


MIDI = _midi(_named("Trombone", 57, (46, 48, 50, 53, 55)), _named("Trumpet in Bb", 56, (70, 72, 74, 77, 79)))


def _put(folder: Path, name: str, data: str | bytes) -> Path:
    path = folder / name
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return path


def _ours(document: Document) -> list[Counter[tuple[float, int]]]:
    """Onset in quarter notes and sounding MIDI number of every attack, part by part; grace notes apart."""
    found = []
    for part_id in document.part_ids:
        part, _ = read_part(document, part_id)
        found.append(Counter((round(float(note.onset), 3), note.sounding.midi) for note in part.notes
                             if note.duration and not note.tie_stop))
    return found


def _theirs(data: bytes, form: str) -> list[Counter[tuple[float, int]]]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score: Any = music21.converter.parseData(data if form == "midi" else data.decode(), format=form)
    parts = []
    for part in score.parts:
        found: Counter[tuple[float, int]] = Counter()
        for note in part.flatten().notes:
            for one in note.notes if note.isChord else (note,):
                if not note.duration.isGrace and (one.tie is None or one.tie.type == "start"):
                    found[round(float(note.offset), 3), one.pitch.midi] += 1
        parts.append(found)
    return parts


@pytest.mark.parametrize(("name", "data", "form"), [
    ("tune.abc", ABC.replace(" bass", "").encode(), "abc"), ("two.krn", KERN.encode(), "humdrum"),
    ("band.mid", MIDI, "midi"),
    *((path.name, path, form) for form, path in (
        ("abc", CORPUS / "ryansMammoth/LetsBeGay.abc"), ("abc", CORPUS / "ryansMammoth/TwoPennyPostmansJig.abc"),
        ("humdrum", CORPUS / "palestrina/Credo_67_c.krn"), ("humdrum", CORPUS / "palestrina/Gloria_70_c.krn"))),
])
def test_notes_are_those_that_music21_reads(name: str, data: bytes | Path, form: str, tmp_path: Path) -> None:
    data = data.read_bytes() if isinstance(data, Path) else data
    document = open_document(_put(tmp_path, name, data))
    theirs = _theirs(data, form)
    assert sum(map(len, theirs)) >= 2
    assert _ours(document) == theirs
    assert [problem.severity for problem in document.problems] == ["note"]
    assert "MusicXML" in document.problems[0].what
    assert document.name == name
    assert document.part_ids[0] == "P1"


def test_pitches_written_by_hand_are_heard(tmp_path: Path) -> None:
    document = open_document(_put(tmp_path, "a.mid", MIDI))
    assert [sorted(midi for _, midi in part) for part in _ours(document)] == [
        [46, 48, 50, 53, 55], [70, 72, 74, 77, 79]], "MIDI numbers are those heard, whatever the instrument"
    infos, problems = find_parts(document)
    assert [info.family for info in infos] == ["trombone", "other"]
    assert any("as played" in problem.what for problem in problems)
    tune = open_document(_put(tmp_path, "a.abc", ABC))
    assert [measure.get("number") for measure in tune.part_measures("P1")] == ["1", "2"]
    assert tune.title == "Low tune"


def test_an_upbeat_stays_measure_0(tmp_path: Path) -> None:
    document = open_document(_put(tmp_path, "a.abc", ABC.replace("bass\n", "bass\nF,,|")))
    assert [measure.get("number") for measure in document.part_measures("P1")] == ["0", "1", "2"]


def test_the_content_comes_before_the_ending(tmp_path: Path) -> None:
    assert foreign_form(MIDI, "x.abc") == "midi"
    assert foreign_form(ABC.encode(), "x") == "abc"
    assert foreign_form(KERN.encode(), "x.txt") == "humdrum"
    assert foreign_form(b"!!!COM: Nobody\n" + KERN.encode(), "x.mid") == "humdrum"
    assert foreign_form(MEI.encode(), "x.musicxml") is None, "MEI has a reader of its own"
    assert foreign_form(b"T:no number\nK:C\nCDE|\n", "x.abc") == "abc"
    assert foreign_form(b"T:no number\nK:C\nCDE|\n", "x.txt") is None
    assert foreign_form(b"<score-partwise/>", "x.mei") is None
    assert foreign_form(b"PK\3\4", "x.mid") is None
    assert open_document(_put(tmp_path, "x.musicxml", MIDI)).part_ids == ("P1", "P2")


def test_the_same_bytes_give_the_same_score(tmp_path: Path) -> None:
    path = _put(tmp_path, "a.krn", KERN)
    first, second = open_document(path).xml, open_document(path).xml
    assert first == second
    assert b"encoding-date" not in first
    assert list(tmp_path.iterdir()) == [path]


def test_of_a_tune_book_the_first_is_read_and_that_is_said(tmp_path: Path) -> None:
    document = open_document(_put(tmp_path, "a.abc", ABC + "\n" + ABC.replace("X:1", "X:2").replace("B,,", "E,,")))
    assert len(_ours(document)[0]) == 7
    assert [problem.code for problem in document.problems] == ["converted", "first-tune"]
    assert "2 pieces" in document.problems[1].what


@pytest.mark.parametrize(("name", "data", "code"), [
    ("a.mid", MIDI[:40], "cut-off"), ("a.mid", MIDI[:10], "cut-off"),
    ("a.mid", b"MThd" + b"\xff" * 60, "damaged-score"),
    ("a.mid", b"hello", "damaged-score"), ("a.mid", MIDI[:12] + b"\xe8\x28" + MIDI[14:], "not-musicxml"),
    ("a.mid", MIDI[:22] + b"\xff" * (len(_named("Trombone", 57, (46, 48, 50, 53, 55))) - 8) +
     MIDI[22 + len(_named("Trombone", 57, (46, 48, 50, 53, 55))) - 8:], "damaged-score"),
    ("a.mid", _midi(_track()), "damaged-score"),
    ("a.krn", KERN[:60], "cut-off"), ("a.krn", "nothing of the kind\n", "damaged-score"),
    ("a.krn", "**kern\n=1\n*-\n", "damaged-score"),
    ("a.abc", "X:1\nT:cut", "damaged-score"), ("a.abc", "X:1\nK:C\n", "damaged-score"),
    ("a.abc", b"X:1\nK:C\n\0\1\2", "damaged-score"),
    ("a.mei", MEI[:500], "cut-off"), ("a.mei", MEI.replace("</layer>", ""), "not-xml"),
    ("a.mei", MEI.replace("<mei ", '<!DOCTYPE mei [<!ENTITY a SYSTEM "file:///etc/hostname">]><mei ', 1),
     "refused-xml"),
    ("a.mid", _midi(_track((b"\x00\x90\x2e\x50" + b"\xff\xff\xff\x7f" + b"\x80\x2e\x00") * 4), ticks=1),
     "damaged-score"),                 # 268 million beats: the longest wait that MIDI can write
    ("a.mid", MIDI + b"\0" * MAX_FOREIGN_BYTES, "too-large"), ("a.abc", "", "empty-file"),
])
def test_a_broken_file_is_said_in_one_line(name: str, data: str | bytes, code: str, tmp_path: Path) -> None:
    with pytest.raises(Unreadable) as caught:
        open_document(_put(tmp_path, name, data))
    text = str(caught.value)
    assert caught.value.problem.code == code, text
    assert "\n" not in text
    assert text.startswith(name)


def test_what_takes_too_long_is_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(foreign, "_MAX_SECONDS", 0.01)
    with pytest.raises(Unreadable) as caught:
        open_document(_put(tmp_path, "a.mid", MIDI))
    assert caught.value.problem.code == "too-long"


@pytest.mark.parametrize("key", ["K:Bb", "K:Bb bass", "K:Bb clef=bass"])
def test_a_clef_moves_no_abc_note(key: str, tmp_path: Path) -> None:
    # ABC: C is middle C, a comma an octave lower (The ABC Music Standard 2.1, section 4.1); music21 alone reads
    # B flat 0 where the key line names the bass clef.
    document = open_document(_put(tmp_path, "a.abc", ABC.replace("K:Bb bass", key)))
    assert sorted(midi for _, midi in _ours(document)[0]) == [46, 48, 50, 53, 55, 57, 58]
    assert document.root.findtext("part/measure/attributes/clef/sign") == "F"


def test_an_octave_that_may_not_be_followed_is_said(tmp_path: Path) -> None:
    document = open_document(_put(tmp_path, "a.abc", ABC.replace("bass", "clef=bass octave=-1")))
    assert [problem.code for problem in document.problems] == ["converted", "clef-shift"]


def test_a_second_count_of_the_notes_has_to_agree(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Counted by hand in the three examples above; ties once, every note of a chord."""
    assert attacks_in_abc(ABC) == 7
    assert attacks_in_abc("X:1\nK:C\n\"Am\"!f!A2-A [CEG]-[CEG] {c}B z [K:G] G|\nw: no bad egg\n") == 7
    assert attacks_in_kern(KERN) == 7
    assert attacks_in_kern("**kern\n[4c\n4c_\n4c]\n*^\n4d\t4e 4g\n*v\t*v\n4r\n8ryy\n*-\n") == 4
    assert attacks_in_midi(MIDI) == 10
    for name, data in (("a.abc", ABC), ("b.krn", KERN), ("c.mid", MIDI)):
        document = open_document(_put(tmp_path, name, data))
        assert document.lost is not None
        assert document.lost.about == "form"
        for part_id in document.part_ids:
            assert document.lost in read_part(document, part_id)[0].assumptions
    monkeypatch.setattr(foreign, "attacks_in_abc", lambda _: 8)
    with pytest.raises(Unreadable, match="holds 8 notes, and 7 came through") as caught:
        open_document(_put(tmp_path, "a.abc", ABC))
    assert caught.value.problem.code == "notes-differ"


def test_names_that_a_form_does_not_carry_are_not_called_missing(tmp_path: Path) -> None:
    document = open_document(_put(tmp_path, "b.krn", KERN))
    assert no_low_brass(document).code == "names-not-read"
    assert "no trombone" not in no_low_brass(document).what
    named = open_document(_put(tmp_path, "c.mid", _midi(_named("Flute", 73, (70, 72)))))
    assert no_low_brass(named).code == "no-low-brass", "here the name was read"


def test_mei_has_the_notes_that_music21_reads(tmp_path: Path) -> None:
    document = open_document(_put(tmp_path, "low.mei", MEI))
    assert _ours(document) == _theirs(MEI.encode(), "mei")
    assert document.problems == ()
    assert [part.family for part in find_parts(document)[0]] == ["euphonium"]


def _run(*arguments: str, cwd: Path, **more: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "analyzer", *arguments], capture_output=True, text=True, cwd=cwd,
                          check=False, env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2]), **more})


def test_map_writes_the_converted_score_with_marks(tmp_path: Path) -> None:
    _put(tmp_path, "tune.abc", ABC)
    done = _run("map", "tune.abc", "--part", "P1", "-o", "out.musicxml", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "ABC" in done.stderr
    written = open_document(tmp_path / "out.musicxml")
    assert written.problems == ()
    assert _ours(written) == _ours(open_document(tmp_path / "tune.abc"))
    assert written.xml.count(b"<fingering") == 7


@pytest.mark.whole
@pytest.mark.parametrize("arguments", [
    ("parts", "band.mid"), ("map", "band.mid"), ("review", "band.mid"),
    ("compare", "band.mid", "--horns", "tenor,tenor-f"),
    ("ready", "band.mid", "--from", "tenor", "--to", "tenor-f", "--player", "one.toml"),
    ("drill", "band.mid", "--horn", "tenor-f", "-o", "sheet.musicxml"), ("fit", "band.mid", "--section", "all.toml"),
    ("survey", ".", "--format", "json"), ("survey", ".", "--foreign"),
], ids=" ".join)
def test_every_command_takes_the_other_forms(arguments: tuple[str, ...], tmp_path: Path) -> None:
    _put(tmp_path, "band.mid", MIDI)
    _put(tmp_path, "one.toml", '[player]\nname = "A"\n')
    _put(tmp_path, "all.toml", '[[player]]\nname = "A"\nhorns = ["tenor-f"]\n')
    done = _run(*arguments, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    if "json" in arguments:
        assert "--foreign" in done.stdout, "it says how to have the file read"
    elif arguments[0] != "survey":
        assert "MIDI" in done.stderr, "what MIDI does not carry is said"


def test_a_converted_score_is_written_as_musicxml_only(tmp_path: Path) -> None:
    _put(tmp_path, "tune.abc", ABC)
    refused = _run("map", "tune.abc", "--part", "P1", "-o", "out.abc", cwd=tmp_path)
    assert refused.returncode == 2
    assert ".musicxml" in refused.stderr
    assert not (tmp_path / "out.abc").exists()
    for name in ("out.musicxml", "out.mxl"):
        assert _run("map", "tune.abc", "--part", "P1", "-o", name, cwd=tmp_path).returncode == 0
        assert open_document(tmp_path / name).notes("P1")



def test_without_music21_one_line_says_what_to_install(tmp_path: Path) -> None:
    (tmp_path / "hidden").mkdir()
    _put(tmp_path / "hidden", "music21.py", "raise ModuleNotFoundError('hidden', name='music21')\n")
    _put(tmp_path, "tune.abc", ABC)
    done = _run("parts", "tune.abc", cwd=tmp_path,
                PYTHONPATH=os.pathsep.join((str(tmp_path / "hidden"), str(Path(__file__).parents[2]))))
    assert done.returncode == 1
    assert "pip install 'lowbrass[build]'" in done.stderr
    assert done.stderr.count("\n") == 1


def test_a_plain_score_loads_no_converter(tmp_path: Path) -> None:
    _put(tmp_path, "tune.abc", ABC)
    plain = open_document(tmp_path / "tune.abc").xml
    _put(tmp_path, "plain.musicxml", plain)
    code = ("import sys, pathlib; from analyzer.score.document import open_document; "
            "open_document(pathlib.Path('plain.musicxml')); "
            "print([one for one in ('music21', 'subprocess', 'analyzer.score.foreign') if one in sys.modules])")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=tmp_path, check=True,
                          env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])})
    assert done.stdout.strip() == "[]"
