"""A CSV of tuner readings: what is taken, and what is refused in one line with its place."""

import pytest

from analyzer.horns.profiles import load_horn
from analyzer.problem import Unreadable
from analyzer.tuning.readings import TunerReading, read_readings

FOUR, THREE, F = load_horn("euphonium-4"), load_horn("euphonium-3"), load_horn("tenor-f")


def read(text: str | bytes, horn=FOUR) -> list[TunerReading]:
    data = text if isinstance(text, bytes) else text.encode()
    return list(read_readings(data, "tuner.csv", horn)[0])


def refused(text: str | bytes, horn=FOUR) -> str:
    with pytest.raises(Unreadable) as caught:
        read(text, horn)
    line = str(caught.value)
    assert "\n" not in line
    return line


def test_a_row_is_tied_to_its_partial() -> None:
    one, two, three = read("note,valves,cents\nBb3,0,+3\nD3,1-2,−4.5\nC4,1,-16\n")
    assert (one.midi, one.valves, one.partial, one.cents, one.line) == (58, (), 4, 3.0, 2)
    # D3 with 1-2: three semitones below F3, the third partial.
    assert (two.valves, two.partial, two.cents, two.label) == (("1", "2"), 3, -4.5, "1-2")
    assert (three.partial, three.shown) == (5, "C4 with 1")


@pytest.mark.parametrize("text", [
    "note,valves,cents\nBb3,1-3,3.5\n",
    "\ufeffnote,valves,cents\r\nBb3,1-3,3.5\r\n",
    "Note;Valves;Cents\nBb3;1-3;3,5\n",
    "note\tvalves\tcents\nB♭3\t13\t+3,5\n",
    '# tuned on Monday\nnote, valves, cents\n\nBb3, 3+1, "3,5"\n',
    "cents,fingering,note\n3.5,1/3,bb3\n",
])
def test_forms_of_the_same_table(text: str) -> None:
    # By hand: 1-3 lowers the open F4 to C4 and the open D4 to A3, so B flat 3 is none of its notes.
    line = refused(text)
    assert "euphonium-4 has no B♭3 with 1-3. Near it that gives" in line
    good = text.replace("Bb3", "C4").replace("bb3", "c4").replace("B♭3", "C4")
    assert [(one.midi, one.valves, one.partial, one.cents) for one in read(good)] == [(60, ("1", "3"), 6, 3.5)]


def test_positions_places_and_weights() -> None:
    text = "note,position,mm,cents,repeats\nC3,T1,,-3,4\nC3,6,496,2,\nBb3,1,,0,\nA3,2,,-5,1\nD2,TS1,,1,1\n"
    rows = read(text, load_horn("bass-independent"))
    assert [(one.valves, one.position, one.place_mm, one.partial, one.weight) for one in rows] == [
        (("T",), 1, 0.0, 3, 4), ((), 6, 496, 3, 1), ((), 1, 0.0, 4, 1), ((), 2, None, 4, 1), (("T", "S"), 1, 0.0, 2, 1)]
    assert [one.shown for one in rows][:2] == ["C3 in T1", "C3 in 6"]


def test_columns_of_a_slide_horn_may_stand_apart() -> None:
    rows = read("note,valves,position,cents\nC3,T,1,-3\nBb2,,1,0\n", F)
    assert [one.label for one in rows] == ["T1", "1"]


def test_rows_without_a_reading_are_passed_over() -> None:
    rows, empty = read_readings(b"note,valves,cents\nBb3,0,\nF3,0,2\n,,\n", "tuner.csv", FOUR)
    assert (len(rows), empty) == (1, 1)


@pytest.mark.parametrize(("text", "line", "words"), [
    ("", 1, "the file is empty. Begin with a line of columns: note,valves,cents."),
    ("\n# nothing\n", 1, "the file is empty"),
    ("note,valves,cents\n", 1, "there is no reading below the columns"),
    ("note,valves,cents\nBb3,0,\n", 1, "no line holds a reading"),
    ("Ton,Griff,Cent\nBb3,0,3\n", 1, "there is no use for a column 'ton'. Name them note, valves (or position), cents"),
    ("note,valves\nBb3,0\n", 1, "there is no column 'cents'"),
    ("note,cents\nBb3,0\n", 1, "there is no column 'valves'"),
    ("note,valves,cents,cents\nBb3,0,1,2\n", 1, "the column 'cents' is there twice"),
    ("note,valves,cents,weight,repeats\nBb3,0,1,1,2\n", 1, "weight and repeats say the same"),
    ("note,valves,cents\nBb3,0,3\nBb3,0,300\n", 3, "cents is 300, and must lie between -100 and 100"),
    ("note,valves,cents\nBb3,0,nan\n", 2, "'nan' is no number of cents"),
    ("note,valves,cents\nBb3,0,1e3\n", 2, "'1e3' is no number of cents"),
    ("note,valves,cents\nBb3,0,3,5\n", 2, "divide the columns by semicolons"),
    ("note,valves,cents\nH3,0,3\n", 2, "Write B3 for the German H, and Bb3 for the German B, all through the file."),
    ("note;valves;cents\nB3;0;3\n", 2, "euphonium-4 has no B3 with 0. Near it that gives F3, B♭3, D4, F4 (a German"),
    ("note,valves,cents\nBb,0,3\n", 2, "'Bb' is no pitch; write a letter"),
    ("note,valves,cents\nE5,1-2,3\n", 2, "notes are the ones that sound, not the ones written in treble clef."),
    ("note,valves,cents\nBb3,5,3\n", 2, "euphonium-4 cannot hold '5'. Its valves are 1, 2, 3, 4; write 1-2, or 0 for"),
    ("note,valves,cents\nBb3,1-1,3\n", 2, "euphonium-4 cannot hold '1-1'"),
    ("note,valves,cents\nBb3,,3\n", 2, "it does not say what was held"),
    ("note,valves,cents,mm\nBb3,0,3,12\n", 2, "euphonium-4 has no slide, so mm says nothing"),
    ("note,valves,cents,weight\nBb3,0,3,-1\n", 2, "weight is -1, and must lie between 0.01 and 1000"),
    ("note,valves,cents\nBb3,0,300\nF3,0,200\nF3,0,300\n", 2, "such as -12. 2 more lines are wrong."),
    (b"note,valves,cents\nBb3,0,3\nB\xe93,0,3\n", 3, "this is not UTF-8 text. Save the table as CSV (UTF-8)."),
    ("note,valves,cents\nBb3,0,3\n".encode("utf-16"), 1, "this is not UTF-8 text"),
    (b"PK\x03\x04\x00\x00", 1, "there is no use for a column"),
    ("note,valves,cents\n" + "Bb3,0,1\n" * 2001, 2002, "there are more than 2000 readings"),
])
def test_a_mistake_is_one_line_with_its_place(text: str | bytes, line: int, words: str) -> None:
    said = refused(text)
    assert said.startswith(f"tuner.csv, line {line}: ")
    assert words in said


@pytest.mark.parametrize(("row", "words"), [
    ("C3,T,3", "'T' is no position. Write a number such as 1 or T1 with the attachment"),
    ("C3,S1,3", "tenor-f cannot hold S. It has T."),
    ("C3,T7,3", "tenor-f has no position T7. The last one is T6."),
    ("C3,2#,3", "'2#' is no position"),
    ("C3,1-2,3", "'1-2' is no position"),
    ("C3,,3", "'' is no position"),
])
def test_positions_that_are_none(row: str, words: str) -> None:
    assert words in refused(f"note,position,cents\n{row}\n", F)


def test_every_note_of_every_chart_is_known_by_its_usual_choice() -> None:
    from analyzer.horns.candidates import chart_choice, sounding_range
    from analyzer.horns.profiles import horn_names
    from analyzer.pitch import pitch_of

    seen = 0
    for name in horn_names():
        horn = load_horn(name)
        low, high = sounding_range(horn)
        for midi in range(low, high + 1):
            choice = chart_choice(horn, midi)
            if choice is None or choice.shade:
                continue
            mm = "" if choice.extension_mm is None else f"{choice.extension_mm:.1f}"
            held = choice.label if choice.position is not None else "-".join(choice.valves) or "0"
            text = f"note,valves,cents,mm\n{pitch_of(midi).name},{held},0,{mm}\n"
            assert read(text, horn)[0].partial == choice.partial, (name, text)
            seen += 1
    assert seen > 350
