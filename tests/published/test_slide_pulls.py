"""A published trumpet table is a published set of valve lengths with the third slide pulled for the music of 2-3.

S15 (Why the math doesn't add up, JMU brass pedagogy site) gives loops of 6, 12.36 and 19.1 per cent: each valve true by
itself. S10 (Tuning tendencies of brass instruments, the3rdhalf.com) gives cents for every combination; its third valve
is longer, and nobody says why. Asked for the pull that makes 2-3 truest, the search finds S10's horn from S15's.
"""

import pytest

from analyzer.horns.profiles import load_horn
from analyzer.horns.tubing import nominal_semitones, state
from analyzer.pitch import pitch_of
from analyzer.tuning.best_pulls import LIMITS_MM, Sounding, Tuning, WantedPitch
from analyzer.tuning.readings import read_readings
from analyzer.tuning.retuned import pulled, slides
from analyzer.tuning.tuner import fit
from tests.published.horn_tables import rows
from tests.published.test_valves import valves, with_shares

LENGTHS = {row["combo"]: float(row["provided_added"]) / 100 for row in rows("valve_lengths_s15.csv")}
TENDENCY = rows("trumpet_tendency_s10.csv")
HORN = with_shares(load_horn("euphonium-3"), (LENGTHS["1"], LENGTHS["2"], LENGTHS["3"]), "s15")


def third_for_2_3() -> dict[str, int]:
    """The pull of the third slide for the notes of 2-3 that S10 lists, all alike."""
    limits = {slide: LIMITS_MM[slide] if slide == "3" else 0 for slide in slides(HORN)}
    wanted = [
        WantedPitch(midi=HORN.fundamental_midi + nominal_semitones(partial) - 4, weight=1,
                    ways=(Sounding(valves=("2", "3"), partial=partial),))
        for partial in (int(row["partial"]) for row in TENDENCY if row["combo"] == "2+3")
    ]
    assert len(wanted) == 3
    return Tuning(HORN, wanted, limits).best()


def test_the_third_valve_of_the_published_table() -> None:
    pull_mm = third_for_2_3()["3"]
    # S10's third valve is 20.0 per cent, to half a per mille (tests/published/test_valves.py): 13.3 mm more than S15's.
    assert LENGTHS["3"] + 2 * pull_mm / HORN.tube_mm == pytest.approx(0.2000, abs=0.0007)


@pytest.mark.parametrize("row", TENDENCY, ids=lambda row: f"{row['partial']}-{row['combo']}")
def test_the_whole_published_table_follows(row: dict[str, str]) -> None:
    own = pulled(HORN, third_for_2_3())
    held, partial = valves(row["combo"]), int(row["partial"])
    down = sum(loop.semitones for loop in own.loops if loop.name in held)
    tube = state(own, held)
    cents = tube.partial_cents[partial - 1] - tube.cents - 100 * (nominal_semitones(partial) - down)
    # Whole millimetres leave half a cent, and the third of the notes asked for lies 2 cents above the others.
    assert cents == pytest.approx(float(row["cents_sharp"]), abs=1.0)


def test_the_published_table_read_as_a_tuner_gives_its_lengths() -> None:
    """S10's 24 numbers as readings: 0.0600, 0.1236 and 0.2000 of the open tube make all of them to 0.1 cent."""
    profile = load_horn("euphonium-3")
    lines = ["note,valves,cents"]
    for row in TENDENCY:
        held, partial = valves(row["combo"]), int(row["partial"])
        down = sum(loop.semitones for loop in profile.loops if loop.name in held)
        note = pitch_of(profile.fundamental_midi + nominal_semitones(partial) - down).name
        lines.append(f"{note},{'-'.join(held) or '0'},{row['cents_sharp']}")
    readings, _ = read_readings("\n".join(lines).encode(), "s10.csv", profile)
    found = fit(profile, readings, name="s10", origin="s10.csv")
    assert found.outliers == ()
    assert [loop.share for loop in found.horn.loops] == pytest.approx([0.1236, 0.0600, 0.2000], abs=0.0004)
    assert found.noise_cents < 1.5     # the table has none; what is left is the readings' worth assumed beforehand
    # Its partials are the harmonic series', so the fit moves none of them.
    assert all(abs(one.change) < 1 for one in found.found if one.unknown.what in ("partial", "horn"))
