"""The finder of who could take a phrase, held against whom composers let double it; see doublings.py."""

import csv

import pytest

from analyzer.score.document import open_document
from tests.intonation.real_scores import SHARED
from tests.section.doublings import TABLE, asked, cue_sized, price, row_of
from tests.section.test_split import music

ROWS = list(csv.DictReader(TABLE.read_text(encoding="utf-8").splitlines()))


def test_the_hidden_double_is_found_and_not_who_plays_meanwhile() -> None:
    """The horn has the phrase with the trombone; the tuba rests, an octave too low for it; the flute plays on."""
    score = music({"Flute": "F5|F5|F5|F5|F5", "Horn": "F4 A3 C4 F4|R|D4 C4 Bb3 C4|R|F4",
                   "Trombone": "F4|R|D4 C4 Bb3 C4|R|F4", "Tuba": "Bb1|R|R|R|C2"})
    ((line, (first, last), takers, hidden),) = asked(score)
    assert [line.notes[k].measure for k in (first, last)] == ["3", "3"]
    names = [line.part_name for line, _ in takers]
    assert "Flute" not in names
    best = min(range(len(takers)), key=lambda n: price(takers[n][1]))
    assert best in hidden
    assert names[best] == "Horn"


def test_the_table_adds_up() -> None:
    """What the record says of all is the sum of its scores, and no score is counted twice."""
    *scores, total = ROWS
    assert total["score"] == "all"
    assert len({row["score"] for row in scores}) == len(scores)
    for name in ("phrases", "hidden", "found", "first_right", "measures", "measures_right"):
        assert int(total[name]) == sum(int(row[name]) for row in scores)
    # Better than chance and than the nearest register, by more than three standard errors of so many phrases.
    asked_for, right = int(total["phrases"]), int(total["first_right"])
    others = max(float(total["chance_right"]), int(total["nearest_right"]))
    assert (right - others) / asked_for > 3 * (0.25 / asked_for) ** 0.5


@pytest.mark.whole
@pytest.mark.parametrize("row", ROWS[:-1], ids=lambda row: row["score"])
def test_the_record_is_what_is_found(row: dict[str, str]) -> None:
    path = SHARED / "scores" / row["score"]
    if not path.exists():
        pytest.skip(f"{row['score']} is not at hand")
    assert row_of(path).told() == row


@pytest.mark.whole
def test_what_scores_print_small_is_no_cue() -> None:
    """The ten places of small notes in a symphony's two movements are trills written out: no other part has them."""
    path = SHARED / "scores" / "orch-dvorak9-mvt2.xml"
    if not path.exists():
        pytest.skip("the score is not at hand")
    found = list(cue_sized(open_document(path)))
    assert len(found) == 5
    assert all(having == [] for *_, having in found)


