"""What is asked for becomes lines in one place: parts, measures, changes of horn, a horn for each."""


from analyzer.analysis import Request, analyse
from analyzer.horns.profiles import load_horn
from analyzer.score.document import read_document
from analyzer.selection import asked_lines, chosen_parts
from tests.review.scores import note, part, score

TWO_KINDS = {"Trombone": part("P1", note("B", 2, -1)), "Euphonium": part("P2", note("F", 3))}


def horns(asked: tuple[str, ...], parts: tuple[str, ...] = ()) -> list[str]:
    document = read_document(score(TWO_KINDS), "two.musicxml")
    return [one.plan.horn.name for one in analyse(document, Request(horns=asked, parts=parts)).lines]


def test_a_horn_holds_for_the_lines_of_its_kind() -> None:
    assert horns(("euphonium-4",)) == ["tenor-f", "euphonium-4"]
    assert horns(("euphonium-4", "tenor")) == ["tenor", "euphonium-4"]


def test_a_horn_holds_for_a_named_part_whatever_its_kind() -> None:
    assert horns(("euphonium-4",), ("Trombone",)) == ["euphonium-4"]
    assert horns(("tenor",), ("P2",)) == ["tenor"]
    assert horns(("tenor", "euphonium-3"), ("P1", "P2")) == ["tenor", "euphonium-3"]


def test_measures_are_cut_alike_for_every_part() -> None:
    data = score({"Trombone": part("P1", note("B", 2, -1), note("C", 3), note("D", 3))})
    document = read_document(data, "three.musicxml")
    chosen, _ = chosen_parts(document, ())
    asked, _ = asked_lines(document, chosen, measures=("2", "3"))
    assert [[one.written.name for one in found.line.notes] for found in asked] == [["C3", "D3"]]


def test_a_line_for_another_horn_of_the_same_player_has_that_horn() -> None:
    change = ('<direction><direction-type><words>change to Euphonium</words></direction-type></direction>')
    data = score({"Trombone": part("P1", note("B", 2, -1), change + note("F", 3))})
    document = read_document(data, "change.musicxml")
    chosen, _ = chosen_parts(document, ())
    asked, _ = asked_lines(document, chosen)
    assert [(one.part.family, one.played.family, one.horn([load_horn("tenor")])[0].name) for one in asked] == [
        ("trombone", "trombone", "tenor"), ("trombone", "euphonium", "euphonium-4-compensating")]
