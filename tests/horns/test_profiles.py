"""Reading horn profiles: names, paths, and mistakes in them."""

import pickle
from pathlib import Path

import pytest

from analyzer.horns.candidates import candidates, chart_choice, sounding_range
from analyzer.horns.profiles import DATA, horn_from_text, horn_names, load_horn
from analyzer.horns.tubing import state
from analyzer.problem import Unreadable

TENOR_F = (DATA / "tenor-f.toml").read_text(encoding="utf-8")
EUPHONIUM = (DATA / "euphonium-4.toml").read_text(encoding="utf-8")


def refused(text: str, shown: str = "mine.toml") -> str:
    with pytest.raises(Unreadable) as caught:
        horn_from_text(text, shown)
    return caught.value.problem.line()


def line_of(text: str, part: str) -> int:
    return next(number for number, line in enumerate(text.splitlines(), 1) if part in line)


def test_names_are_those_of_the_data_contract() -> None:
    assert horn_names() == (
        "alto", "tenor", "tenor-f", "bass-single", "bass-independent", "bass-dependent", "euphonium-3", "euphonium-4",
        "euphonium-3-compensating", "euphonium-4-compensating", "baritone-3",
    )


def test_an_unknown_name_lists_the_names() -> None:
    with pytest.raises(Unreadable) as caught:
        load_horn("tennor")
    line = caught.value.problem.line()
    assert line == (
        f"horn: there is no horn 'tennor'. Perhaps tenor is meant? Take one of {', '.join(horn_names())}, or the path "
        "of a .toml file. [unknown-horn]"
    )


def test_a_copy_of_a_profile_is_the_same_horn(tmp_path: Path) -> None:
    path = tmp_path / "copy.toml"
    path.write_text(TENOR_F, encoding="utf-8")
    assert load_horn(str(path)) == load_horn("tenor-f")
    assert hash(load_horn(str(path))) == hash(load_horn("tenor-f"))


def test_a_changed_file_is_read_anew(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(TENOR_F, encoding="utf-8")
    assert load_horn(str(path)).slide_end_mm == 650
    path.write_text(TENOR_F.replace("end_mm = 650.0", "end_mm = 645.0"), encoding="utf-8")
    assert load_horn(str(path)).slide_end_mm == 645


def test_a_horn_crosses_process_borders() -> None:
    horn = load_horn("bass-dependent")
    assert pickle.loads(pickle.dumps(horn)) == horn


def test_a_missing_file(tmp_path: Path) -> None:
    with pytest.raises(Unreadable, match=r"none\.toml: there is no such file"):
        load_horn(str(tmp_path / "none.toml"))


def test_a_folder_is_no_horn(tmp_path: Path) -> None:
    folder = tmp_path / "folder.toml"
    folder.mkdir()
    with pytest.raises(Unreadable, match=r"this is a folder"):
        load_horn(str(folder))


def test_a_file_that_is_no_text(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(Unreadable, match=r"own\.toml, line 1: the file is not UTF-8 text \(byte 0xff\)\. Save it"):
        load_horn(str(path))


@pytest.mark.parametrize(("old", "new", "line_with", "words"), [
    ("end_mm = 650.0", "end_mm = ", "end_mm", "this is not TOML: invalid value"),
    ("end_mm = 650.0", 'end_mm = "650"', "end_mm", "end_mm is '650' in [slide]. Give a number from 100"),
    ("end_mm = 650.0", "end_mm = 65.0", "end_mm", "end_mm is 65 in [slide]. Give a number from 100 to 1200."),
    ("end_mm = 650.0", "end_mm = nan", "end_mm", "end_mm is nan in [slide]. Give a number from 100 to 1200."),
    ("end_mm = 650.0", "end_mm = true", "end_mm", "end_mm is true in [slide]. Give a number from 100"),
    ("end_mm = 650.0", "end_mn = 650.0", "[slide]", "end_mm is missing in [slide]. Add end_mm = ... with a number."),
    ("flat_cents = 5\n", "flat_cents = 5\nflat = 1\n", "flat = 1", "unknown key 'flat' in [attachment]. Known here:"),
    ('name = "T"', 'name = "F"', 'name = "F"', 'name is \'F\' in [attachment]. Give one of "T", "S".'),
    ('name = "T"', 'name = "S"', "[[attachment]]", 'the first attachment is not named T. Write name = "T"'),
    ('valves = "T"', 'valves = "S"', 'valves = "S"', "valves is 'S'. Write 0 for open, or valves of T in order"),
    ("partials = [1, 2]", "partials = [0]", "partials", "partials is [0] in [offset]. Give a list such as [1, 2]"),
    ('fundamental = "Bb1"', 'fundamental = "H1"', "fundamental", "'H1' is no pitch"),
    ('fundamental = "Bb1"', 'fundamental = "Bb7"', "fundamental", "the fundamental is Bb7. Give the pedal note"),
    ("schema = 1", "schema = 2", "schema", "this profile is of another form. Write schema = 1."),
    ("schema = 1", "schema = 1\ncolour = 3", "colour", "unknown key 'colour'. Known here: attachment, description,"),
    ('name = "tenor-f"', 'name = "my horn"', "my horn", "the name is 'my horn'. Use letters, digits and - only"),
    ('family = "slide"', 'family = "slides"', "family", 'family is \'slides\'. Give one of "slide", "valves".'),
    ('kind = "cited"\nsource = "S09"', 'kind = "cited"', 'kind = "cited"', "[tube] is cited without a source. Add"),
    ("[handling.bore]", "[handling.boring]", "[handling.", "the table [handling.bore] is missing. Add [handling.bore]"),
])
def test_a_mistake_is_one_line_with_its_place(old: str, new: str, line_with: str, words: str) -> None:
    assert old in TENOR_F
    text = TENOR_F.replace(old, new, 1)
    line = refused(text)
    assert "\n" not in line
    assert line.startswith(f"mine.toml, line {line_of(text, line_with)}: ")
    assert words in line
    assert line.endswith("[toml]")


def test_the_line_is_that_of_the_right_table_among_equals() -> None:
    text = EUPHONIUM.replace("adds_percent = 19.1", "adds_percent = 0")
    line = refused(text)
    assert line.startswith(f"mine.toml, line {line_of(text, 'adds_percent = 0')}: adds_percent is 0 in [valve].")


def test_valves_out_of_order() -> None:
    text = EUPHONIUM.replace('valves = "1-2"', 'valves = "2-1"')
    line = refused(text)
    assert f"line {line_of(text, '2-1')}: valves is '2-1'. Write 0 for open, or valves of 1, 2, 3, 4 in order" in line


def test_a_dependent_valve_needs_one_that_is_there() -> None:
    text = (DATA / "bass-dependent.toml").read_text(encoding="utf-8").replace('needs = "T"', 'needs = "X"')
    assert "S needs 'X', which comes not before it. Write needs = \"T\"." in refused(text)


def test_an_attachment_pulled_to_a_flat_e_has_low_b() -> None:
    # S22, copy of "Trombone", pinocchiopedia.com: B1 only when the attachment is pulled to E. By hand: low B needs
    # 2 ** ((1100 - 12) / 1200) = 1.8748 tubes and 650 mm of slide give 0.4392, so the pull must give 1.4356, which is
    # 626 cents: a flat E.
    def pulled(flat: int) -> str:
        return TENOR_F.replace("semitones = 5 ", "semitones = 6 ").replace("flat_cents = 5\n", f"flat_cents = {flat}\n")

    horn = horn_from_text(pulled(30), "e.toml")
    choice = chart_choice(horn, 35)
    assert choice is not None
    assert choice.label == "T6"
    assert state(horn, ("T",)).semitones == 6
    assert candidates(horn_from_text(pulled(20), "e.toml"), 35) == ()
    # What E costs: C2 moves in to fifth of the attachment, and C3 has no first any more.
    assert [c.label for c in candidates(horn, 36)] == ["T5"]
    assert "T1" not in {c.label for c in candidates(horn, 48)}


def test_a_dependent_pair_in_e_flat() -> None:
    # S57, "Bassposaune", roxikon.de: such horns are tuned to E flat and D.
    text = (DATA / "bass-dependent.toml").read_text(encoding="utf-8").replace("semitones = 3 ", "semitones = 2 ")
    horn = horn_from_text(text, "eb.toml")
    assert state(horn, ("T", "S")).semitones == 7
    choice = chart_choice(horn, 38)
    assert choice is not None
    assert choice.label == "TS2"
    # Common practice, no source: down to E flat 2 the first valve alone, though both would have it in first.
    e_flat = chart_choice(horn, 39)
    assert e_flat is not None
    assert e_flat.label == "T3"
    assert "TS1" in {c.label for c in candidates(horn, 39)}


def test_f2_stays_open_in_sixth_even_where_the_attachment_is_in_tune() -> None:
    # Common practice, no source.
    text = TENOR_F.replace("flat_cents = 5\n", "flat_cents = 2\n").replace("cents = -12\n", "cents = -6\n")
    horn = horn_from_text(text, "tuned.toml")
    assert next(c for c in candidates(horn, 41) if c.label == "T1").advice is None
    for midi in (29, 41):
        choice = chart_choice(horn, midi)
        assert choice is not None
        assert choice.label == "6"


def test_an_offset_for_every_state() -> None:
    own = TENOR_F + '\n[[offset]]\nvalves = "every"\npartials = [5]\ncents = 10\nkind = "judged"\nwhy = "a test"\n'
    horn = horn_from_text(own, "own.toml")
    d4 = next(c for c in candidates(horn, 62) if c.label == "1")
    assert d4.off_cents == pytest.approx(-3.7, abs=0.05)


def test_every_horn_sounds_something() -> None:
    for name in horn_names():
        low, high = sounding_range(load_horn(name))
        assert high - low > 40
