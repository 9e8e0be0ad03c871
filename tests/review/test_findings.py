"""Findings and remedies as data."""

from analyzer.pitch import parse_pitch
from analyzer.review.findings import Remedy, finding_at, grouped
from tests.lines import line_of


def test_finding_has_every_field_of_the_contract() -> None:
    remedy = Remedy(kind="octave", text="Up.", sounding=parse_pitch("B2"), written=parse_pitch("C#4"))
    data = finding_at(line_of("B1 C2"), 0, "beyond-horn", "stop", "too low", (remedy,), more=("Ask.",)).as_json()
    assert data == {
        "code": "beyond-horn", "severity": "stop", "part": {"id": "P1", "name": "Test"}, "line": 1, "measure": "1",
        "index": 0, "written": "B1", "sounding": "B1", "what": "too low", "try": ["Up.", "Ask."],
        "remedies": [{"kind": "octave", "text": "Up.", "sounding": "B2", "written": "C#4", "midi": 47}],
    }


def test_finding_without_a_note_has_nulls() -> None:
    data = finding_at(line_of("C2"), None, "tiring", "note", "long").as_json()
    assert (data["index"], data["measure"], data["written"], data["sounding"]) == (None, None, None, None)


def test_remedies_carry_only_what_they_have() -> None:
    assert Remedy(kind="horn", text="x", horns=("tenor-f",)).as_json() == {
        "kind": "horn", "text": "x", "horns": ["tenor-f"]}
    assert Remedy(kind="tempo", text="x", bpm=81.04).as_json() == {"kind": "tempo", "text": "x", "bpm": 81.0}
    assert Remedy(kind="tune", text="x", cents=120.0, label="T6").as_json() == {
        "kind": "tune", "text": "x", "tune_cents": 120.0, "label": "T6"}


def test_findings_that_say_the_same_stand_together_gravest_first() -> None:
    line = line_of("C2 D2 C2")
    found = [finding_at(line, 1, "tiring", "note", "long"),
             finding_at(line, 0, "beyond-horn", "stop", "low", more=("Up.",)),
             finding_at(line, 2, "beyond-horn", "stop", "low", more=("Ask.", "Up."))]
    low, long = grouped(found)
    assert [one.index for one in low.findings] == [0, 2]
    assert (low.first.code, low.places) == ("beyond-horn", ("1", "1"))
    # What is for all stands first, without measures.
    assert low.ways == (("Up.", ()), ("Ask.", ("1",)))
    assert (long.first.severity, long.ways) == ("note", ())
