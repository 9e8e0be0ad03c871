"""Who plays what where players share a staff (common practice of engraving, no source, unless said)."""

from fractions import Fraction

from analyzer.score.document import read_document
from analyzer.score.lines import MOST_PLAYERS, lines_of
from analyzer.score.reader import read_part
from tests.score.build import attributes, backup, chord, forward, lines, note, part, score, words


def test_one_player_one_line_with_ties_joined() -> None:
    tie, untie = '<tie type="start"/>', '<tie type="stop"/>'
    data = score(note("C3", 8) + note("D3", 8, tie), note("D3", 4, untie + tie) + note("D3", 4, untie) + note("D3", 8))
    ((line,), problems) = lines_of(part(data), "trombone")
    assert problems == ()
    assert [(each.refs, each.onset, each.duration) for each in line.notes] == [
        ((0,), 0, 2), ((1, 2, 3), 2, 4), ((4,), 6, 2)]
    assert (line.number, line.of, line.family) == (1, 1, "trombone")


def test_chords_go_from_the_top_down_and_a_single_note_is_for_both() -> None:
    assert lines(score(chord("C3", "E3") + note("G3", 4) + chord("F3", "D3", ticks=8))) == [
        ["E3@0", "G3@1", "F3@2"], ["C3@0", "G3@1", "D3@2"]]


def test_voices_with_rests_are_for_their_own_player() -> None:
    data = score(note("C4", 8) + note("", 8) + backup(16) + note("E3", 16, voice="2"),
                 note("D4", 16) + backup(16) + note("", 16, voice="2"))
    assert lines(data) == [["C4@0", "D4@4"], ["E3@0"]]


def test_one_stem_where_elsewhere_are_two_voices_is_for_both() -> None:
    data = score(note("C4", 16) + backup(16) + note("E3", 16, voice="2"), note("D3", 16), note("C3", 8)
                 + note("F3", 8) + backup(8) + note("A2", 8, voice="2"))
    assert lines(data) == [["C4@0", "D3@4", "C3@8", "F3@10"], ["E3@0", "D3@4", "C3@8", "A2@10"]]


def test_rest_that_is_not_printed_silences_nobody() -> None:
    hidden = note("", 16, voice="2", attributes=' print-object="no"')
    data = score(chord("C3", "E3", ticks=16), note("D3", 16) + backup(16) + hidden)
    assert lines(data) == [["E3@0", "D3@4"], ["C3@0", "D3@4"]]


def test_numbered_solos_and_a2() -> None:
    data = score(chord("C3", "E3", ticks=16), words("1. Solo") + note("D3", 16), note("E3", 16),
                 words("a 2") + note("F3", 16), words("II.") + note("G3", 16), chord("A2", "C3", ticks=16),
                 note("B2", 16))
    assert lines(data) == [["E3@0", "D3@4", "E3@8", "F3@12", "C3@20", "B2@24"],
                           ["C3@0", "F3@12", "G3@16", "A2@20", "B2@24"]]


def test_unison_of_two_voices_keeps_both_heads() -> None:
    data = score(note("C3", 16) + backup(16) + note("C3", 16, voice="2"))
    found = lines_of(part(data), "trombone")[0]
    assert [[each.refs for each in line.notes] for line in found] == [[(0,)], [(1,)]]


def test_tie_out_of_a_chord_stays_with_the_player_who_holds() -> None:
    held = note("E3", 8, '<tie type="start"/>', before="<chord/>")
    data = score(note("C3", 8) + held + note("E3", 8, '<tie type="stop"/>'))
    found = lines_of(part(data), "trombone")[0]
    assert [[each.written.name for each in line.notes] for line in found] == [["E3"], ["C3"]]
    assert found[0].notes[0].duration == 4


def test_three_players_two_notes_the_middle_takes_the_nearer() -> None:
    data = score(chord("C3", "E3", "G3") + chord("D3", "A3") + chord("F3", "A3"))
    assert lines(data) == [["G3@0", "A3@1", "A3@2"], ["E3@0", "D3@1", "F3@2"], ["C3@0", "D3@1", "F3@2"]]


def test_voice_of_two_above_a_voice_of_one() -> None:
    data = score(chord("E3", "G3", ticks=16) + backup(16) + note("C3", 16, voice="2"),
                 note("A3", 16) + backup(16) + note("D3", 16, voice="2"), note("F3", 16))
    assert lines(data) == [["G3@0", "A3@4", "F3@8"], ["E3@0", "A3@4", "F3@8"], ["C3@0", "D3@4", "F3@8"]]


def test_a_chord_for_more_players_than_there_are_is_cut_down_and_said() -> None:
    found, problems = lines_of(part(score(chord(*["C3"] * 400), note("D3", 16))), "trombone")
    assert len(found) == MOST_PLAYERS
    assert [one.code for one in problems] == ["too-many-players"]
    assert "400 notes" in problems[0].what
    voices = "".join(note("C3", 16, voice=str(number)) + backup(16) for number in range(1000))
    assert len(lines(score(voices))) == MOST_PLAYERS


def test_graces_go_with_the_note_they_lean_on() -> None:
    grace = note("B3", None, before="<grace/>")
    data = score(grace + note("C4", 16) + backup(16) + note("E3", 16, voice="2"), grace + note("D3", 16))
    assert lines(data) == [["B3@0", "C4@0", "B3@4", "D3@4"], ["E3@0", "B3@4", "D3@4"]]


def test_staves_are_apart() -> None:
    first = attributes(4, "F4", "<staves>2</staves>")
    data = score(note("C4", 16, after="<staff>1</staff>") + backup(16)
                 + note("E3", 16, voice="5", after="<staff>2</staff>"), note("D4", 16, after="<staff>1</staff>"),
                 first=first)
    assert lines(data) == [["C4@0", "D4@4"], ["E3@0"]]


def test_overlap_inside_a_voice_is_cut_and_said() -> None:
    data = score(note("C3", 8) + backup(4) + note("D3", 8))
    ((line,), (problem,)) = lines_of(part(data), "trombone")
    assert [(each.onset, each.duration) for each in line.notes] == [(0, 1), (1, 2)]
    assert problem.code == "overlap"


def test_jumps_are_pairs_of_notes() -> None:
    back = '<barline><repeat direction="backward"/></barline>'
    data = score(note("C3", 8) + note("D3", 8), note("", 16) + back, note("E3", 16))
    assert lines_of(part(data), "trombone")[0][0].jumps == ((1, 0),)


def test_slashes_show_rhythm_and_no_pitch() -> None:
    # MusicXML 4.0, slash: "To indicate rhythms but not pitches"
    begin, end = (f'<attributes><measure-style><slash type="{kind}"/></measure-style></attributes>'
                  for kind in ("start", "stop"))
    head = note("B3", 4, after="<notehead>slash</notehead>")
    data = score(note("C3", 16), begin + note("B3", 16), end + note("D3", 8) + head + note("E3", 4))
    assert lines(data) == [["C3@0", "D3@8", "E3@11"]]
    (problem,) = lines_of(part(data), "trombone")[1]
    assert (problem.code, problem.where) == ("slash", "Trombone, measure 2")
    assert len(part(data).notes) == 5, "the part keeps them: they are printed"


def test_notes_in_brackets_are_played_and_known_as_optional() -> None:
    data = score(note("C3", 8) + note("C2", 8, after='<notehead parentheses="yes">normal</notehead>'))
    assert [each.optional for each in lines_of(part(data), "trombone")[0][0].notes] == [False, True]


def test_part_without_notes_has_no_line() -> None:
    assert lines(score(note("", 16))) == []


def test_every_printed_note_is_in_some_line() -> None:
    data = score(chord("C3", "E3") + note("G3", 4) + backup(8) + forward(2) + note("A2", 4, voice="3")
                 + note("B2", 4, voice="2"))
    document = read_document(data, "a.xml")
    told, _ = read_part(document, "P1")
    found, problems = lines_of(told, "trombone")
    played = {ref for line in found for each in line.notes for ref in each.refs}
    assert played == {each.ref for each in told.notes}
    assert problems == ()
    for line in found:
        ends = [each.onset + each.duration for each in line.notes]
        assert all(end <= each.onset for end, each in zip(ends, line.notes[1:], strict=False))
    assert Fraction(0) == found[0].notes[0].onset
