"""A line shared among players: small splits against every split there is, and bands reasoned by hand."""

import itertools
import json
import random
from dataclasses import replace

import pytest

from analyzer.pitch import parse_pitch
from analyzer.report.fit.document import fit_document
from analyzer.report.fit.page import section_html
from analyzer.report.fit.text import fit_text
from analyzer.report.folders.parts import seat_part
from analyzer.report.page_answers import fit_answer
from analyzer.score.document import Document, read_document
from analyzer.section.assignment import INF
from analyzer.section.fit import SectionFit, fit
from analyzer.section.shares import Share
from analyzer.section.split import SPLIT_PRICES, Taker, pieces_of, split, walked
from analyzer.writing.phrases import phrases_of, settled
from analyzer.writing.readers import Reader
from tests.lines import line_of
from tests.review.scores import note, part, score
from tests.section.test_covers import band, euph, tenor


def by_hand(prices: list[list[float]], empty: list[float], handover: float) -> float:
    """The least over every way to give each phrase to one of the takers or to nobody, counted one by one."""
    best = INF
    for chosen in itertools.product([None, *range(len(prices))], repeat=len(empty)):
        total = sum(empty[k] if who is None else prices[who][k] for k, who in enumerate(chosen))
        playing = [who for who in chosen if who is not None]
        total += handover * sum(a != b for a, b in itertools.pairwise(playing))
        best = min(best, total)
    return best


@pytest.mark.parametrize("seed", range(120))
def test_the_split_is_the_cheapest_of_every_split(seed: int) -> None:
    chance = random.Random(seed)
    takers, phrases = chance.randint(1, 4), chance.randint(1, 6)
    prices = [[INF if chance.random() < 0.3 else float(chance.randint(0, 120)) for _ in range(phrases)]
              for _ in range(takers)]
    empty = [float(chance.choice((30, 100, 500))) for _ in range(phrases)]
    handover = float(chance.choice((0, 10, 50)))
    chosen, price = walked(prices, empty, handover)
    assert price == pytest.approx(by_hand(prices, empty, handover))
    playing = [who for who in chosen if who is not None]
    assert price == pytest.approx(
        sum(empty[k] if who is None else prices[who][k] for k, who in enumerate(chosen))
        + handover * sum(a != b for a, b in itertools.pairwise(playing)))


@pytest.mark.parametrize("seed", range(40))
def test_a_line_is_split_as_cheaply_as_can_be(seed: int) -> None:
    """Over real phrases, with ranges and rests, at the prices that the pieces themselves give."""
    chance = random.Random(seed)
    music = []
    for _ in range(chance.randint(2, 5)):
        music += [chance.choice(("E2", "Bb2", "F3", "D4", "A4")) for _ in range(chance.randint(1, 4))] + ["R"]
    line = line_of(" ".join("C3" if name == "R" else name for name in music))
    line = replace(line, notes=tuple(note for note, name in zip(line.notes, music, strict=True) if name != "R"))
    spans = phrases_of(line)
    end = line.notes[-1].onset + line.notes[-1].duration
    takers = []
    for name in "ABC"[:chance.randint(1, 3)]:
        low = chance.choice((28, 40, 50))
        reader = Reader(name=name, clef="bass", low=low, high=low + chance.choice((14, 24)))
        at = chance.choice((None, end * chance.random()))
        busy = () if at is None else ((at, at + 4),)
        takers.append(Taker(name=name, phrases=tuple(settled(line, spans, reader)), busy=busy,
                            blend=float(chance.choice((0, 100))), home=None if at is None else 50.0))
    got = split(line, spans, takers)
    prices = [[INF if piece is None else piece.price for piece in pieces_of(line, taker, nth)]
              for nth, taker in enumerate(takers)]
    empty = [1_000_000.0 * (last - first + 1) for first, last in spans]
    assert got.price == pytest.approx(by_hand(prices, empty, SPLIT_PRICES["handover"]))


# --- reasoned by hand ------------------------------------------------------------------------------------------------


def music(parts: dict[str, str]) -> Document:
    """A score in 4/4 at 100 by part name; bars between measures, whose notes and rests (R) are of equal length."""
    made = {}
    for k, (name, text) in enumerate(parts.items(), 1):
        measures = []
        for measure in text.split("|"):
            names = measure.split()
            length = 4 // len(names)
            measures.append("".join(
                f"<note><rest/><duration>{length}</duration><voice>1</voice></note>" if one == "R" else
                note(parse_pitch(one).step, parse_pitch(one).octave, parse_pitch(one).alter, length) for one in names))
        made[name] = part(f"P{k}", *measures)
    return read_document(score(made), "small.musicxml")


def who(share: Share) -> dict[str, list[str]]:
    return {part.member.name: share.measures([(piece.phrase.first, piece.phrase.last) for piece in part.pieces])
            for part in share.parts}


def only(answer: SectionFit) -> Share:
    (share,) = answer.shares
    return share


def test_who_rests_plays_the_absent_line() -> None:
    """Trombone 2 is ill. Ann plays in measures 4 and 5, Cy in 1, 2, 6 and 7. Measures 1 and 2 are Ann's to take, 6 and
    7 too, with a measure's rest between; in measure 4 only Cy rests."""
    ill = music({"Trombone 1": "R|R|R|F4|R|R|R", "Trombone 2": "D4|D4|R|R C4|R|D4|C4",
                 "Trombone 3": "Bb2|F2|R|R|R|Bb2|F2"})
    answer = fit(ill, band(tenor("Ann"), tenor("Bob", absent=True), tenor("Cy")))
    share = only(answer)
    assert share.chair.title == "Trombone 2"
    assert share.whole
    assert who(share) == {"Ann": ["1", "2", "6", "7"], "Cy": ["4"]}
    assert share.split.handovers == 2
    (empty,) = answer.unfilled
    assert "Ann on tenor-f mm. 1-2, 6-7; Cy on tenor-f m. 4" in empty.why
    assert "Bob is absent" in empty.why


def test_a_phrase_that_everybody_plays_through_is_left_and_named() -> None:
    answer = fit(music({"Trombone 1": "F4|D4|R|R|R", "Trombone 2": "D4|R|R|R|C4", "Trombone 3": "Bb2|F2|F2|F2|F2"}),
                 band(tenor("Ann"), tenor("Cy")))
    share = only(answer)
    assert who(share) == {"Ann": ["5"]}
    assert share.measures(share.left) == ["1"]
    assert "nobody plays m. 1" in share.said
    assert not share.whole


def test_euphonium_and_tuba_share_a_bass_line() -> None:
    """No player has all: the bass line goes down to F1 and up to D4. The tuba ends at B flat 3, this euphonium at E2;
    each takes the phrase that it has, and nothing moves."""
    answer = fit(music({"Trombone 1": "F4|D4|F4|D4|F4", "Bass Trombone": "F1 G1 F1 G1|F1|R|D4 C4 D4 C4|C4"}),
                 band(tenor("Ann", low="E2"), euph("Eve", low="E2"), {"name": "Tom", "instrument": "tuba"}))
    share = only(answer)
    assert who(share) == {"Eve": ["4", "5"], "Tom": ["1", "2"]}
    assert share.split.handovers == 1
    assert share.whole
    assert "Phrases handed over" in fit_text(answer)
    assert "Tom on tuba" in fit_answer(answer)["page"]["handed"][0]
    assert "Phrases handed over" in section_html(answer, lambda seat, first, last: "")
    assert not any(piece.phrase.octaves for piece in share.split.taken)


def test_one_player_keeps_the_line_where_nobody_has_it_better() -> None:
    """The euphonium covers all of it; a tuba that could take a phrase as well would only cost a handover."""
    answer = fit(music({"Trombone 1": "F4|D4|F4", "Bass Trombone": "F2|R|G2"}),
                 band(tenor("Ann"), euph("Eve"), {"name": "Tom", "instrument": "tuba"}))
    assert answer.shares == ()


def test_nobody_is_given_a_phrase_without_a_breath() -> None:
    """Ann's note ends where measure 2 begins. The phrase begins there (no breath), on its second quarter (0.6 s at 100,
    too little for a breath and a look at the new place), or on its third (1.2 s)."""
    for phrase, taken in (("D4", False), ("R D4 D4 D4", False), ("R R D4 D4", True)):
        answer = fit(music({"Trombone 1": "F4|R|R|R", "Trombone 2": f"R|{phrase}|R|R",
                            "Trombone 3": "Bb2|Bb2|Bb2|Bb2"}), band(tenor("Ann"), tenor("Cy")))
        assert bool(answer.shares) == taken


def test_off_beats_between_somebody_s_beats_are_no_rests() -> None:
    """Bob's line is the second half of every beat that Ann plays on: nobody can take that beside an own line."""
    answer = fit(music({"Trombone 1": "F4 R F4 R|F4 R F4 R", "Trombone 2": "R D4 R D4|R D4 R D4"}),
                 band(tenor("Ann")))
    assert answer.shares == ()


def test_a_whole_share_makes_an_empty_line_a_change() -> None:
    """Two for three lines; the first euphonium's chair is one that a piece hardly does without. Ann rests while it
    sounds, so the piece suits, with that change; where she plays on, it does not."""
    parts = {"Trombone": "F4|F4|R|R|R|R", "Bass Trombone": "Bb2|Bb2|Bb2|Bb2|Bb2|Bb2", "Euphonium": "R|R|R|F3|D3|R"}
    players = band(tenor("Ann"), {"name": "Gus", "horns": ["bass-independent"]})
    assert fit(music(parts | {"Trombone": "F4|F4|F4|F4|F4|F4"}), players).verdict == "does not suit"
    answer = fit(music(parts), players)
    share = only(answer)
    assert [one.chair.title for one in answer.unfilled] == [share.chair.title] == ["Euphonium"]
    assert answer.verdict == "suits with changes"
    assert "Share out Euphonium: Ann on tenor-f mm. 4-5." in [change.text for change in answer.changes]
    assert not any(change.kind == "empty" for change in answer.changes)


def test_two_lines_do_not_get_the_same_player_at_once() -> None:
    """While Ann rests both lines without a player sound at once, and she can take one of them."""
    answer = fit(music({"Trombone 1": "R|R|F4|F4|F4", "Trombone 2": "D4|R|R|R|R", "Trombone 3": "C4|R|R|R|R",
                        "Bass Trombone": "Bb2|Bb2|Bb2|Bb2|Bb2"}),
                 band(tenor("Ann"), {"name": "Gus", "horns": ["bass-independent"]}))
    taken = [share.measures([(piece.phrase.first, piece.phrase.last)]) for share in answer.shares
             for piece in share.split.taken]
    assert taken == [["1"]]


def test_who_has_the_cue_printed_is_asked_first() -> None:
    """Both Ann and Cy rest in measure 3 and have every note; Cy's register is nearer, so Cy is asked. Where Ann's part
    prints the phrase as a cue, an octave higher, Ann is."""
    parts = {"Trombone 1": "F4|R|R|R|F4", "Trombone 2": "R|R|D3 C3 D3 C3|R|R", "Trombone 3": "Bb2|R|R|R|Bb2"}
    players = band(tenor("Ann"), tenor("Cy"))
    text = music(parts).xml.decode()
    assert who(only(fit(music(parts), players))) == {"Cy": ["3"]}
    measures = text.split('<measure number="3">')
    cue = "".join(note(name, 4, quarters=1).replace("<note>", "<note><cue/>") for name in "DCDC")
    measures[1] = cue + measures[1][measures[1].index("</note>") + len("</note>"):]
    cued = read_document('<measure number="3">'.join(measures).encode(), "cued.musicxml")
    answer = fit(cued, players)
    assert who(only(answer)) == {"Ann": ["3"]}
    written = seat_part(answer, next(seat for seat in answer.seats if seat.member.name == "Ann"))
    assert [one.find("cue") is None for one in written.document.root.iter("note") if one.find("pitch") is not None] == [
        True] * 6                       # to be played: in the place of the cue


def test_the_horn_in_hand_is_kept() -> None:
    """Ann has a straight tenor and a euphonium and sits on the trombone line with the tenor. What she takes of the
    euphonium's line in her rests is for the tenor too, which has no E flat 2: it stands an octave higher."""
    answer = fit(music({"Trombone": "F4|R|R|R|F4", "Bass Trombone": "Bb1|Bb1|Bb1|Bb1|Bb1", "Euphonium": "R|R|Eb2|R|R"}),
                 band({"name": "Ann", "horns": ["tenor", "euphonium-4-compensating"]},
                      {"name": "Gus", "horns": ["bass-independent"]}))
    share = only(answer)
    assert [(part.member.name, part.played) for part in share.parts] == [("Ann", "tenor")]
    assert [piece.phrase.octaves for piece in share.split.taken] == [1]
    assert "1 note in another octave" in share.said


def test_the_document_tells_who_plays_what() -> None:
    answer = fit(music({"Trombone 1": "F4|D4|R|R|R", "Trombone 2": "D4|R|R|R|C4", "Trombone 3": "Bb2|F2|F2|F2|F2"}),
                 band(tenor("Ann"), tenor("Cy")))
    document = json.loads(json.dumps(fit_document(answer)))
    (share,) = document["shares"]
    assert share["part"]["name"] == "Trombone 2"
    assert [(piece["player"], piece["horn"], piece["measures"], piece["beside"]) for piece in share["pieces"]] == [
        ("Ann", "tenor-f", ["5", "5"], "rests")]
    assert [left["measures"] for left in share["left"]] == [["1", "1"]]
    assert "Ann on tenor-f m. 5" in fit_text(answer)
