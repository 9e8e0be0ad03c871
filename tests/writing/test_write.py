"""A line written for a reader: the same music, another page."""

import json
import random
from fractions import Fraction
from pathlib import Path

import pytest
from lxml import etree

from analyzer.pitch import parse_pitch
from analyzer.score.document import open_document, read_document
from analyzer.score.lines import lines_of
from analyzer.score.reader import read_part
from analyzer.writing.phrases import phrases_of, settled
from analyzer.writing.readers import Reader, clef_reader, instrument_reader, instruments
from analyzer.writing.rests import rests_between
from analyzer.writing.write import line_of_part, written_for
from tests.commands.test_map import SAMPLES, run
from tests.lines import line_of
from tests.marking.test_annotate import schema as schema
from tests.score.suites import every_file, sample
from tests.writing.checks import check, differences, lines_in, readers

SEED = 20261201


@pytest.mark.parametrize("path", sorted(SAMPLES.glob("*.m*")), ids=lambda path: path.stem)
def test_samples_come_back_note_for_note(path: Path) -> None:
    if path.suffix == ".md":
        return
    count, wrong = check(path)
    assert count
    assert wrong == []


def test_other_projects_scores_come_back_note_for_note() -> None:
    count, wrong = 0, []
    for path in sample(every_file(), 40, SEED):
        more, found = check(path, every_bass=True)
        count, wrong = count + more, wrong + found
    assert count > 60, "too few parts to mean anything"
    assert wrong == []


def test_music21_hears_the_same_notes() -> None:
    """Sounding pitches and onsets as another program reads them, for a part that is divided and transposed."""
    music21 = pytest.importorskip("music21")
    document = open_document(SAMPLES / "harbour-march-trio.musicxml")
    for asked in lines_in(document):
        for reader in readers():
            written = written_for(document, asked, reader)
            heard = music21.converter.parse(written.document.xml.decode(), format="musicxml").toSoundingPitch()
            found = [(Fraction(note.getOffsetInHierarchy(heard)).limit_denominator(960), note.pitch.midi)
                     for note in heard.recurse().notes if note.tie is None or note.tie.type == "start"]
            octaves = written.octaves
            assert found == [(note.onset, note.midi + 12 * octaves[index])
                             for index, note in enumerate(asked.line.notes)], (asked.part.id, reader.name)


def test_treble_and_bass_twins_come_out_of_each_other() -> None:
    """The bass-clef part written in treble clef B flat has the notes of the printed treble-clef part, and back."""
    document = open_document(SAMPLES / "harbour-march-trio.musicxml")
    bass, treble = (line_of_part(document, name, None)[0] for name in ("Euphonium", "Euphonium T.C."))
    for source, target, clef in ((bass, treble, "treble-b-flat"), (treble, bass, "bass")):
        written = written_for(document, source, clef_reader(clef))       # type: ignore[arg-type]
        again = lines_of(read_part(written.document, "P1")[0], "euphonium")[0][0]
        assert [note.written for note in again.notes] == [note.written for note in target.line.notes]
        assert [note.sounding for note in again.notes] == [note.sounding for note in target.line.notes]


def test_the_interval_to_the_source_is_a_major_ninth_throughout() -> None:
    document = open_document(SAMPLES / "attachment-etude.musicxml")
    asked, _ = line_of_part(document, "P1", None)
    written = written_for(document, asked, clef_reader("treble-b-flat"))
    again = lines_of(read_part(written.document, "P1")[0], "trombone")[0][0]
    steps = {("CDEFGAB".index(new.written.step) + 7 * new.written.octave
              - "CDEFGAB".index(old.written.step) - 7 * old.written.octave,
              new.written.midi - old.written.midi) for old, new in zip(asked.line.notes, again.notes, strict=True)}
    assert steps == {(8, 14)}
    key = written.document.root.find("part/measure/attributes/key/fifths")
    source = document.root.find("part/measure/attributes/key/fifths")
    assert key is not None
    assert source is not None
    assert int(key.text or 0) == int(source.text or 0) + 2
    transpose = written.document.root.find("part/measure/attributes/transpose")
    assert transpose is not None
    assert [child.text for child in transpose] == ["-1", "-2", "-1"]


@pytest.mark.parametrize("path", sorted(SAMPLES.glob("*.musicxml")), ids=lambda path: path.stem)
def test_written_parts_are_valid_musicxml(path: Path, schema: etree.XMLSchema) -> None:
    document = open_document(path)
    for asked in lines_in(document):
        for reader in readers():
            root = etree.fromstring(written_for(document, asked, reader).document.xml)
            assert schema.validate(root), (asked.part.id, reader.name, schema.error_log[:3])


def test_accidentals_are_those_the_key_asks_for() -> None:
    """Oracle: music21's own rule for what must be shown, on a part in a new key."""
    music21 = pytest.importorskip("music21")
    document = open_document(SAMPLES / "attachment-etude.musicxml")
    asked, _ = line_of_part(document, "P1", None)
    for clef in ("bass", "treble-b-flat"):
        written = written_for(document, asked, clef_reader(clef))        # type: ignore[arg-type]
        ours = [(note.findtext("pitch/step"), note.find("accidental") is not None)
                for note in written.document.root.iter("note") if note.find("pitch") is not None]
        bare = etree.fromstring(written.document.xml)
        for note in bare.iter("note"):
            for sign in note.findall("accidental"):
                note.remove(sign)
        part = music21.converter.parse(etree.tostring(bare).decode(), format="musicxml").parts[0]
        part.makeAccidentals(inPlace=True, cautionaryPitchClass=False, cautionaryNotImmediateRepeat=False,
                             overrideStatus=True)
        heard = list(part.recurse().notes)
        shown = [bool(note.pitch.accidental and note.pitch.accidental.displayStatus) for note in heard]
        # music21 also reminds of a sign in the measure before; that is a courtesy, not a must.
        key = part.recurse().getElementsByClass("KeySignature").first()
        altered = {(note.measureNumber, note.pitch.step) for note in heard
                   if note.pitch.alter != getattr(key.accidentalByStep(note.pitch.step), "alter", 0.0)}
        must = [sign and (note.measureNumber, note.pitch.step) in altered
                for sign, note in zip(shown, heard, strict=True)]
        assert sum(must) > 10
        wrong = [index for index, (our, their) in enumerate(zip(ours, must, strict=True)) if their and not our[1]]
        assert wrong == [], f"{clef}: an accidental that must be shown is not"


# --- phrases and octaves ---------------------------------------------------------------------------------------------


def test_phrases_break_only_where_the_octave_may_change() -> None:
    line = line_of("C3 D3~ E3 F3 G3 A3 B3 C4", 1)
    assert phrases_of(line) == [(0, 7)], "notes that follow each other without a breath are one phrase"
    assert phrases_of(line, {(0, "right")}) == [(0, 3), (4, 7)], "a double bar divides"
    assert phrases_of(line, {(1, "left")}) == [(0, 3), (4, 7)]
    slurred = line_of("C3 D3 E3 F3~ G3 A3 B3 C4", 1)
    assert phrases_of(slurred, {(0, "right")}) == [(0, 7)], "never inside a slur"


def test_octaves_against_every_octave_tried() -> None:
    """Brute force: no other octave of a phrase leaves fewer notes outside, and one that fits stays."""
    chance = random.Random(SEED)
    for _ in range(300):
        names = " ".join(f"{chance.choice('CDEFGAB')}{chance.randint(1, 5)}" for _ in range(chance.randint(1, 9)))
        line = line_of(names, 1)
        low = chance.randint(30, 60)
        reader = Reader(name="x", clef="bass", low=low, high=low + chance.randint(5, 30))
        cuts = {(index, "right") for index in range(2) if chance.random() < 0.5}
        phrases = phrases_of(line, cuts)
        assert [index for first, last in phrases for index in range(first, last + 1)] == list(range(len(line.notes)))
        for phrase in settled(line, phrases, reader):
            notes = line.notes[phrase.first:phrase.last + 1]
            left = {octaves: sum(not reader.has(note.midi + 12 * octaves) for note in notes)
                    for octaves in range(-5, 6)}
            assert len(phrase.outside) == min(left.values()) == left[phrase.octaves]
            if left[0] == 0:
                assert phrase.octaves == 0
                assert phrase.why is None
            else:
                assert phrase.why


def test_a_gap_is_filled_to_its_exact_length() -> None:
    chance = random.Random(SEED)
    for _ in range(400):
        bar = Fraction(chance.choice((2, 3, 4, Fraction(3, 2), 6)))
        unit = chance.choice((Fraction(1, 4), Fraction(1, 3), Fraction(1, 2), Fraction(1, 6)))
        start = unit * chance.randrange(int(bar / unit))
        end = start + unit * chance.randint(1, int((bar - start) / unit))
        rests = rests_between(start, end, bar, Fraction(48), compound=bar == 6)
        assert sum(Fraction(rest.findtext("duration") or "0") for rest in rests) == (end - start) * 48
    (whole,) = rests_between(Fraction(0), Fraction(3), Fraction(3), Fraction(1))
    rest = whole.find("rest")
    assert rest is not None
    assert rest.get("measure") == "yes", "a silent measure has one whole-measure rest in every meter"
    assert whole.find("type") is None


# --- as a user runs it -----------------------------------------------------------------------------------------------


def test_command_writes_marked_part_and_says_what_moved(tmp_path: Path) -> None:
    target = tmp_path / "part.musicxml"
    done = run("write", SAMPLES / "harbour-march-trio.musicxml", "--part", "P7", "--line", "2", "--for", "euphonium-3",
               "-o", target, "--format", "json")
    assert done.returncode == 0, done.stderr
    data = json.loads(done.stdout)
    assert data["schema"] == "lowbrass.write/1"
    assert data["reader"]["clef"] == "bass"
    assert data["cautions"]
    covered = [index for phrase in data["phrases"] for index in range(phrase["first"], phrase["last"] + 1)]
    assert covered == list(range(len(covered)))
    marks = [mark.text for mark in etree.parse(target).iter("fingering")]
    assert len(marks) == len(covered)
    assert set(marks) <= {"0", "1", "2", "3", "1-2", "1-3", "2-3", "1-2-3"}
    again = run("map", target, "--horn", "euphonium-3", "--part", "P1", "--format", "json")
    assert [note["label"] for note in json.loads(again.stdout)["lines"][0]["notes"]] == marks


def test_command_says_what_stays_outside_and_exits_with_3(tmp_path: Path) -> None:
    source = tmp_path / "leap.musicxml"
    notes = "".join(f"<note><pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>2</duration></note>"
                    for step, octave in (("C", 1), ("C", 6)))
    source.write_text('<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Trombone</part-name>'
                      '</score-part></part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions>'
                      '<clef><sign>F</sign><line>4</line></clef></attributes>'
                      f'{notes}</measure></part></score-partwise>', encoding="utf-8")
    done = run("write", source, "--part", "Trombone", "--for", "tuba", "-o", tmp_path / "tuba.musicxml", "--format",
               "json")
    assert done.returncode == 3, done.stderr
    outside = json.loads(done.stdout)["outside"]
    assert outside
    assert {note["measure"] for note in outside} == {"1"}
    assert (tmp_path / "tuba.musicxml").exists()


@pytest.mark.parametrize(("words", "told"), [
    (("--part", "P7", "--clef", "bass"), "2 players share this part"),
    (("--part", "P7", "--line", "5", "--clef", "bass"), "there is no line 5"),
    (("--part", "P9", "--for", "kazoo"), "there is no such horn or instrument"),
    (("--part", "Kazoo", "--clef", "bass"), "no part is called 'Kazoo'"),
])
def test_what_cannot_be_done_is_one_line_and_writes_nothing(words: tuple[str, ...], told: str, tmp_path: Path) -> None:
    target = tmp_path / "part.musicxml"
    done = run("write", SAMPLES / "harbour-march-trio.musicxml", *words, "-o", target)
    assert done.returncode == 1
    assert told in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert not target.exists()


def test_instruments_span_what_their_why_says() -> None:
    """Ranges: common practice, no source; the table says so itself and gives the keys it was reckoned from."""
    spans = {name: (instrument.low, instrument.high) for name, instrument in instruments().items()}
    assert spans == {name: (parse_pitch(low).midi, parse_pitch(high).midi) for name, low, high in (
        ("tenor-saxophone", "Ab2", "E5"), ("bass-clarinet", "Db2", "C5"), ("bassoon", "Bb1", "C5"),
        ("tuba", "E1", "Bb3"), ("cello", "C2", "A4"))}
    assert instrument_reader(instruments()["bassoon"], written="tenor").clef == "tenor"


def test_each_players_sheet_holds_that_players_notes_alone() -> None:
    """The trio's first staff has two players: 136 heads in all, the sheets fewer, together every head."""
    document = open_document(SAMPLES / "harbour-march-trio.musicxml")
    asked = [one for one in lines_in(document) if one.part.id == "P7"]
    heads = [[note for note in written_for(document, one, clef_reader("bass")).document.root.iter("note")
              if note.find("pitch") is not None] for one in asked]
    for one, found in zip(asked, heads, strict=True):
        assert len(found) == sum(len(note.refs) for note in one.line.notes)
        assert not any(note.find("chord") is not None for note in found)
    source = {ref for one in asked for note in one.line.notes for ref in note.refs}
    pitched = [ref for ref, note in enumerate(document.notes("P7")) if note.find("pitch") is not None]
    assert source == set(pitched)
    assert differences(written_for(document, asked[1], clef_reader("bass"))) == []
    assert read_document(written_for(document, asked[1], clef_reader("bass")).document.xml, "x.musicxml").title
