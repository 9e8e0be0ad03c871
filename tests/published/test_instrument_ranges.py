"""Ranges of the instruments beside the horns, against two tables of others; where they part, the file says so.

instrument_ranges.csv holds the figures with the place where each stands: S71, S72 of analyzer/sources.toml. Where the
package of a source is installed, its own figures are read again.
"""

import csv
import tomllib
from pathlib import Path

import pytest
from lxml import etree

from analyzer.pitch import parse_pitch
from analyzer.writing import readers

ROWS = list(csv.DictReader(Path(__file__).with_name("instrument_ranges.csv").read_text(encoding="utf-8").splitlines()))
OURS = tomllib.loads(Path(readers.__file__).with_name("instruments.toml").read_text(encoding="utf-8"))
INSTALLED = Path("/usr/share/mscore3-3.2/instruments/instruments.xml")
CLASSES = {"tenor-saxophone": "TenorSaxophone", "bass-clarinet": "BassClarinet", "bassoon": "Bassoon", "tuba": "Tuba",
           "cello": "Violoncello"}


def row(name: str, who: str) -> dict[str, str]:
    return next(one for one in ROWS if (one["instrument"], one["who"]) == (name, who))


@pytest.mark.parametrize("name", OURS)
def test_every_figure_has_a_source_and_what_differs(name: str) -> None:
    ours = OURS[name]
    assert ours["low_kind"] in ("cited", "judged")
    assert ours["high_kind"] in ("cited", "judged")
    assert ours["low_source"]
    assert ours["high_source"]
    assert ours["differs"]


@pytest.mark.parametrize("name", OURS)
def test_a_cited_figure_is_that_of_each_source_it_names(name: str) -> None:
    ours = OURS[name]
    for end in ("low", "high"):
        if ours[f"{end}_kind"] == "cited":
            for source in ours[f"{end}_source"].split(", "):
                who = {"S71": "lowest", "S72": "amateur"}[source]
                assert int(row(name, who)[f"{end}_midi"]) == parse_pitch(ours[end]).midi, (end, source)


@pytest.mark.parametrize("name", OURS)
def test_a_judged_top_is_within_reach_of_the_source(name: str) -> None:
    """Not above what professionals have, and not more than a third below what amateurs do."""
    top = parse_pitch(OURS[name]["high"]).midi
    assert int(row(name, "amateur")["high_midi"]) - 4 <= top <= int(row(name, "professional")["high_midi"])
    if top != int(row(name, "amateur")["high_midi"]):
        assert OURS[name]["high_kind"] == "judged"
    if parse_pitch(OURS[name]["low"]).midi != int(row(name, "lowest")["low_midi"]):
        assert "S71" in OURS[name]["differs"]


@pytest.mark.parametrize("name", OURS)
def test_the_first_source_says_so_today(name: str) -> None:
    music21 = pytest.importorskip("music21")
    instrument = getattr(music21.instrument, CLASSES[name])()
    low = instrument.lowestNote
    if instrument.transposition is not None:
        low = low.transpose(instrument.transposition)
    assert low.midi == int(row(name, "lowest")["low_midi"])


@pytest.mark.skipif(not INSTALLED.exists(), reason="the package of S72 is not installed")
@pytest.mark.parametrize("one", [one for one in ROWS if one["source_id"] == "S72"],
                         ids=lambda one: f"{one['instrument']}-{one['who']}")
def test_the_second_source_says_so_today(one: dict[str, str]) -> None:
    name, element, span = one["where"].split()
    found = next(found for found in etree.parse(INSTALLED).getroot().iter("Instrument") if found.get("id") == name)
    assert found.findtext(element) == span == f"{one['low_midi']}-{one['high_midi']}"
