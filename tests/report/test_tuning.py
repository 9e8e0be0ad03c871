"""What a fit and an advice say to people."""

from analyzer.horns.profiles import load_horn
from analyzer.plan.solve import Planner
from analyzer.report.tune import fit_document, fit_text, listed, pull_document, pull_text, slide_name
from analyzer.review.pulls import advise
from analyzer.tuning.best_pulls import LIMITS_MM
from analyzer.tuning.readings import read_readings
from analyzer.tuning.retuned import slides
from analyzer.tuning.tuner import fit
from tests.lines import line_of

# A three-valve horn 12 cents sharp, its first valve 5 cents long; line 9 is a slip of the pen.
TABLE = b"""note,valves,cents
Bb2,0,12
F3,0,14
Bb3,0,11
F4,0,14
Ab3,1,5
Eb3,1,7
Ab2,1,5
Eb4,1,-45
A3,2,11
E3,2,13
"""


def fitted():
    horn = load_horn("euphonium-3")
    readings, _ = read_readings(TABLE, "t.csv", horn)
    return fit(horn, readings, name="mine", origin="t.csv"), horn


def test_a_fit_in_words() -> None:
    found, horn = fitted()
    text = fit_text(found, horn)
    assert text.startswith("mine: euphonium-3 fitted to 9 readings; they vary by ")
    assert "  line 9: E♭4 with 1 read -45 cents, where +" in text
    assert "Too few readings to tell, so these stay as euphonium-3 has them: valve 3." in text
    row = next(line for line in text.splitlines() if line.startswith("  valve 1"))
    assert row.startswith("  valve 1 alone lowers by (slide ")
    assert row.endswith("  3")
    assert "pull the main tuning slide out another" in text
    assert all(line == line.rstrip() for line in text.splitlines())


def test_a_fit_as_data() -> None:
    found, horn = fitted()
    document = fit_document(found, horn, "t.csv", 0)
    assert [one["line"] for one in document["readings"] if one["outlier"]] == [9]
    states = {one["what"] + one["name"]: one["state"] for one in document["found"]}
    assert states["loop3"] == "kept"
    assert states["loop1"] == states["loop2"] == "measured"
    assert document["confidence"] == 0.95


def test_an_advice_in_words() -> None:
    planner = Planner(line_of("C3 F2 C3 Bb3 F2 C3 F2 C2", 2, family="euphonium"), load_horn("euphonium-3"))
    limits = {slide: 0 if slide != "3" else LIMITS_MM["3"] for slide in slides(planner.horn)}
    advice = advise([planner], limits)
    text = pull_text(advice, ["tune.xml"])
    mm = advice.pulls_mm["3"]
    assert f"Pull out the third valve slide {mm} mm; leave the main tuning slide, the first valve slide and" in text
    assert "Not on this horn with any slide pulled, and not counted: C2." in text
    assert all(line == line.rstrip() for line in text.splitlines())
    document = pull_document(advice, ["tune.xml"], worst=False, cautions=["Rest."], problems=[])
    assert document["beyond"] == ["C2"]
    assert {one["slide"]: one["pull_mm"] for one in document["slides"]} == advice.pulls_mm
    assert document["rms_cents"]["after"] < document["rms_cents"]["before"]
    assert document["cautions"][-1] == "Rest."


def test_no_pull_is_said_too() -> None:
    planner = Planner(line_of("Bb2 Bb3 F3", 2), load_horn("tenor"))
    text = pull_text(advise([planner], {"main": 25}), ["tune.xml"])
    assert "Leave every slide where it is: no slide change improves the tuning of this music." in text
    assert "The hand slide corrects what it can; only what is left counts here." in text
    assert "at most" not in text


def test_names_and_lists() -> None:
    assert [slide_name(one) for one in ("main", "1", "4", "T")] == [
        "main tuning slide", "first valve slide", "fourth valve slide", "attachment slide T"]
    assert [listed(list(words)) for words in ("a", "ab", "abc")] == ["a", "a and b", "a, b and c"]
