"""What a teacher would look at with the student present before a change of horn, with places of the music to try it on.

The list is common practice, no source; each item is raised only where the two horns differ in it.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from analyzer.horns.candidates import position_place_mm, positions
from analyzer.horns.horn import Horn
from analyzer.plan.plan import PlannedNote
from analyzer.plan.solve import Planner
from analyzer.review.limits import LOW_SEMITONES
from analyzer.score.document import Document

_MOST_PLACES = 4                        # judged: enough to try it out in one talk
_LONG_S = 1.5                           # a long note, for tone and tuning; judged, 1 to 2 give the same kind of places


@dataclass(frozen=True, slots=True, kw_only=True)
class Skill:
    """Something to look at with the student present; `where` names places of this music to try it on."""

    look: str
    where: tuple[str, ...] = ()


Planned = Sequence[tuple[Document, Planner]]


def skills_of(before: Horn, after: Horn, planned: Planned) -> Iterable[Skill]:
    """Yield the skills, hands first, then air, ear and reading. `planned` are the lines on the new horn."""
    yield from _carrying(before, after)
    yield from _slide(before, after, planned)
    yield from _valves(before, after, planned)
    if after.handling.bore_mm.value > before.handling.bore_mm.value:
        yield Skill(look="Air: does a long low note keep its tone to the end, and how often does the student breathe?",
                    where=_where(planned, lambda note: _low(after, note) and note.time.sounds_s >= _LONG_S))
    yield Skill(look="Ear: are the first notes on the new horn matched to a drone or a neighbor by listening, not by "
                     "the numbers on the page?",
                where=_where(planned, lambda note: note.time.sounds_s >= _LONG_S))
    clefs = dict.fromkeys(note.note.clef for _, planner in planned for note in planner.plan().notes)
    if len(clefs) > 1 or before.family != after.family:
        yield Skill(look=f"Reading: does the student read the clefs of these parts ({', '.join(clefs)})?")
    yield Skill(look="Wish: does the student want the change? Is there a horn to try for some weeks, and a way back?")


def _carrying(before: Horn, after: Horn) -> Iterable[Skill]:
    by_kg = after.handling.weight_kg.value - before.handling.weight_kg.value
    if by_kg > 0 and after.family == "slide":
        yield Skill(look=f"Carrying: with about {by_kg:.1f} kg more in the left hand, does the wrist stay straight and "
                         "the shoulder low to the end of a long phrase? Look again after ten minutes.")
    elif by_kg > 0:
        yield Skill(look="Carrying: seated, does the mouthpiece come to the lips with back and neck upright, the horn "
                         "resting on lap, cushion or stand?")


def _slide(before: Horn, after: Horn, planned: Planned) -> Iterable[Skill]:
    if after.family != "slide":
        return
    if before.family != "slide":
        yield Skill(look="Slide: are the seven positions found by ear and arm, without looking and without a lunge?")
    added = [name for name in after.loop_names if name not in before.loop_names or before.family != "slide"]
    if "T" in added:
        second = position_place_mm(after, ("T",), 2)
        yield Skill(
            look=f"Thumb: does it press and let go together with the slide, without the hand gripping? With the "
                 f"attachment the positions lie farther apart: T2 at {second:.0f} mm, the open second at "
                 f"{position_place_mm(after, (), 2):.0f} mm, and there are {positions(after, ('T',))} of them.",
            where=_where(planned, lambda note: _holds(note, "T")))
    if "S" in added:
        yield Skill(look="Middle finger: does the second valve move by itself, and together with the thumb, while the "
                         "hand carries the horn?",
                    where=_where(planned, lambda note: _holds(note, "S")))
    if after.loop_names or before.fundamental_midi != after.fundamental_midi:
        last = positions(after)
        yield Skill(look=f"Reach: with a relaxed wrist, how far out does the slide go? Measure it; {last}th lies at "
                         f"{position_place_mm(after, (), last):.0f} mm. What lies beyond is played otherwise or later; "
                         "it rules nobody out.")


def _valves(before: Horn, after: Horn, planned: Planned) -> Iterable[Skill]:
    if after.family != "valves":
        return
    if before.family != "valves":
        yield Skill(look="Fingers: are they curved on the valves, pressing straight down to the stop?")
    if after.handling.fourth_valve and after.handling.fourth_valve != before.handling.fourth_valve:
        finger = "the fourth finger of the right hand" if after.handling.fourth_valve == "right hand" \
            else "a finger of the left hand"
        yield Skill(look=f"Fourth valve: does {finger} press it all the way and in time with the others, without the "
                         "hand growing stiff?",
                    where=_where(planned, lambda note: _holds(note, "4")))
    if not after.master:
        yield Skill(look="Tuning: are sharp combinations heard and lowered, with a slide or the lip?",
                    where=_where(planned, lambda note: note.choice is not None
                                 and note.choice.off_cents > after.lip_reach.value))


def _holds(note: PlannedNote, valve: str) -> bool:
    return note.choice is not None and valve in note.choice.valves


def _low(horn: Horn, note: PlannedNote) -> bool:
    return note.note.midi <= horn.fundamental_midi + LOW_SEMITONES


def _where(planned: Planned, fits: Callable[[PlannedNote], bool]) -> tuple[str, ...]:
    """Name the first measures that hold such a note, a few in all, those of different lines in turn."""
    several = len({document.name for document, _ in planned}) > 1
    rows = []
    for document, planner in planned:
        line = planner.line
        lead = f"{document.name}, " if several else ""
        number = f" line {line.number}" if line.of > 1 else ""
        rows.append(list(dict.fromkeys(
            f"{lead}{line.part_name}{number}, measure {note.note.measure}" for note in planner.plan().notes
            if fits(note))))
    turns = [row[k] for k in range(max(map(len, rows), default=0)) for row in rows if k < len(row)]
    return tuple(turns[:_MOST_PLACES])
