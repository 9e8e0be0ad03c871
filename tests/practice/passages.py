"""Fifty passages of music nobody here wrote, each for a horn and a player, and what their practice sheets hold.

``python -m tests.practice.passages`` prints a row for each and the recall over all: how many of a passage's hardest
moves its sheet has the player play. The scores come with music21; the choice is seeded.
"""

import random
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import count as count_from
from itertools import pairwise
from pathlib import Path

from analyzer.analysis import Request, analyse
from analyzer.plan.player import Player
from analyzer.practice.drills import Drills, drills_for
from analyzer.score.document import Document, open_document

End = tuple[int, str]
"""One end of a move: sounding MIDI number and label."""

SAMPLES = Path(__file__).resolve().parents[2] / "sample_scores"
COUNT, MEASURES, LEAST_NOTES = 50, 10, 16
STUDENT = Player(name="Student", outermost_position=6, low=40, high=65, learned=("T", "1", "2", "1-2"),
                 max_speed_mm_s=2500.0, secure=(("1", "4"), ("0", "2")))
PLAYERS = (Player(), STUDENT, Player(learned=()), Player(reach_mm=420.0))
# Horn, and which part of the score it takes: the lowest or the second from the top.
HORNS = (("tenor", -1), ("tenor-f", -1), ("bass-single", -1), ("bass-independent", -1), ("bass-dependent", -1),
         ("alto", 1), ("euphonium-3", -1), ("euphonium-4", -1), ("euphonium-3-compensating", -1),
         ("euphonium-4-compensating", -1), ("baritone-3", -1))
FOLDERS = ("bach", "haydn", "beethoven", "mozart", "schumann_robert", "palestrina", "monteverdi")


@dataclass(frozen=True, slots=True, kw_only=True)
class Passage:
    """Some measures of one part, for a horn and a player."""

    path: Path
    part: str
    measures: tuple[str, str]
    horn: str
    player: Player

    @property
    def name(self) -> str:
        """Such as ``bach/bwv66.6 P4 3-12 tenor 0``; the last is the place in `PLAYERS`."""
        place = f"{self.path.parent.name}/{self.path.stem} {self.part} {'-'.join(self.measures)}"
        return f"{place} {self.horn} {PLAYERS.index(self.player)}"

    @property
    def request(self) -> Request:
        """What is asked of the score."""
        return Request(parts=(self.part,), horns=(self.horn,), measures=self.measures, player=self.player)


@cache
def document_of(path: Path) -> Document:
    """Return a score, read once."""
    return open_document(path)


def passages(count: int = COUNT, seed: int = 4) -> tuple[Passage, ...]:
    """Return the same passages for the same seed and corpus; none where music21 is not installed."""
    try:
        import music21
    except ImportError:
        return ()
    corpus = Path(music21.__file__).parent / "corpus"
    chance = random.Random(seed)
    files = {folder: sorted(path for path in (corpus / folder).rglob("*.mxl") if path.stat().st_size < 60_000)
             for folder in FOLDERS}
    folders = [folder for folder in FOLDERS if files[folder]]
    found: list[Passage] = []
    for attempt in count_from(0):
        if len(found) == count:
            break
        horn, place = HORNS[len(found) % len(HORNS)]
        path = chance.choice(files[folders[attempt % len(folders)]])
        passage = _passage(path, place, horn, PLAYERS[len(found) % len(PLAYERS)], chance)
        if passage is not None:
            found.append(passage)
    return tuple(found)


def _passage(path: Path, place: int, horn: str, player: Player, chance: random.Random) -> Passage | None:
    document = document_of(path)
    parts = document.part_ids
    if len(parts) < 2:
        return None
    part = parts[place]
    music = document.part_measures(part)
    numbers = [measure.get("number", "") for measure in music]
    start = chance.randrange(max(1, len(music) - MEASURES))
    span = numbers[start:start + MEASURES]
    # A range is asked for by printed numbers: those of two measures alike would name others too.
    if len(set(numbers)) < len(numbers) or len(span) < 4 or not all(number.isdecimal() for number in span):
        return None
    if sum(note.find("pitch") is not None for measure in music[start:start + MEASURES]
           for note in measure.iter("note")) < LEAST_NOTES:
        return None
    passage = Passage(path=path, part=part, measures=(span[0], span[-1]), horn=horn, player=player)
    lines = analyse(document, passage.request).lines
    high = [note.midi for line in lines for note in line.plan.line.notes]
    # Music in this horn's register, at least most of it: a drill of four notes out of forty tells little.
    playable = [one.choice for line in lines for one in line.plan.notes]
    return passage if high and sum(one is not None for one in playable) > 0.8 * len(playable) else None


def hardest(drills: Drills) -> list[frozenset[End]]:
    """Return the moves of the hand by rank, worked out anew from the plan: frequency × difficulty × not yet learned.

    The formula is the documented one: way over the slide's length or fingers over valves, speed over what the player
    has, cents over what the lip bends, twice as much where a valve state is new; nothing where it is secure.
    """
    planner, kit = drills.planned.planner, drills.kit
    learner, horn = kit.learner, planner.horn
    secure = {frozenset(pair) for pair in learner.secure}
    times: Counter[tuple[End, End]] = Counter()
    quickest: dict[tuple[End, End], int] = {}
    ends = {}
    for k, (a, b) in enumerate(pairwise(drills.planned.plan.notes)):
        if a.choice is None or b.choice is None or a.choice.label == b.choice.label:
            continue
        if frozenset((a.choice.label, b.choice.label)) in secure:
            continue
        key = ((a.note.midi, a.choice.label), (b.note.midi, b.choice.label))
        move = planner.moves[k]
        ends[key] = a.choice, b.choice
        times[key] += 1
        if key not in quickest or move.move_s < planner.moves[quickest[key]].move_s:
            quickest[key] = k
    scores = {}
    for key, count in times.items():
        a, b = ends[key]
        if horn.family == "slide":
            way = abs(a.extension_mm - b.extension_mm)
            far = way / horn.slide_end_mm
        else:
            changed = set(a.valves) ^ set(b.valves)
            far = len(changed) / len(horn.loop_names)
        fast = max(planner.loads.hand(quickest[key], a, b))      # held against brute force in tests/brute
        lip = max(1.0, horn.lip_reach.value)
        off = max(abs(a.off_cents), abs(b.off_cents))
        new = not (learner.knows(a.valves) and learner.knows(b.valves))
        # A move that is none of new, far, fast or out of tune gives way to those that are.
        hard = new or far >= (0.4 if horn.family == "slide" else 0.7) or fast >= 0.6 or off > lip
        scores[key] = (hard, count * (far + min(fast, 2.0) + min(off / lip, 2.0)) * (2.0 if new else 1.0))
    ranked = sorted(scores, key=lambda key: (not scores[key][0], -scores[key][1]))
    able = [frozenset(key) for key in ranked if kit.can(ends[key][0]) and kit.can(ends[key][1])]
    return list(dict.fromkeys(able))


def played(drills: Drills) -> set[frozenset[End]]:
    """Return the moves that the exercises of a sheet have the player play."""
    return {frozenset(pair) for exercise in drills.exercises for pair in _pairs(exercise)}


def _pairs(exercise) -> Iterator[tuple[End, End]]:
    notes = [(one.choice.midi, one.choice.label) for row in exercise.measures for one in row
             if one.choice is not None and not one.tied]
    yield from pairwise(notes)


def drilled(drills: Drills) -> list[frozenset[End]]:
    """Return the moves that have an exercise of their own, in the order of the sheet."""
    return [frozenset(next(pair for pair in _pairs(one) if pair[0] != pair[1]))
            for one in drills.exercises if one.kind == "move"]


def sheets(count: int = COUNT) -> Iterator[tuple[str, Drills]]:
    """Yield the drills of every sample score on its horns, then of the passages."""
    for name, horn in (("attachment-etude.musicxml", "tenor-f"), ("harbour-march-trio.musicxml", "tenor"),
                       ("harbour-march-trio.musicxml", "euphonium-4"), ("quiet-chorale-trombones.mxl", "tenor-f"),
                       ("deep-water-bass-trombone.musicxml", "bass-independent"),
                       ("evening-song-euphonium.musicxml", "euphonium-3"), ("brass-band-hymn.musicxml", "euphonium-3"),
                       ("brass-band-hymn.musicxml", "tenor")):
        for number, player in enumerate(PLAYERS):
            yield f"{name} {horn} {number}", drills_for(open_document(SAMPLES / name),
                                                        Request(horns=(horn,), player=player))
    for passage in passages(count):
        yield passage.name, drills_for(document_of(passage.path), passage.request)


def main() -> None:
    """Print the table."""
    total = Counter()
    print(f"{'passage':<58} {'moves':>5} {'drilled':>7} {'first 3':>7} {'first 5':>7}")
    for name, drills in sheets():
        hard, seen = hardest(drills), played(drills)
        row = {k: (sum(one in seen for one in hard[:k]), len(hard[:k])) for k in (3, 5)}
        for k, (found, of) in row.items():
            total[k, "found"] += found
            total[k, "of"] += of
        print(f"{name:<58} {len(hard):>5} {len(drilled(drills)):>7} "
              f"{row[3][0]:>4}/{row[3][1]:<2} {row[5][0]:>4}/{row[5][1]:<2}")
    for k in (3, 5):
        print(f"recall of the {k} hardest: {total[k, 'found']}/{total[k, 'of']} = "
              f"{total[k, 'found'] / total[k, 'of']:.3f}")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
