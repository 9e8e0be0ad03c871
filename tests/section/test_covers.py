"""Covers: invented bands reasoned by hand beside the score, and the seats against every assignment.

Ranges that are reasoned with: a euphonium with three valves has E2 as its lowest note beside the pedals (B flat 2 is
the 2nd partial; 1-2-3 lowers it by six semitones), with a fourth valve B flat 1 is reached on the 2nd partial's chain
and below, a straight tenor has E2 as its lowest beside the pedals (7th position): A. Baines, "Brass Instruments",
chapters on the trombone and on valves (from memory, not read again). The other instruments:
analyzer/writing/instruments.toml.
"""

import io
import itertools
import json
import random
from pathlib import Path

import pytest
from click.testing import CliRunner

from analyzer.analysis import Request
from analyzer.cli import cli
from analyzer.report.fit.document import fit_document
from analyzer.report.fit.text import fit_text
from analyzer.report.folders.parts import cover_part
from analyzer.report.write import findings, planned
from analyzer.score.document import open_document, read_document
from analyzer.section.fit import SectionFit, fit
from analyzer.section.section import Section, check_section, read_section, section_of
from tests.review.scores import SAMPLES
from tests.score.build import words
from tests.section.test_fit import CHORALE, HYMN, MARCH, sample, small

GLISS = '<notations><glissando type="{}" number="1"/></notations>'


def band(*players: dict[str, object]) -> Section:
    found, problems = section_of({"player": list(players)})
    assert found is not None, problems
    return found


def tenor(name: str, **more: object) -> dict[str, object]:
    return {"name": name, "horns": ["tenor-f"], **more}


def euph(name: str, **more: object) -> dict[str, object]:
    return {"name": name, "horns": ["euphonium-3"], **more}


def held(answer: SectionFit) -> dict[str, str]:
    return {seat.chair.title: f"{seat.member.name} on {seat.played}" for seat in answer.seats if not seat.doubles}


def losses(answer: SectionFit, title: str) -> dict[str, tuple[str, ...]]:
    seat = next(seat for seat in answer.seats if seat.chair.title == title)
    assert seat.cover is not None
    return {loss.code: loss.measures for loss in seat.cover.lost}


def every_assignment(document: dict) -> float:
    """The least sum over every way to give lines different players or none, by the document's own prices."""
    lines = {(line["part"]["id"], line["line"]): line["empty_price"] for line in document["lines"]}
    price = {(row["part"]["id"], row["line"], row["player"]): row["price"] for row in document["prices"]}
    players = list(dict.fromkeys(row["player"] for row in document["prices"]))
    best = float("inf")
    for chosen in itertools.product([None, *players], repeat=len(lines)):
        taken = [player for player in chosen if player is not None]
        if len(set(taken)) < len(taken):
            continue
        total = 0.0
        for (line, empty), player in zip(lines.items(), chosen, strict=True):
            cost = empty if player is None else price[(*line, player)]
            total += float("inf") if cost is None else cost
        best = min(best, total)
    return best


def check(answer: SectionFit) -> dict:
    """Check what holds of every answer, and return the document."""
    document = json.loads(json.dumps(fit_document(answer)))
    lines = {(line["part"]["id"], line["line"]): line["empty_price"] for line in document["lines"]}
    price = {(row["part"]["id"], row["line"], row["player"]): row for row in document["prices"]}
    total, players = 0.0, []
    for seat in document["assignments"]:
        line = (seat["part"]["id"], seat["line"])
        total += price[(*line, seat["player"])]["price"]
        players.append(seat["player"])
        assert seat["horn"] == price[(*line, seat["player"])]["horn"]
        assert seat["price"] == price[(*line, seat["player"])]["price"]
        if seat["cover"] is not None:
            assert document["verdict"] != "suits"
            assert seat["cover"]["price"] == seat["price"]
            assert "blend" in [loss["code"] for loss in seat["cover"]["lost"]]
            assert all(loss["what"] and loss["measures"] for loss in seat["cover"]["lost"])
    for empty in document["unfilled"]:
        total += lines[(empty["part"]["id"], empty["line"])]
        assert empty["why"]
    assert len(set(players)) == len(players)
    assert len(document["assignments"]) + len(document["unfilled"]) == len(lines)
    assert total == pytest.approx(every_assignment(document), abs=1e-4)
    assert all(row["price"] is not None or row["why"] for row in document["prices"])
    return document


# --- situations reasoned by hand -------------------------------------------------------------------------------------


def test_three_euphoniums_cover_a_trombone_trio() -> None:
    """All notes lie between E2 and F4, where a three-valved euphonium has them all: no note moves, only the color."""
    music = small({"Trombone 1": ["F4", "D4", "F4"], "Trombone 2": ["D4", "Bb3", "C4"],
                   "Trombone 3": ["Bb2", "F2", "Bb2"]})
    answer = fit(music, band(euph("A"), euph("B"), euph("C")))
    document = check(answer)
    assert document["verdict"] == "suits with changes"
    assert len(document["assignments"]) == 3
    for title in held(answer):
        assert set(losses(answer, title)) == {"blend"}
    assert all(seat["cover"]["of"] == "trombone" and seat["cover"]["by"] == "euphonium"
               for seat in document["assignments"])


def test_a_saxophone_covers_trombone_1_and_not_the_low_third() -> None:
    """The saxophone's lowest note is A flat 2: it has all of trombone 1; of trombone 3 it would have to move G2."""
    music = small({"Trombone 1": ["F4", "D4", "F4"], "Trombone 2": ["D4", "Bb3", "C4"],
                   "Trombone 3": ["Bb2", "G2", "Bb2"]})
    answer = fit(music, band(tenor("A"), tenor("B"), {"name": "Sax", "instrument": "tenor-saxophone"}))
    check(answer)
    assert held(answer)["Trombone 3"].endswith("tenor-f")
    sax = next(seat for seat in answer.seats if seat.member.name == "Sax")
    assert sax.chair.title in ("Trombone 1", "Trombone 2")
    assert sax.cover is not None
    assert sax.cover.reader.clef == "treble-b-flat"
    assert set(losses(answer, sax.chair.title)) == {"blend"}


def test_without_a_bass_trombone_the_euphonium_loses_the_low_octave() -> None:
    """D2 and C2 lie below E2: the phrase goes up an octave, every note of it; the trombonists keep their own lines."""
    music = small({"Trombone 1": ["F4", "D4", "F4", "D4"], "Trombone 2": ["D4", "Bb3", "C4", "D4"],
                   "Bass Trombone": ["D2", "C2", "D2", "C2"]})
    players = band(tenor("A", low="E2"), tenor("B", low="E2"), euph("E"),
                   {"name": "Gus", "horns": ["bass-independent"], "absent": True})
    answer = fit(music, players)
    check(answer)
    assert held(answer) == {"Trombone 1": "A on tenor-f", "Trombone 2": "B on tenor-f",
                            "Bass Trombone": "E on euphonium-3"}
    assert losses(answer, "Bass Trombone")["octave"] == ("1", "2", "3", "4")


def test_without_a_bass_trombone_the_tuba_keeps_the_low_octave() -> None:
    """A tuba has D2 and C2 where they stand, so it comes before the euphonium, who would move four notes."""
    music = small({"Trombone 1": ["F4", "D4", "F4", "D4"], "Bass Trombone": ["D2", "C2", "D2", "C2"]})
    answer = fit(music, band(tenor("A", low="E2"), euph("E"), {"name": "Tom", "instrument": "tuba"}))
    check(answer)
    assert held(answer)["Bass Trombone"] == "Tom on tuba"
    assert set(losses(answer, "Bass Trombone")) == {"blend"}


def test_two_are_ill_tonight() -> None:
    """Four lines, two left: melody and bass sound; both others are named with who is absent of their family."""
    music = small({"Trombone 1": ["F4", "D4"], "Trombone 2": ["D4", "Bb3"], "Trombone 3": ["Bb2", "F2"],
                   "Euphonium": ["D3", "F3"]})
    players = band(tenor("Ann"), tenor("Bob"), tenor("Cy"), euph("Eve"))
    answer = fit(music, players.without(("ann", "Cy"), "band.toml"))
    document = check(answer)
    assert set(held(answer)) == {"Trombone 1", "Trombone 3"}
    assert {row["player"] for row in document["prices"]} == {"Bob", "Eve"}
    assert document["absent"] == ["Ann", "Cy"]
    why = {empty["part"]["name"]: empty["why"] for empty in document["unfilled"]}
    assert "Ann and Cy are absent" in why["Trombone 2"]
    assert "absent" not in why["Euphonium"]


def test_nobody_is_left_for_the_inner_voice() -> None:
    """Two players for three lines: the highest and the lowest are dearest empty, so the middle one waits."""
    music = small({"Trombone 1": ["F4", "D4"], "Trombone 2": ["D4", "Bb3"], "Trombone 3": ["Bb2", "F2"]})
    answer = fit(music, band(tenor("A"), euph("E")))
    document = check(answer)
    roles = {line["part"]["name"]: (line["role"], line["empty_price"]) for line in document["lines"]}
    assert [role for role, _ in roles.values()] == ["melody", "inner", "bass"]
    assert roles["Trombone 1"][1] == roles["Trombone 3"][1] > roles["Trombone 2"][1]
    assert [empty.chair.title for empty in answer.unfilled] == ["Trombone 2"]


def test_a_glissando_on_valves_is_lost_and_on_a_slide_it_is_not() -> None:
    """Trombone 2 glides from F3 to G3 in measure 1; the trombonist takes that line, or the euphonium loses it there."""
    start, stop = GLISS.format("start"), GLISS.format("stop")
    plain = small({"Trombone 1": ["F4", "D4"], "Trombone 2": ["F3", "G3"]})
    text = plain.xml.decode().split('<part id="P2">')
    first, second = (part for part in (text[1].replace("</note>", f"{start}</note>", 1).rsplit("</note>", 1)))
    second = f"{stop}</note>{second}"
    music = read_document((text[0] + '<part id="P2">' + first + second).encode(), "glide.musicxml")
    alone = fit(music, band(euph("E"), euph("F")))
    check(alone)
    assert losses(alone, "Trombone 2")["gliss"] == ("1",)
    mixed = fit(music, band(tenor("A"), euph("E")))
    check(mixed)
    assert held(mixed) == {"Trombone 1": "E on euphonium-3", "Trombone 2": "A on tenor-f"}


def test_a_muted_line_goes_to_who_has_the_mute() -> None:
    """Both lines lie alike; only trombone 2 asks for a mute, which trombonists have: the euphonium takes the other."""
    music = small({"Trombone 1": ["D4", "C4", "D4"], "Trombone 2": [words("con sord.") + "D4", "C4", "Bb3"]})
    answer = fit(music, band(tenor("A"), euph("E")))
    check(answer)
    assert held(answer) == {"Trombone 1": "E on euphonium-3", "Trombone 2": "A on tenor-f"}
    both = fit(music, band(euph("E"), euph("F")))
    assert losses(both, "Trombone 2")["mute"] == ("1",)
    assert "mute" not in losses(both, "Trombone 1")


def test_a_slide_covers_a_euphonium_line() -> None:
    """The euphonium player is ill; the trombonist who is left over has every note of a line from B flat 2 to F4."""
    music = small({"Trombone": ["Bb3", "F3"], "Euphonium": ["F4", "Bb2"]})
    answer = fit(music, band(tenor("A"), tenor("B"), euph("E", absent=True)))
    document = check(answer)
    cover = next(seat["cover"] for seat in document["assignments"] if seat["part"]["name"] == "Euphonium")
    assert (cover["of"], cover["by"], cover["clef"]) == ("euphonium", "trombone", "bass")
    assert document["verdict"] == "suits with changes"


def test_a_line_s_own_family_comes_before_who_would_cover_it() -> None:
    """A trombonist with the whole line is not moved off it because a bassoon is there: the bassoon has no line."""
    music = small({"Trombone": ["Bb3", "F3", "D3"]})
    answer = fit(music, band({"name": "Bea", "instrument": "bassoon"}, tenor("A")))
    document = check(answer)
    assert (held(answer), document["verdict"]) == ({"Trombone": "A on tenor-f"}, "suits")
    assert "Bea has no line to cover on bassoon" in fit_text(answer)


def test_a_note_that_no_octave_has_is_lost_and_named() -> None:
    """From C2 to D4 is more than this student's two octaves from F2 to F4 less a third: one note stays outside."""
    music = small({"Trombone": ["C2", "D4", "F4", "D4", "C4", "D4"]})
    answer = fit(music, band(euph("E", low="F2", high="F4")))
    check(answer)
    assert losses(answer, "Trombone")["notes"] == ("1",)
    assert answer.verdict == "suits with changes"


def test_tenor_for_bass_and_baritone_for_euphonium_are_no_covers() -> None:
    music = small({"Bass Trombone": ["Bb2", "F2"], "Euphonium": ["D3", "F3"]})
    document = check(fit(music, band(tenor("A"), {"name": "B", "horns": ["baritone-3"]})))
    assert [seat["cover"] for seat in document["assignments"]] == [None, None]


# --- against every assignment ----------------------------------------------------------------------------------------

PLAYS = ("tenor", "tenor-f", "bass-independent", "euphonium-3", "euphonium-4", "baritone-3")
OTHERS = ("tenor-saxophone", "bass-clarinet", "bassoon", "tuba", "cello")
NAMES = ("Trombone 1", "Trombone 2", "Trombone 3", "Bass Trombone", "Euphonium", "Baritone")
NOTES = ("C2", "D2", "F2", "Bb2", "C3", "F3", "Bb3", "D4", "F4", "A4")


def chance_band(seed: int) -> SectionFit:
    chance = random.Random(seed)
    lines = {name: [chance.choice(NOTES[3 * chance.randint(0, 2):]) for _ in range(chance.randint(2, 12))]
             for name in sorted(chance.sample(NAMES, chance.randint(1, 5)))}
    players: list[dict[str, object]] = []
    for k in range(chance.randint(1, 5)):
        player: dict[str, object] = {"name": f"P{k}"}
        if chance.random() < 0.35:
            player["instrument"] = chance.choice(OTHERS)
        else:
            player["horns"] = chance.sample(PLAYS, chance.randint(1, 2))
        if chance.random() < 0.3:
            player |= {"low": chance.choice(("E2", "Bb2")), "high": chance.choice(("D4", "F4"))}
        if chance.random() < 0.15:
            player["keeps"] = chance.choice(("trombone", "bass trombone", "euphonium"))
        if chance.random() < 0.2:
            player["level"] = "beginner"
        players.append(player)
    return fit(small(lines), band(*players))


SEEDS = [*range(12), *(pytest.param(seed, marks=pytest.mark.whole) for seed in range(12, 200))]


@pytest.mark.parametrize("seed", SEEDS)
def test_the_seats_are_the_cheapest_of_every_assignment(seed: int) -> None:
    answer = chance_band(seed)
    document = check(answer)
    dearest = max(line["empty_price"] for line in document["lines"])
    own = [priced for priced in answer.priced if priced.chair.same_as is None]
    for mean in (max, min):
        end = mean(own, key=lambda priced: sum(note.midi for note in priced.chair.line.notes)
                   / len(priced.chair.line.notes))
        assert end.empty_price == dearest
    # A line's own family is never dearer than a cover by the same number of moved and lost notes.
    for priced in answer.priced:
        offers = [offer for _, offer in priced.offers if offer.price is not None]
        for mine, other in itertools.product(offers, offers):
            if mine.cover is None and mine.burden is not None and other.cover is not None and not other.cover.moved \
                    and len(mine.burden.blocked) == len(other.cover.missing):
                assert mine.cost <= other.cost


@pytest.mark.parametrize("name", [MARCH, CHORALE])
def test_the_parts_of_covers_pass_their_own_review(name: str) -> None:
    """Every cover's part, read back: no note beyond the horn, out of range or in the wrong octave."""
    players = band(euph("A"), {"name": "B", "horns": ["euphonium-4"]}, {"name": "C", "horns": ["euphonium-3"]},
                   {"name": "D", "horns": ["euphonium-4-compensating"]}, {"name": "S", "instrument": "tenor-saxophone"})
    answer = fit(sample(name), players)
    covers = [seat for seat in answer.seats if seat.cover is not None]
    assert covers
    for seat in covers:
        assert seat.cover is not None
        part = cover_part(answer, seat)
        assert part.reader.clef == seat.cover.reader.clef
        assert [(phrase.first, phrase.octaves) for phrase in part.phrases] == [
            (phrase.first, phrase.octaves) for phrase in seat.cover.phrases]
        stops = [finding for finding in findings(part, planned(part, Request(player=seat.member.player)))
                 if finding.severity == "stop"]
        assert len(stops) <= len(seat.cover.missing)
        assert {finding.code for finding in stops} <= {"beyond-horn", "out-of-range"}


def test_a_cover_s_part_asks_for_no_glissando_that_it_has_not() -> None:
    """The bass trombone part of the sample has two glissandi, each with its word; a bassoon has neither."""
    answer = fit(sample("deep-water-bass-trombone.musicxml"), band({"name": "Bea", "instrument": "bassoon"}))
    check(answer)
    assert len(losses(answer, "Bass Trombone")["gliss"]) == 2
    score = cover_part(answer, answer.seats[0]).document.xml.decode()
    assert "gliss" not in score
    assert "gliss" in answer.document.xml.decode()


# --- files and the command line --------------------------------------------------------------------------------------

FILE = """[[player]]
name = "Ann"
horns = ["tenor-f"]
absent = true

[[player]]
name = "Sax"
instrument = "tenor-saxophone"
"""


def test_the_section_file_tells_instruments_and_who_is_absent(tmp_path: Path) -> None:
    path = tmp_path / "band.toml"
    path.write_text(FILE, encoding="utf-8")
    found = read_section(path)
    assert ([one.name for one in found.members], [one.name for one in found.absent]) == (["Sax"], ["Ann"])
    said = CliRunner().invoke(cli, ["section", "check", str(path)]).stdout
    assert said.splitlines() == ["Sax: tenor-saxophone", "Ann: tenor-f, absent"]
    path.write_text('[[player]]\nhorns = ["tenor"]\ninstrument = "tuba"\n', encoding="utf-8")
    assert "horns and an instrument" in check_section(path)[1][0].what
    path.write_text('[[player]]\ninstrument = "kazoo"\n', encoding="utf-8")
    assert "bassoon" in check_section(path)[1][0].try_


def test_write_takes_a_player_with_an_instrument(tmp_path: Path) -> None:
    path, out = tmp_path / "band.toml", tmp_path / "part.musicxml"
    path.write_text(FILE, encoding="utf-8")
    done = CliRunner().invoke(cli, ["write", str(SAMPLES / CHORALE), "--part", "Trombone 1", "--section", str(path),
                                    "--for", "Sax", "-o", str(out), "--format", "json"])
    assert json.loads(done.stdout)["reader"]["clef"] == "treble-b-flat"
    assert open_document(out).title


def test_everybody_absent_is_one_line(tmp_path: Path) -> None:
    path = tmp_path / "band.toml"
    path.write_text(FILE, encoding="utf-8")
    done = CliRunner().invoke(cli, ["fit", str(SAMPLES / CHORALE), "--section", str(path), "--absent", "sax"])
    assert (done.exit_code, done.stdout) == (1, "")
    assert "everybody in the section is absent" in str(done.exception) + done.stderr


def test_folders_print_a_cover_for_who_plays_it(tmp_path: Path) -> None:
    pypdf = pytest.importorskip("pypdf")
    path, target = tmp_path / "band.toml", tmp_path / "out"
    path.write_text(FILE + '\n[[player]]\nname = "Eve"\nhorns = ["euphonium-4-compensating"]\n', encoding="utf-8")
    done = CliRunner().invoke(cli, ["folders", str(SAMPLES / CHORALE), "--section", str(path), "-o", str(target),
                                    "--format", "json"])
    document = json.loads(done.stdout)
    pieces = {player["player"]: player["pieces"] for player in document["players"]}
    assert set(pieces) == {"Sax", "Eve"}
    assert all(piece["cover"] for mine in pieces.values() for piece in mine)
    assert done.exit_code == 3
    assert any("Ann is absent" in empty["why"] for empty in document["unfilled"])
    read = pypdf.PdfReader(io.BytesIO((target / "00 Director.pdf").read_bytes()))
    assert "Absent: Ann" in " ".join(page.extract_text().replace("\xa0", " ") for page in read.pages)


def test_a_brass_band_reader_reads_treble_a_ninth_up() -> None:
    """A part in treble clef a ninth above the sound is read by whose file says treble-b-flat."""
    answer = fit(sample(HYMN), band({"name": "E", "horns": ["euphonium-4"], "clefs": ["treble-b-flat"]},
                                    tenor("A", clefs=["treble-b-flat"])))
    check(answer)
