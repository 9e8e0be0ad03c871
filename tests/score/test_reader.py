"""Traps of the format. What is expected follows the documentation of MusicXML 4.0 (W3C, element pages)."""

import tracemalloc
from fractions import Fraction
from pathlib import Path

import pytest

from analyzer.problem import Unreadable
from analyzer.score.document import read_document
from analyzer.score.reader import read_part
from tests.score.build import attributes, backup, chord, codes, forward, note, part, score, words


def heard(data: bytes) -> list[tuple[str, Fraction, Fraction]]:
    return [(each.sounding.name, each.onset, each.duration) for each in part(data).notes]


def test_divisions_may_change_from_measure_to_measure_and_inside_one() -> None:
    data = score(note("C3", 8) + note("D3", 8),
                 "<attributes><divisions>1</divisions></attributes>" + note("E3", 2)
                 + "<attributes><divisions>3</divisions></attributes>" + note("F3", 4) + note("G3", 2))
    assert heard(data) == [("C3", 0, 2), ("D3", 2, 2), ("E3", 4, 2), ("F3", 6, Fraction(4, 3)),
                           ("G3", Fraction(22, 3), Fraction(2, 3))]
    assert [measure.duration for measure in part(data).measures] == [4, 4]


def test_divisions_may_be_a_decimal_number() -> None:
    # positive-divisions is a decimal type
    assert heard(score(note("C3", "2.5") + note("D3", "1.25"), first=attributes(1).replace(">1<", ">2.5<", 1))) == [
        ("C3", 0, 1), ("D3", 1, Fraction(1, 2))]


def test_backup_forward_and_voices() -> None:
    data = score(note("C4", 16) + backup(16) + forward(4) + note("E3", 12, voice="2"))
    assert heard(data) == [("C4", 0, 4), ("E3", 1, 3)]
    assert [each.voice for each in part(data).notes] == ["1", "2"]


def test_chord_sounds_with_the_note_before_also_across_other_elements() -> None:
    # LilyPond's suite, 21f: an element between the notes of a chord does not part them
    data = score(note("C3", 4) + words("cresc.") + note("E3", 4, before="<chord/>") + note("G3", 4))
    assert [(name, onset) for name, onset, _ in heard(data)] == [("C3", 0), ("E3", 0), ("G3", 1)]
    assert [each.chord for each in part(data).notes] == [False, True, False]


def test_note_of_a_chord_without_a_voice_stands_in_that_of_the_chord() -> None:
    data = score(note("C4", 16) + backup(16) + note("C3", 16, voice="2")
                 + note("E3", 16, before="<chord/>").replace("<voice>1</voice>", ""))
    assert [each.voice for each in part(data).notes] == ["1", "2", "2"]


def test_grace_notes_take_no_time_and_lean_on_the_next() -> None:
    data = score(note("C3", 4) + note("D3", None, before='<grace slash="yes"/>') + note("E3", 4))
    assert heard(data) == [("C3", 0, 1), ("D3", 1, 0), ("E3", 1, 1)]
    assert [each.grace for each in part(data).notes] == [False, True, False]


def test_ref_counts_every_note_element_also_rests() -> None:
    data = score(note("", 4) + note("C3", 4) + note("", 4) + chord("D3", "F3"))
    assert [each.ref for each in part(data).notes] == [1, 3, 4]


@pytest.mark.parametrize("tie", [
    ('<tie type="start"/>', "", '<tie type="stop"/>', ""),
    ("", '<notations><tied type="start"/></notations>', "", '<notations><tied type="stop"/></notations>'),
])
def test_ties_by_either_element(tie: tuple[str, str, str, str]) -> None:
    first, second = part(score(note("C3", 8, inner=tie[0], after=tie[1]) + note("C3", 8, inner=tie[2], after=tie[3]))
                         ).notes
    assert (first.tie_start, first.tie_stop, second.tie_start, second.tie_stop) == (True, False, False, True)


def test_let_ring_is_no_tie() -> None:
    assert not part(score(note("C3", 8, after='<notations><tied type="let-ring"/></notations>'))).notes[0].tie_start


def test_transposition_with_octave_and_change_inside_the_part() -> None:
    # B flat treble baritone: sounds a major ninth lower (transpose: diatonic -1, chromatic -2, octave-change -1)
    transpose = ("<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic><octave-change>-1</octave-change>"
                 "</transpose>")
    back = "<attributes><transpose><chromatic>0</chromatic></transpose></attributes>"
    data = score(note("C5", 8) + back + note("C4", 8), note("D4", 16), first=attributes(4, "G2", transpose))
    assert [name for name, _, _ in heard(data)] == ["Bb3", "C4", "D4"]
    assert [each.written.name for each in part(data).notes] == ["C5", "C4", "D4"]


def test_transposition_of_one_staff_alone() -> None:
    more = '<staves>2</staves><transpose number="2"><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>'
    data = score(note("C4", 16, after="<staff>1</staff>") + backup(16) + note("C4", 16, voice="2",
                                                                              after="<staff>2</staff>"),
                 first=attributes(4, "F4", more))
    assert [name for name, _, _ in heard(data)] == ["C4", "Bb3"]


def test_treble_clef_alone_never_transposes_and_reads_overrides() -> None:
    data = score(note("C5", 16), first=attributes(4, "G2"))
    assert [name for name, _, _ in heard(data)] == ["C5"]
    document = read_document(data, "a.xml")
    told, _ = read_part(document, "P1", reads="treble-b-flat")
    assert told.notes[0].sounding.name == "Bb3"


def test_octave_shift_and_octave_clef_change_no_pitch() -> None:
    # octave-shift: "indicates where notes are shifted up or down from their true pitched values"; pitch is true
    shift = '<direction><direction-type><octave-shift type="down" size="8"/></direction-type></direction>'
    clef = ("<attributes><clef><sign>F</sign><line>4</line><clef-octave-change>-1</clef-octave-change></clef>"
            "</attributes>")
    assert [name for name, _, _ in heard(score(clef + shift + note("Bb1", 16)))] == ["Bb1"]


def test_alter_rules_the_pitch_and_where_it_is_missing_the_printed_accidental() -> None:
    # As music21, partitura and verovio read LilyPond's 32c (A with a printed sharp and no alter): A sharp.
    data = score(note("A3", 16, after="<accidental>sharp</accidental>"))
    assert heard(data)[0][0] == "A#3"
    assert codes(data) == ["no-alter"]
    told = (note("A#3", 8, after="<accidental>natural</accidental>")
            + note("Bb3", 8, after="<accidental>flat</accidental>"))
    zero = note("A3", 16, after="<accidental>sharp</accidental>").replace("<octave>", "<alter>0</alter><octave>")
    assert [name for name, _, _ in heard(score(told, zero))] == ["A#3", "Bb3", "A3"]
    assert codes(score(told, zero)) == []


def test_verovio_hears_the_printed_accidental_too() -> None:
    verovio = pytest.importorskip("verovio", reason="verovio is an extra")
    toolkit = verovio.toolkit(False)
    toolkit.setResourcePath(str(Path(verovio.__file__).parent / "data"))
    assert toolkit.loadData(score(note("A3", 16, after="<accidental>sharp</accidental>")).decode())
    first = toolkit.renderToTimemap()[0]["on"][0]
    assert toolkit.getMIDIValuesForElement(first)["pitch"] == 58


def test_clef_changes_hold_by_time_also_for_a_voice_written_later() -> None:
    change = "<attributes><clef><sign>C</sign><line>4</line></clef></attributes>"
    data = score(note("C3", 8) + change + note("C4", 8) + backup(16) + note("E3", 8, voice="2")
                 + note("E4", 8, voice="2"), note("G3", 16))
    assert [each.clef for each in part(data).notes] == ["bass", "tenor", "bass", "tenor", "tenor"]


@pytest.mark.parametrize(("sign", "name"), [("F4", "bass"), ("C4", "tenor"), ("C3", "alto"), ("G2", "treble")])
def test_clef_names(sign: str, name: str) -> None:
    assert part(score(note("C4", 16), first=attributes(4, sign))).notes[0].clef == name


def test_slurs_nested_chained_and_open() -> None:
    def slur(*marks: str) -> str:
        return "<notations>" + "".join(f'<slur type="{mark.split()[0]}" number="{mark.split()[1]}"/>'
                                       for mark in marks) + "</notations>"
    notes = [note("C3", 4, after=slur("start 1")), note("D3", 4, after=slur("start 2")),
             note("E3", 4, after=slur("stop 2")), note("F3", 4, after=slur("stop 1", "start 1")),
             note("G3", 4, after=slur("stop 1")), note("A3", 4)]
    assert [each.slur_after for each in part(score("".join(notes))).notes] == [True, True, True, True, False, False]
    never = score(note("C3", 8, after=slur("start 1")) + note("D3", 8))
    assert [each.slur_after for each in part(never).notes] == [False, False]
    assert codes(never) == ["open-slur"]


def test_slurs_of_two_voices_with_one_number() -> None:
    start, stop = ('<notations><slur type="start" number="1"/></notations>',
                   '<notations><slur type="stop" number="1"/></notations>')
    data = score(note("C4", 8, after=start) + note("D4", 8) + backup(16) + note("C3", 8, voice="2", after=start)
                 + note("D3", 8, voice="2", after=stop),
                 note("E4", 16, after=stop) + backup(16) + note("E3", 16, voice="2"))
    assert [each.slur_after for each in part(data).notes] == [True, True, True, False, False, False]


def test_marks_on_a_note() -> None:
    def after(text: str) -> str:
        return f"<notations>{text}</notations>"
    data = score(
        note("C3", 1, after=after("<articulations><staccato/></articulations>"))
        + note("C3", 1, after=after("<articulations><tenuto/><breath-mark/></articulations>"))
        + note("C3", 1, after=after("<fermata/>") + after('<glissando type="start"/>'))
        + note("C3", 1, after=after('<slide type="start"/><articulations><caesura/></articulations>'))
        + note("C3", 1, after='<notehead parentheses="yes">normal</notehead>')
        + note("C3", 1, after=after("<technical><harmonic/></technical>"))
        + note("C3", 1, after=after("<technical><fingering>3</fingering><fingering>4</fingering></technical>"))
        + note("C3", 1, after=after("<technical><fingering>5<?lowbrass?></fingering></technical>")))
    notes = part(data).notes
    assert [each.staccato for each in notes].index(True) == 0
    assert (notes[1].tenuto, notes[1].breath_after) == (True, True)
    assert (notes[2].fermata, notes[2].gliss_after) == (True, True)
    assert (notes[3].gliss_after, notes[3].breath_after) == (True, True)
    assert notes[4].optional
    assert notes[5].harmonic
    assert [each.given for each in notes] == [None] * 6 + ["3 4", None]


def ornament(text: str) -> str:
    return f"<notations><ornaments>{text}</ornaments></notations>"


@pytest.mark.parametrize(("music", "code"), [
    (note("C3", 16, after="<notations><technical><harmonic/></technical></notations>"), "harmonic"),
    (note("C3", 8, after=ornament('<tremolo type="start">3</tremolo>'))
     + note("E3", 8, after=ornament('<tremolo type="stop">3</tremolo>')), "tremolo"),
    (note("C3", 16, after=ornament("<trill-mark/>")), "trill"),
    (words("multiphonics") + note("C3", 16), "multiphonic"), (words("Sing and play") + note("C3", 16), "multiphonic"),
])
def test_what_asks_for_more_than_one_choice_is_said_and_its_notes_are_read(music: str, code: str) -> None:
    data = score(note("B2", 16), music)
    told, problems = read_part(read_document(data, "a.xml"), "P1")
    assert [(one.code, one.severity, one.where) for one in problems] == [(code, "note", "a.xml: Trombone, measure 2")]
    assert len(told.notes) == 1 + music.count("<note")


def test_a_tremolo_on_one_note_is_that_note() -> None:
    # MusicXML 4.0, tremolo: "Single-note tremolos use the single type, double-note tremolos ... start and stop"
    assert codes(score(note("C3", 16, after=ornament("<tremolo>3</tremolo>")))) == []


def style(inner: str) -> str:
    return f"<attributes><measure-style>{inner}</measure-style></attributes>"


def test_a_measure_repeat_is_read_from_the_notes_that_it_stands_for() -> None:
    # MusicXML 4.0, measure-repeat: "The actual music being repeated needs to be repeated within each measure"
    begin, end = (style(f'<measure-repeat type="{kind}">{text}</measure-repeat>')
                  for kind, text in (("start", "1"), ("stop", "")))
    assert codes(score(note("C3", 16), begin + note("C3", 16), end + note("D3", 16))) == []
    rest = '<note><rest measure="yes"/><duration>16</duration></note>'
    data = score(note("C3", 16), begin + rest, rest, end + note("D3", 16), rest)
    (problem,) = read_part(read_document(data, "a.xml"), "P1")[1]
    assert (problem.code, problem.severity, problem.where) == (
        "measure-repeat", "warning", "a.xml: Trombone, measure 2")
    assert "2 times" in problem.what
    assert heard(data) == [("C3", 0, 4), ("D3", 12, 4)]


def test_notes_that_are_not_for_the_player_are_left_out_and_said() -> None:
    unpitched = "<note><unpitched/><duration>4</duration></note>"
    data = score(note("C3", 4, before="<cue/>") + note("D3", 4, attributes=' print-object="no"') + unpitched
                 + note("E3", 4))
    assert heard(data) == [("E3", 3, 1)]
    assert codes(data) == ["cue", "hidden", "unpitched"]


def test_microtone_goes_to_the_nearest_semitone_and_is_said() -> None:
    data = score(note("C3", 16).replace("<octave>", "<alter>1.5</alter><octave>"))
    assert [name for name, _, _ in heard(data)] == ["C##3"]
    assert codes(data) == ["microtone"]


def test_measures_keep_their_own_labels_and_an_empty_one_its_length() -> None:
    data = (b'<score-partwise><part-list><score-part id="P1"><part-name>T</part-name></score-part></part-list>'
            b'<part id="P1"><measure number="0" implicit="yes">' + attributes(time="3/4").encode()
            + note("C3", 4).encode() + b'</measure><measure number="41a"/><measure number="X1" implicit="yes">'
            + note("D3", 12).encode() + b"</measure></part></score-partwise>")
    told = part(data)
    assert [(one.number, one.onset, one.duration) for one in told.measures] == [
        ("0", 0, 1), ("41a", 1, 3), ("X1", 4, 3)]


def test_an_overfull_measure_keeps_its_notes_and_is_said() -> None:
    data = score(note("C3", 16) + note("D3", 4), note("E3", 16))
    assert heard(data) == [("C3", 0, 4), ("D3", 4, 1), ("E3", 5, 4)]
    assert codes(data) == ["overfull"]
    free = attributes().replace("<beats>4</beats><beat-type>4</beat-type>", "<senza-misura/>")
    assert codes(score(note("C3", 16) + note("D3", 4), first=free)) == []


def test_time_signatures_that_add_up() -> None:
    more = attributes(time="3/8").replace("<beats>3</beats>", "<beats>3+2</beats>").replace(
        "</time>", "<beats>1</beats><beat-type>4</beat-type></time>")
    assert part(score("", note("C3", 4), first=more)).measures[0].duration == Fraction(7, 2)


def test_duration_that_is_missing_comes_from_the_printed_note() -> None:
    triplet = ("<type>eighth</type><dot/><time-modification><actual-notes>3</actual-notes>"
               "<normal-notes>2</normal-notes></time-modification>")
    assert heard(score(note("C3", None, after=triplet)))[0][2] == Fraction(1, 2)


def test_instruments_are_told_where_a_part_names_several() -> None:
    two = "".join(f'<score-instrument id="I{n}"><instrument-name>x</instrument-name></score-instrument>'
                  for n in (1, 2))
    data = score(note("C3", 4, inner='<instrument id="I2"/>'), entry=two)
    assert part(data).notes[0].instrument == "I2"
    assert part(score(note("C3", 4, inner='<instrument id="I2"/>'))).notes[0].instrument is None


def test_faults_of_the_file_are_said_and_the_rest_is_read() -> None:
    data = score(backup(4) + note("C3", "x") + note("H3", 4) + note("D3", 4))
    assert [name for name, _, _ in heard(data)] == ["C3", "D3"]
    assert codes(data) == ["backup", "bad-number", "bad-pitch"]


def test_part_that_is_not_there() -> None:
    with pytest.raises(Unreadable, match="no part 'P7'"):
        read_part(read_document(score(note("C3")), "a.xml"), "P7")


def test_words_that_say_who_plays() -> None:
    data = score(words("a2") + note("C3", 8) + words("1.") + note("D3", 8))
    assert [(one.word, one.onset) for one in part(data).players] == [("all", 0), ("1", 2)]


def test_a_note_of_days_in_another_part_takes_no_memory() -> None:
    # A treble part is read in the company of the others, slot by slot; a damaged length must not make a slot each.
    tune = "".join(note(pitch, 4) for pitch in ("C4", "E4", "G4", "C5"))
    others = "".join(note(pitch, 4_000_000) for pitch in ("C3", "E3", "G3", "C3"))
    listed = "".join(f'<score-part id="{name}"><part-name>{title}</part-name></score-part>'
                    for name, title in (("P1", "Euphonium"), ("P2", "Horn")))
    music = (f'<part id="P1"><measure number="1">{attributes(clef="G2")}{tune}</measure><measure number="2">{tune}'
             f'</measure></part><part id="P2"><measure number="1">{attributes()}{others}</measure><measure number="2">'
             f"{note('C3', 16)}</measure></part>")
    whole = f"<score-partwise><part-list>{listed}</part-list>{music}</score-partwise>"
    document = read_document(whole.encode(), "long")
    tracemalloc.start()
    try:
        read, _ = read_part(document, "P1")
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert len(read.notes) == 8
    assert peak < 4 * 2**20
