"""Why a note is not as it should be: slide place, late slide, smear, wrong partial, wrong valve, crack.

A place of the slide follows from a pitch by the tube: the tube is as many times longer as the pitch is lower.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from statistics import median
from typing import Literal

from analyzer.analysis import Planned
from analyzer.hearing.aims import target_cents
from analyzer.hearing.arrival import LATE_CENTS, LATE_MS, from_before
from analyzer.hearing.notes import Sounded
from analyzer.hearing.places import Place
from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import candidates
from analyzer.horns.horn import Horn
from analyzer.horns.tubing import state
from analyzer.pitch import Pitch, pitch_of
from analyzer.words import cents_text, counted, shown

Attack = Literal["clean", "scoop", "late slide", "cracked", "smear", "unknown"]
_PARTIAL_CENTS = 45.0                  # so near to another partial the attack was on it
_DIP_DB = 3.5
_CRACK_MS = 40.0                       # a shorter one may be the end of the note before
_BEYOND = 1.5                          # times the whole way: from farther off no slide came. Judged
_IN_MM = 1.0                           # so far inside first a reading may seem, by its own error



@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """What the recording tells of a note.

    `off_cents` heard minus target; `slide_mm` how far too far out the slide was, None where that is not the cause;
    `heard_as` the other note that was played, `partial` the partial it is on the planned tube, None if on none;
    `what` says it in words, None where all is well.
    """

    heard: bool
    off_cents: float | None = None
    slide_mm: float | None = None
    heard_as: Pitch | None = None
    attack: Attack = "unknown"
    what: str | None = None
    kind: Literal["", "place", "valve tuning", "late", "crack", "wrong partial", "wrong choice", "wrong note",
                  "missed"] = ""


def off_cents(one: Sounded, planned: Planned, tuning: float) -> float | None:
    """Return heard minus target [cents], None where the note was another or too short."""
    if one.midi is None or not one.near or one.short:
        return None
    return 100 * (one.midi - tuning - planned.plan.notes[one.index].note.midi) - target_cents(planned, one.index)


def slide_off_mm(horn: Horn, choice: Candidate, cents: float) -> float | None:
    """Return how far too far out the slide stood for a note that was `cents` above what the plan's place gives.

    None where the slide cannot have stood there: farther in than it goes, or beyond its end.
    """
    if choice.extension_mm is None:
        return None
    held = state(horn, choice.valves)
    half_mm = horn.tube_mm / 2
    ratio = held.ratio + choice.extension_mm / half_mm
    place_mm = half_mm * (ratio * float(2 ** (-cents / 1200)) - held.ratio)
    if place_mm < -_IN_MM or place_mm > horn.slide_end_mm + 10:
        return None
    return place_mm - choice.extension_mm


def cause_of(one: Sounded | None, before: Sounded | None, planned: Planned, index: int, tuning: float,
             places: Mapping[int, Place]) -> Cause:
    """Return what a stay of the recording tells of its note; `before` is the stay at the note before, if it counts.

    `places` tells where notes were played, as far as it can be known; elsewhere the plan is taken at its word.
    """
    plan = planned.plan
    choice = plan.notes[index].choice
    if one is None or one.midi is None:
        return Cause(heard=False, what="Not heard.", kind="missed")
    if not one.near:
        return _other(one, planned, index, tuning)
    off = off_cents(one, planned, tuning)
    if off is None:
        return Cause(heard=True)
    own = off - (choice.off_cents if choice else 0.0)
    place = slide_off_mm(plan.horn, choice, own) if choice else None
    attack, told = _attack(one, before, planned, index, places)
    words = []
    played = elsewhere(choice, places.get(index))
    if played is not None and choice is not None:
        words.append(f"Played in {shown(played.label)} (planned {shown(choice.label)}).")
    if told:
        words.append(told)
    kind: Literal["", "late", "crack", "place", "valve tuning"] = ""
    if attack == "cracked":
        kind = "crack"
    elif attack in ("late slide", "smear"):
        kind = "late"
    if abs(off) >= 10:
        if place is not None and abs(own) >= 8:
            way = "out" if place > 0 else "in"
            words.append(f"{cents_text(off)}: the slide about {abs(place):.0f} mm too far {way}.")
            kind = kind or "place"
        elif choice is not None and choice.extension_mm is None:
            words.append(f"{cents_text(off)} with {shown(choice.label)}.")
            kind = kind or "valve tuning"
        else:
            more = ", which the slide cannot mend" if choice is not None else ""
            words.append(f"{cents_text(off)}{more}.")
            kind = kind or "valve tuning"
    return Cause(heard=True, off_cents=off, slide_mm=place, attack=attack, what=" ".join(words) or None, kind=kind)


def _other(one: Sounded, planned: Planned, index: int, tuning: float) -> Cause:
    """Say which note was played, and what would give it."""
    plan, note = planned.plan, planned.plan.notes[index]
    if one.midi is None:
        return Cause(heard=False, what="Not heard.", kind="missed")
    midi = round(one.midi - tuning)
    if midi == note.note.midi:
        midi += 1 if one.midi - tuning > note.note.midi else -1
    played = pitch_of(midi)
    read = pitch_of(midi + note.note.written.midi - note.note.sounding.midi)
    name = f"{read.pretty} was heard in place of {note.note.written.pretty}"
    choice = note.choice
    if choice is not None:
        cents = 100 * (one.midi - tuning - note.note.midi) - choice.target_cents - choice.off_cents
        partials = state(plan.horn, choice.valves).partial_cents
        for partial in range(max(1, choice.partial - 3), min(12, choice.partial + 3) + 1):
            if partial != choice.partial and abs(partials[partial - 1] - partials[choice.partial - 1] - cents) < 55:
                steps = partial - choice.partial
                way = f"{counted(abs(steps), 'partial')} too {'high' if steps > 0 else 'low'}"
                return Cause(heard=False, heard_as=played, kind="wrong partial",
                             what=f"{name}: {way} in {shown(choice.label)}.")
        same = [way for way in candidates(plan.horn, midi) if way.partial == choice.partial and way.advice is None]
        if same:
            what = "position" if choice.extension_mm is not None else "valves"
            return Cause(heard=False, heard_as=played, kind="wrong choice",
                         what=f"{name}, as {what} {shown(same[0].label)} (planned {shown(choice.label)}) would give.")
    return Cause(heard=False, heard_as=played, kind="wrong note", what=f"{name}.")


def _attack(one: Sounded, before: Sounded | None, planned: Planned, index: int,
            places: Mapping[int, Place]) -> tuple[Attack, str]:
    """Return how a note began, and in words what was amiss."""
    plan = planned.plan
    choice = plan.notes[index].choice
    if one.settle_ms is None:
        return "unknown", ""
    tongued = one.dip_db >= _DIP_DB or not one.joined
    if choice is not None and one.settle_ms >= _CRACK_MS and (
            partial := _cracked(one, planned, index, before)) is not None:
        return "cracked", f"Cracked: it began on partial {partial} of {choice.partial}."
    if one.settle_ms <= LATE_MS or abs(one.excursion_cents) <= LATE_CENTS:
        return "clean", ""
    choice = _played(places, index) or choice
    last = _played(places, index - 1) or (plan.notes[index - 1].choice if index else None)
    from_there = from_before(plan.horn, one, choice, before, last)
    if choice is not None and last is not None and abs(from_there) > 20 and _on_the_way(one, from_there):
        if tongued:
            return "late slide", (f"Late slide: {one.settle_ms:.0f} ms until the pitch from "
                                  f"{shown(last.label)} to {shown(choice.label)} arrived.")
        return "smear", f"Smear from {shown(last.label)} to {shown(choice.label)}: {one.settle_ms:.0f} ms of glide."
    if one.excursion_cents < 0:
        return "scoop", f"Scooped from below: {one.settle_ms:.0f} ms."
    return ("unknown" if not tongued else "scoop"), f"{one.settle_ms:.0f} ms until the pitch stays."


def _on_the_way(one: Sounded, from_there: float) -> bool:
    """Tell whether a note came the way that a slide from the place before takes it; what else sounded first aside."""
    shares = [100 * value / from_there for value in one.early]
    way = [share for share in shares if 0 < share <= _BEYOND]
    return bool(way) and len(way) >= 0.6 * len(shares) and max(way) * abs(from_there) > LATE_CENTS


def elsewhere(choice: Candidate | None, place: Place | None) -> Candidate | None:
    """Return where a note was played, if that is known and is not where the plan (`choice`) has it."""
    if place is None or place.choice is None or choice is None:
        return None
    same = (place.choice.valves, place.choice.partial) == (choice.valves, choice.partial)
    return None if same else place.choice


def _played(places: Mapping[int, Place], index: int) -> Candidate | None:
    return places[index].choice if index in places else None


def _cracked(one: Sounded, planned: Planned, index: int, before: Sounded | None) -> int | None:
    """Return the partial on which the note began, None if it did not begin on another one."""
    plan = planned.plan
    choice = plan.notes[index].choice
    if choice is None or len(one.early) < 4:
        return None
    partials = state(plan.horn, choice.valves).partial_cents
    first = [100 * value for value in one.early]
    for partial in range(max(1, choice.partial - 3), min(12, choice.partial + 3) + 1):
        cents = partials[partial - 1] - partials[choice.partial - 1]
        on_it = [value for value in first if abs(value - cents) < _PARTIAL_CENTS]
        if partial == choice.partial or len(on_it) < 5 or len(on_it) < 0.45 * len(first):
            continue
        if before is not None and before.midi is not None and one.midi is not None and one.dip_db < _DIP_DB and abs(
                100 * (before.midi - one.midi) - median(on_it)) < _PARTIAL_CENTS:
            continue                   # the note before was still sounding
        return partial
    return None
