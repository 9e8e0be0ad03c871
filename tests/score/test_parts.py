"""Which parts are low brass: no single field of the part list is reliable."""

import pytest

from analyzer.score.parts import HORN_OF_FAMILY, PartInfo, find_parts
from tests.score.build import entry, group, listed, note


def one(*entries: str, which: str = "P1", bodies: dict[str, str] | None = None) -> PartInfo:
    parts, _ = find_parts(listed(*entries, bodies=bodies))
    return next(part for part in parts if part.id == which)


F_CLEF = "<attributes><clef><sign>F</sign><line>4</line></clef></attributes><note><rest/><duration>1</duration></note>"
SUNG = note("C3", 1, after="<lyric><text>la</text></lyric>")


def test_name_outweighs_everything_else_and_the_conflict_is_said() -> None:
    part = one(entry("P1", "Trombone 2", "Fl.", "Grand Piano", "wind.flutes.flute", 74))
    assert part.family == "trombone"
    assert any("against it" in text and "Grand Piano" in text for text in part.evidence)


def test_numbers_under_a_group() -> None:
    entries = group("Trombones", entry("P1", "1 2", sound="brass.trombone"), entry("P2", "3"))
    assert one(*(entries,)).family == "trombone"
    part = one(entries, which="P2")
    assert (part.family, part.full_name) == ("trombone", "Trombones 3")


def test_group_stands_for_a_name_that_says_nothing_against_all_playback() -> None:
    piano = {"instrument": "Grand Piano", "sound": "keyboard.piano.grand"}
    entries = group("Brass", group("Trombones", entry("P1", "1 2", program=1, **piano), entry("P2", "3", **piano),
                                   number=2))
    assert [one(entries, which=each).family for each in ("P1", "P2")] == ["trombone", "trombone"]
    assert one(group("Horns", entry("P1", "1 2", sound="brass.trombone", program=58))).family == "other"


def test_line_under_a_group_of_trombones() -> None:
    entries = group("Posaunen", entry("P1", "Alt"), entry("P2", "Tenor"), entry("P3", "Bass"))
    assert [one(entries, which=each).family for each in ("P1", "P2", "P3")] == ["trombone", "trombone", "bass trombone"]


def test_numbers_that_go_on_from_the_part_before() -> None:
    parts, _ = find_parts(listed(entry("P1", "Trombone 1"), entry("P2", "2"), entry("P3", "3"), entry("P4", "Tuba")))
    assert [part.family for part in parts] == ["trombone", "trombone", "trombone", "other"]


def test_name_with_line_break_and_signs_escaped_twice() -> None:
    part = one(entry("P1", "Trombone&#10;1 &amp;amp; 2"))
    assert (part.name, part.family) == ("Trombone 1 & 2", "trombone")


def test_display_name_where_the_name_says_nothing() -> None:
    text = ('<score-part id="P1"><part-name>Part 1</part-name><part-name-display><display-text>Trombone in B'
            "</display-text><accidental-text>flat</accidental-text></part-name-display></score-part>")
    part = one(text)
    assert (part.family, part.name) == ("trombone", "Trombone in B♭")


@pytest.mark.parametrize("program", [57, 58, 59, 60, 61, 62, 63, 1, None])
def test_programs_that_trombones_come_with(program: int | None) -> None:
    assert one(entry("P1", "Trombone", program=program)).family == "trombone"


@pytest.mark.parametrize("name", ["Flute", "Soprano", "Bass", "Trumpet 1", "Violoncello", "Tuba"])
def test_program_58_alone_makes_no_trombone(name: str) -> None:
    assert not one(entry("P1", name, program=58), bodies={"P1": F_CLEF}).low_brass


def test_program_58_and_bass_clef_are_no_proof() -> None:
    """Programs are left as they fell in real files, and cellos, bassoons and singers share the clef."""
    assert not one(entry("P1", "", program=58), bodies={"P1": F_CLEF}).low_brass
    assert not one(entry("P1", "", program=58), bodies={"P1": F_CLEF.replace("F<", "G<")}).low_brass


def test_sound_tells_a_part_whose_name_says_nothing() -> None:
    assert one(entry("P1", "MusicXML Part", sound="brass.trombone.bass")).family == "bass trombone"
    assert one(entry("P1", "Solo", sound="brass.euphonium")).family == "euphonium"
    assert one(entry("P1", "Solo", sound="brass.baritone-horn")).family == "baritone"


def test_baritone_may_sing() -> None:
    choir = (entry("P0", "Tenor"), entry("P1", "Baritone"), entry("P2", "Bass"))
    assert one(*choir).family == "other"
    assert one(entry("P1", "Baritone"), bodies={"P1": SUNG}).family == "other"
    band = (entry("P0", "Tenor Horn in Eb"), entry("P1", "Baritone"), entry("P2", "Euphonium"))
    assert one(*band).family == "baritone"
    assert one(entry("P1", "Baritone", sound="voice.baritone"), entry("P2", "Bass")).family == "other"


def test_third_trombone_stays_one_unless_something_printed_says_bass() -> None:
    trio = [entry(f"P{n}", f"Trombone {n}", sound="brass.trombone") for n in (1, 2, 3)]
    assert [part.family for part in find_parts(listed(*trio))[0]] == ["trombone"] * 3
    assert one(entry("P1", "Trombone 3", "B. Tbn.", "Bass Trombone", "brass.trombone.bass")).family == "bass trombone"
    tenor = entry("P1", "Tenor Trombone", instrument="Bass Trombone", sound="brass.trombone.bass")
    bass = entry("P1", "Bass Trombone", instrument="Trombone", sound="brass.trombone.tenor")
    assert one(tenor).family == "trombone"
    assert one(bass).family == "bass trombone"


def test_horn_that_is_assumed() -> None:
    # The data contract of the project names these four.
    assert HORN_OF_FAMILY == {"bass trombone": "bass-independent", "trombone": "tenor-f",
                              "euphonium": "euphonium-4-compensating", "baritone": "baritone-3"}
    assert one(entry("P1", "Alto Trombone")).horn == "tenor-f"
    assert one(entry("P1", "Flute")).horn is None


def test_part_list_and_music_that_do_not_agree() -> None:
    from analyzer.score.document import read_document

    data = (b'<score-partwise><part-list><score-part id="P1"><part-name>Trombone</part-name></score-part></part-list>'
            b'<part id="P9"><measure number="1"/></part></score-partwise>')
    parts, problems = find_parts(read_document(data, "a.xml"))
    assert [part.id for part in parts] == ["P1", "P9"]
    assert [problem.code for problem in problems] == ["no-music", "unlisted-part"]


def test_a_large_part_that_is_not_ours_is_not_walked(monkeypatch: pytest.MonkeyPatch) -> None:
    from analyzer.score.document import Document

    def forbidden(self: Document, part_id: str) -> list[object]:
        raise AssertionError(part_id)

    document = listed(entry("P1", "Flute"), entry("P2", "Trombone"), bodies={"P1": note("C5") * 50})
    monkeypatch.setattr(Document, "part_measures", forbidden)
    assert [part.low_brass for part in find_parts(document)[0]] == [False, True]
