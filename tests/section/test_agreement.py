"""Map, review, ready and fit say the same of every note: whether it can be played, and why not.

Each command's JSON document is asked, on the samples and on bass-clef parts of scores that nobody here wrote. The
oracle is written below from the definitions alone: a note is beyond the horn where no state and partial sounds it, out
of range where none of them is learned, a long reach where all that are learned lie farther out than the player reaches.
"""

from collections import Counter
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

from analyzer.analysis import Request, analyse
from analyzer.horns.candidates import candidates
from analyzer.horns.horn import Horn
from analyzer.horns.profiles import load_horn
from analyzer.plan.player import Player
from analyzer.plan.unplayable import UnplayableCode
from analyzer.problem import Unreadable
from analyzer.report.fit.document import fit_document
from analyzer.report.map.document import map_document
from analyzer.report.ready import ready_document
from analyzer.report.review import review_document
from analyzer.review.line import review
from analyzer.score.document import Document, open_document
from analyzer.score.parts import find_parts
from analyzer.section.burden import burden_of
from analyzer.section.fit import fit
from analyzer.section.ready import ready
from analyzer.section.section import Member, Section
from tests.review.scores import SAMPLES
from tests.score.suites import every_file
from tests.section.test_fit import small

CODES = ("beyond-horn", "out-of-range", "long-reach")
MOST_BYTES = 40_000
CORPUS_PARTS = 50


@dataclass(frozen=True)
class Hands:
    """A horn and a player who lacks something."""

    horn: str
    other: str
    player: Player


SLIDE = (Hands("tenor", "tenor-f", Player(outermost_position=5, low=41)),
         Hands("tenor-f", "tenor", Player(learned=(), reach_mm=480.0)),
         Hands("bass-dependent", "tenor", Player(cannot=("S",), learned=("T",), high=60)))
VALVES = (Hands("euphonium-3", "euphonium-4", Player(learned=("1", "2", "1-2"))),
          Hands("euphonium-4-compensating", "euphonium-3", Player(cannot=("4",), low=40)))


def expected(horn: Horn, player: Player, midi: int) -> UnplayableCode | None:
    ways = candidates(horn, midi)
    if not ways:
        return "beyond-horn"
    ways = tuple(way for way in ways if player.knows(way.valves))
    if not ways:
        return "out-of-range"
    within = [way for way in ways if (way.extension_mm or 0.0) <= player.reach_on(horn)]
    return None if within else "long-reach"


def disagreements(document: Document, part_id: str, hands: Hands) -> tuple[int, list[str]]:
    """Return how many notes cannot be played, and each note on which two commands differ."""
    horn, player = load_horn(hands.horn), hands.player
    analysis = analyse(document, Request(parts=(part_id,), horns=(hands.horn,), player=player))
    reviewed = review(analysis)
    said: dict[str, dict[tuple[int, int], str]] = {"map": {}, "review": {}, "fit": {}, "expected": {}}
    mapped = map_document(analysis)
    for line in mapped["lines"]:
        for note in line["notes"]:
            if note["label"] is None:
                said["map"][line["line"], note["index"]] = note["problem"]["code"]
            if (code := expected(horn, player, note["midi"])) is not None:
                said["expected"][line["line"], note["index"]] = code
    document_of_review = review_document(analysis, reviewed)
    for finding in document_of_review["findings"]:
        if finding["severity"] == "stop" and finding["code"] in CODES:
            said["review"][finding["line"], finding["index"]] = finding["code"]
    wrong = []
    where = f"{document.name} {part_id} {hands.horn}"
    lines = [(one, one.plan.line) for one in analysis.lines if one.plan.line.notes]
    for planned, line in lines:
        burden = burden_of(line, Member(player=player, horns=(horn,)), horn)
        for k in burden.unplayable:
            problem = burden.planner.plan().notes[k].problem
            said["fit"][line.number, k] = problem.code if problem else "no reason"
        mine = {finding.index for finding in next(
            one for one in reviewed if one.planned is planned).findings
            if (finding.code, finding.severity) == ("out-of-range", "care")}
        if mine != set(burden.out_of_range):
            wrong.append(f"{where}: out of range {sorted(mine ^ set(burden.out_of_range))}")
    # Those whom a section seats are told the same as a review tells.
    members = tuple(Member(player=player, horns=(horn,)) for _ in lines)
    seated = fit_document(fit(document, Section(members=members), parts=(part_id,))) if lines else {"assignments": []}
    for seat in seated["assignments"]:
        told = {(one["line"], one["index"], one["code"], one["what"]) for one in seat["findings"]}
        asked = {(one["line"], one["index"], one["code"], one["what"]) for one in document_of_review["findings"]
                 if one["line"] == seat["line"]}
        if told != asked:
            wrong.append(f"{where}: fit and review differ {sorted(map(str, told ^ asked))}")
    if lines:
        answer = ready_document(ready([document], load_horn(hands.other), horn, player, parts=(part_id,)))
        lacking: Counter[tuple[int, str, str]] = Counter()
        for need in (*answer["losses"], *answer["neither"]):
            if need["reason"] in CODES:
                lacking[need["line"], need["sounding"], need["reason"]] += need["count"]
        names = {(line["line"], note["index"]): note["sounding"] for line in mapped["lines"] for note in line["notes"]}
        planned = Counter((place[0], names[place], code) for place, code in said["map"].items())
        if lacking != planned:
            wrong.append(f"{where}: ready {lacking - planned} map {planned - lacking}")
    for place in sorted(set().union(*said.values())):
        found = {who: codes.get(place) for who, codes in said.items()}
        if len(set(found.values())) > 1:
            wrong.append(f"{where} {place}: {found}")
    return len(said["expected"]), wrong


@pytest.mark.parametrize("path", sorted(SAMPLES.glob("*.m*x*l")), ids=lambda path: path.name)
def test_on_the_samples(path: Path) -> None:
    document = open_document(path)
    lacking = 0
    for part in find_parts(document)[0]:
        if part.low_brass:
            for hands in SLIDE if "trombone" in part.family else VALVES:
                count, wrong = disagreements(document, part.id, hands)
                lacking += count
                assert wrong == []
    assert lacking, "nobody lacks a note here: the test would see nothing"


@cache
def corpus() -> list[tuple[Path, str]]:
    """One bass-clef part a score, spread over all the suites that are installed."""
    pytest.importorskip("music21", reason="the corpus comes with music21")
    found = []
    small = [path for path in every_file() if path.stat().st_size < MOST_BYTES]
    for path in small[::max(1, len(small) // (4 * CORPUS_PARTS))]:
        try:
            document = open_document(path)
        except Unreadable:
            continue
        bass = next((part.id for part in reversed(find_parts(document)[0]) if document.part_measures(part.id)
                     and "<sign>F</sign>" in document.xml.decode(errors="replace")), None)
        if bass:
            found.append((path, bass))
    return found


def test_on_parts_of_a_corpus() -> None:
    parts = lacking = 0
    wrong: list[str] = []
    for number, (path, part_id) in enumerate(corpus()):
        hands = (*SLIDE, *VALVES)[number % 5]
        try:
            count, differ = disagreements(open_document(path), part_id, hands)
        except Unreadable:
            continue
        lacking += count
        wrong += differ
        parts += count > 0
        if parts == CORPUS_PARTS:
            break
    print(f"{parts} parts with notes that cannot be played, {lacking} such notes, {len(wrong)} disagreements")
    assert wrong == []
    assert parts == CORPUS_PARTS


@pytest.mark.parametrize("low", ["B1", "D2", "Eb2", "C#2"])
def test_the_octave_that_fit_names_is_one_that_the_review_offers(low: str) -> None:
    """B2 stands in seventh on a straight tenor, with room to tune it: review and fit offer it for B1 alike."""
    document = small({"Trombone": ["Bb2"] * 20 + [low], "Flute": ["D5"] * 21})
    answer = fit(document, Section(members=(Member(player=Player(), horns=(load_horn("tenor"),)),)))
    findings = review(analyse(document, Request(horns=("tenor",))))[0].findings
    offered = [remedy.sounding.pretty for finding in findings if finding.index == 20
               for remedy in finding.remedies if remedy.sounding is not None]
    way = next(change for change in answer.changes if change.kind == "notes").data["notes"][0]["way"]
    assert (way.split(" works instead")[0].split(" or ") if "works instead" in way else []) == offered
    assert ("B2" in way) is (low == "B1")
