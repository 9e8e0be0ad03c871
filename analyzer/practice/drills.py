"""From a plan to a practice sheet: the hard moves, ranked, and graded exercises that this player can play."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from random import Random

from analyzer import cautions
from analyzer.analysis import Analysis, Planned, Request, analyse
from analyzer.horns.candidates import sounding_range
from analyzer.horns.profiles import load_horn
from analyzer.pitch import Pitch
from analyzer.plan.player import Player
from analyzer.plan.progress import Pair
from analyzer.plan.solve import Planner
from analyzer.practice.builder import METRONOME, Exercise, Kit, paced, transposition_of, verified
from analyzer.practice.exercises import distinct_moves, mixed, move_drills, past_the_ear, state_scales, tuning, two_ways
from analyzer.practice.grammar import default_grammar
from analyzer.practice.moves import PracticeMove, hard_moves, ranked_moves, secure_moves
from analyzer.practice.passage import Meter, hardest_window, passage_drills
from analyzer.problem import Problem, unreadable
from analyzer.score.document import Document
from analyzer.score.lines import Line

WARM_UP = "Warm up first: some easy long notes and lip slurs."
"""NASM-PAMA student sheet, *Protecting your neuromusculoskeletal health*: warm up before hard passages."""
RECALL_DAYS = (1, 3, 7, 14)
"""Days after which a move may be tried again, unprepared. Judged: growing gaps are common practice, no source gives
numbers for a slide; a teacher may set others. Offered, never promised: learners at the piano gained nothing from gaps
(M. Wiseheart, A. D'Souza and J. Chae, *Lack of spacing effects during piano learning*, PLoS ONE 12, 2017; cited from
memory)."""
RECALL_OFFER = "Optional: studies found little gain from such gaps for young players."
"""What stands beside the recall wherever it goes."""
_LEAST_MOVES, _MOST_MOVES = 2, 3
_PAGE = 9
"""Exercises on a page, a system each and two rows of words; judged by looking at A4."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Recall:
    """One thing to try from memory, and when: days after the first practice. `play` names its written pitches."""

    ask: str
    play: str
    covers: str
    after_days: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Drills:
    """A practice sheet: the line it was made from, ranked moves, exercises in grade order, recall and cautions.

    `secure` names the moves of the music that are left out, as the player file calls them secure; `problems` what else
    is left out or supposed.
    """

    document: Document
    planned: Planned
    kit: Kit
    moves: tuple[PracticeMove, ...]
    secure: tuple[Pair, ...]
    exercises: tuple[Exercise, ...]
    recall: tuple[Recall, ...]
    cautions: tuple[str, ...]
    problems: tuple[Problem, ...]

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the sheet itself says of what is not on it."""
        return tuple(f"{one.what[:1].upper()}{one.what[1:]}. {one.try_}" for one in self.problems
                     if one.code in ("left-out", "past-the-ear", "too-fast"))


def drills_for(document: Document, request: Request, *, seed: int = 1) -> Drills:
    """Make the drills of one line of a score: of the asked parts, the one whose moves ask for most.

    The plan takes every valve state as learned, since the drill is there to teach what this music needs; what the
    player file does not list counts as new. Equal requests and seeds give equal drills.

    Raises
    ------
    Unreadable
        As `analyse` does; if no line is for the asked kind of horn; if nothing of the line can be played.
    """
    learner = request.player
    player = replace(learner, learned=None)
    analysis = analyse(document, replace(request, player=player))
    planned, moves = _hardest_line(document, analysis, request, player)
    plan = planned.plan
    line = plan.line
    meter = meter_at(document, line.part_id, 0)
    kit = _kit(planned, learner, player, seed, meter)
    if not any(kit.can(one.choice) for one in plan.notes):
        raise unreadable("nothing-to-drill", where=f"{document.name}, {line.part_name}",
                         what=f"no note of it can be played on {plan.horn.name} by this player",
                         try_="Choose another horn with --horn, or look at reach and range in the player file.")
    window = hardest_window(kit, hard_moves(moves))
    if window:
        meter = meter_at(document, line.part_id, window[0].index).holding(max(one.duration for one in window))
        kit = replace(kit, fifths=meter.fifths)
    ways, scales = two_ways(kit), state_scales(kit)
    after = (*mixed(kit, moves), *tuning(kit), *passage_drills(kit, window, meter))
    # Where the page is full, the second of a kind waits for the next sheet.
    for kind in (ways, scales):
        if len(ways) + len(scales) + _LEAST_MOVES + len(after) > _PAGE:
            del kind[1:]
    room = max(_LEAST_MOVES, min(_MOST_MOVES, _PAGE - len(ways) - len(scales) - len(after)))
    asked = (*ways, *scales, *move_drills(kit, moves, most=room), *after)
    made = tuple(slow for exercise in asked if (slow := paced(exercise, kit)) is not None)
    for exercise in made:
        verified(exercise, kit)
    if not made:
        raise unreadable("nothing-to-drill", where=f"{document.name}, {line.part_name}",
                         what="every exercise would be faster than this player's limits, even at "
                              f"{METRONOME[0]} beats a minute",
                         try_="Look at the speeds in the player file.")
    slower = [exercise.title for exercise in asked if exercise.title not in {one.title for one in made}]
    if window and not any(exercise.kind == "passage" for exercise in asked):
        slower.append(f"the passage from measure {window[0].number} as written")
    slide = plan.horn.family == "slide"
    return Drills(
        document=document, planned=planned, kit=kit, moves=moves,
        secure=secure_moves(plan, learner), exercises=made, recall=recall_of(kit, moves),
        cautions=cautions.for_playing(slide=slide, valves=not slide, estimated_reach=learner.reach_estimated),
        problems=(*analysis.problems, *_left_out(kit), *past_the_ear(kit), *_too_fast(kit, slower)))


def _hardest_line(document: Document, analysis: Analysis, request: Request, player: Player,
                  ) -> tuple[Planned, tuple[PracticeMove, ...]]:
    lines = [one for one in analysis.lines if one.plan.notes]
    if request.horns:
        own = [one for one in lines if not one.assumed]
        horn = load_horn(request.horns[-1])
        if not own and request.parts:
            # The part was asked for by name: plan it for the asked horn, whatever its name says.
            planners = [(one, Planner(one.plan.line, horn, player, tempo_bpm=request.tempo_bpm)) for one in lines]
            own = [replace(one, planner=planner, plan=planner.plan(), assumed=False) for one, planner in planners]
        if not own and lines:
            found = ", ".join(dict.fromkeys(f"{one.part.full_name} ({one.part.family})" for one in lines))
            raise unreadable("no-such-line", where=document.name,
                             what=f"no line is for a horn such as {horn.name}; its low-brass parts are {found}",
                             try_="Name one of them with --part to drill it on this horn all the same.")
        lines = own
    if not lines:
        raise unreadable("nothing-to-drill", where=document.name, what="the asked parts and measures hold no notes",
                         try_="Ask for other measures or another part.")
    ranked = [(one, ranked_moves(one.planner, one.plan, request.player)) for one in lines]
    return max(ranked, key=lambda pair: sum(move.score for move in hard_moves(pair[1])))


def _kit(planned: Planned, learner: Player, player: Player, seed: int, meter: Meter) -> Kit:
    plan, line = planned.plan, planned.plan.line
    low, high = sounding_range(plan.horn)
    bounds = [note.midi for note in line.notes]
    # Two semitones around what the music itself asks for: a drill is no range study.
    low = max(low, min(bounds) - 2, learner.low if learner.low is not None else low)
    high = min(high, max(bounds) + 2, learner.high if learner.high is not None else high)
    spelled: dict[int, Counter[Pitch]] = {}
    for note in line.notes:
        spelled.setdefault(note.midi, Counter())[note.written] += 1
    transposition = transposition_of(line)
    return Kit(
        planner=planned.planner, plan=plan, learner=learner, player=player, grammar=default_grammar(),
        chance=Random(seed), fifths=meter.fifths, transposition=transposition,
        clef=Counter(note.clef for note in line.notes).most_common(1)[0][0], low=low, high=high,
        spelled={midi: written for midi, found in spelled.items()
                 if transposition.sounding(written := found.most_common(1)[0][0]).midi == midi})


def _left_out(kit: Kit) -> list[Problem]:
    """Say which notes of the music the drills leave out."""
    names: Mapping[str, None] = dict.fromkeys(
        one.note.sounding.pretty for one in kit.plan.notes if not kit.can(one.choice))
    if not names:
        return []
    line: Line = kit.plan.line
    return [Problem(severity="warning", code="left-out", where=line.part_name,
                    what=f"the exercises leave out {', '.join(names)}: beyond this horn or player (rests instead)",
                    try_="lowbrass map tells why, note by note; lowbrass review tells what to do.")]


def _too_fast(kit: Kit, names: Sequence[str]) -> list[Problem]:
    """Say which exercises are left out because no metronome is slow enough for this player."""
    if not names:
        return []
    return [Problem(severity="warning", code="too-fast", where=kit.plan.line.part_name,
                    what=f"left out as faster than this player's limits at any tempo: {'; '.join(names)}",
                    try_="Simplify it with the teacher, or look at the speeds in the player file.")]


def meter_at(document: Document, part_id: str, index: int) -> Meter:
    """Return the key and time signature in force in a measure of a part, as printed; C and 4/4 before the first."""
    fifths, beats, beat_type = 0, "4", "4"
    for music in document.part_measures(part_id)[:index + 1]:
        for attributes in music.iterchildren("attributes"):
            fifths = _whole(attributes.findtext("key/fifths"), fifths)
            found = attributes.findtext("time/beats"), attributes.findtext("time/beat-type")
            if _is_time(*found):
                beats, beat_type = str(found[0]).replace(" ", ""), str(found[1]).strip()
    return Meter(fifths, beats, beat_type)


def _whole(text: str | None, otherwise: int) -> int:
    try:
        value = int(text or "")
    except ValueError:
        return otherwise
    return value if -7 <= value <= 7 else otherwise


def _is_time(beats: str | None, beat_type: str | None) -> bool:
    def whole(text: str | None) -> bool:
        return (text or "").strip().isdecimal() and int(text or "0") > 0

    return whole(beat_type) and all(whole(one) for one in (beats or "").split("+"))


def recall_of(kit: Kit, moves: Sequence[PracticeMove], *, most: int = 5) -> tuple[Recall, ...]:
    """Return what to try again from memory on later days: the hardest moves, not looked up first."""
    result: list[Recall] = []
    seen: set[str] = set()
    what = "positions" if kit.horn.family == "slide" else "fingerings"
    for move in distinct_moves(kit, moves):
        a, b = kit.written(move.before.midi).pretty, kit.written(move.after.midi).pretty
        play = f"{a}–{b}–{a}"
        if play in seen or f"{b}–{a}–{b}" in seen or len(result) >= most:
            continue
        seen.add(play)
        ask = f"Cover the marks. Say the {what} of {a} and {b}, sing them, then play {play}."
        result.append(Recall(ask=ask, play=play, covers=move.name, after_days=RECALL_DAYS))
    return tuple(result)
