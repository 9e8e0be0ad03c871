"""The two or three things that matter in a recording, and what went well: by position, valves, move and kind of fault.

What is said of a place or a move stands on several notes; a single slip is told at its note and is no advice.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from statistics import median

from analyzer.hearing.hear import HeardNote, Hearing
from analyzer.words import cents_text, counted, shown

MOST = 3
OFF_CENTS = 10.0
"""A place or valve combination less off than this is left in peace. Judged: twice what a listener hears in a melody."""
_LEAST_NOTES = 3                       # of which a place is told; judged
_AGREE = 0.75                          # share of them that lies to the same side
_LEAST_FAULTS = 2                      # late moves, cracks, wrong notes before they are advice
_RUSH_S = 0.08                         # early or late, on average over a measure
_GOOD_CENTS = 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """One thing to work on: what, in which measures, what to try. `weight` ranks it: notes concerned by how badly."""

    what: str
    where: tuple[str, ...]
    try_: str
    weight: float


def advice_of(hearing: Hearing) -> tuple[Advice, ...]:
    """Return the most important things to work on, at most `MOST`, the most important first; none where all is well."""
    found = [*_places(hearing), *_moves(hearing), *_wrong(hearing), *_cracks(hearing), *_beat(hearing)]
    found.sort(key=lambda advice: -advice.weight)
    return tuple(found[:MOST])


def well_of(hearing: Hearing) -> tuple[str, ...]:
    """Return what went well, in a sentence each; it comes first."""
    notes = hearing.notes
    played = [note for note in notes if note.sound is not None and note.sound.midi is not None]
    heard = [note for note in played if note.cause.heard]
    said = []
    if played and len(heard) == len(played):
        said.append(f"Every one of the {counted(len(played), 'note')} heard is the right one.")
    elif played:
        said.append(f"{len(heard)} of the {counted(len(played), 'note')} heard are right.")
    offs = [abs(note.cause.off_cents) for note in heard if note.cause.off_cents is not None]
    if len(offs) >= _LEAST_NOTES and median(offs) <= _GOOD_CENTS:
        said.append(f"In tune: half of the notes lie within {max(2.0, median(offs)):.0f} cents of their target.")
    best = _best_places(hearing)
    if best:
        said.append(f"Best in tune: {best}.")
    steady = hearing.timing.steadiness
    if steady is not None and steady >= 0.95:
        said.append("The beat is steady.")
    if len(hearing.passes) > 1:
        said += _better_passes(hearing)
    return tuple(said)


def _best_places(hearing: Hearing) -> str:
    by_label = _by_label(hearing)
    good = [(median(abs(note.cause.off_cents or 0.0) for note in own), label) for label, own in by_label.items()
            if len(own) >= _LEAST_NOTES]
    good = sorted(pair for pair in good if pair[0] <= _GOOD_CENTS)
    return ", ".join(shown(label) for _, label in good[:3]) if len(by_label) > len(good[:3]) else ""


def _better_passes(hearing: Hearing) -> list[str]:
    known = [(number, one) for number, one in enumerate(hearing.passes, 1) if one.median_off_cents is not None
             and one.heard >= _LEAST_NOTES]
    if len(known) < 2:
        return []
    (_, first), (number, last) = known[0], known[-1]
    if last.median_off_cents is None or first.median_off_cents is None:
        return []
    gained = first.median_off_cents - last.median_off_cents
    return [f"Try {number} is better: {last.median_off_cents:.0f} cents off in the middle, after "
            f"{first.median_off_cents:.0f} the first time."] if gained >= 3 else []


def _by_label(hearing: Hearing) -> dict[str, list[HeardNote]]:
    """Return the notes that can be read, by the label of their choice."""
    found: dict[str, list[HeardNote]] = defaultdict(list)
    for note in hearing.notes:
        choice = hearing.planned.plan.notes[note.index].choice
        if choice is not None and note.cause.heard and note.cause.off_cents is not None:
            found[choice.label].append(note)
    return found


def _measures(hearing: Hearing, notes: Iterable[HeardNote]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(hearing.planned.plan.notes[note.index].note.measure for note in notes))


def _drill(hearing: Hearing, notes: Sequence[HeardNote]) -> str:
    """Name the sheet that drills these notes."""
    measures = _measures(hearing, notes)
    span = measures[0] if len(measures) == 1 else f"{measures[0]}-{measures[-1]}"
    return f"A sheet: lowbrass drill SCORE --horn {hearing.planned.plan.horn.name} --measures {span}."


def _places(hearing: Hearing) -> list[Advice]:
    """Find positions that are always too far in or out, and valve combinations that are always sharp or flat."""
    slide = hearing.planned.plan.horn.family == "slide"
    found = []
    for label, own in _by_label(hearing).items():
        offs = [note.cause.off_cents or 0.0 for note in own]
        middle = median(offs)
        agreeing = [note for note in own if (note.cause.off_cents or 0.0) * middle > 0
                    and abs(note.cause.off_cents or 0.0) >= OFF_CENTS / 2]
        if len(own) < _LEAST_NOTES or abs(middle) < OFF_CENTS or len(agreeing) < _AGREE * len(own):
            continue
        ways_mm = [note.cause.slide_mm for note in agreeing if note.cause.slide_mm is not None]
        weight = len(agreeing) * abs(middle)
        if slide and len(ways_mm) >= _LEAST_NOTES:
            way_mm = median(ways_mm)
            out = "too far out" if way_mm > 0 else "too far in"
            found.append(Advice(
                what=f"Position {shown(label)} is about {abs(way_mm):.0f} mm {out} ({cents_text(middle)}, "
                     f"{len(agreeing)} of {counted(len(own), 'note')}).",
                where=_measures(hearing, agreeing), weight=weight,
                try_=f"Bring it {'in' if way_mm > 0 else 'out'} a little, with a long note against a drone or tuner. "
                     + _drill(hearing, agreeing)))
        else:
            mend = ("Pull the main tuning slide a little, or let the lip come down to the note"
                    if middle > 0 else "Push the tuning slide in a little, or listen up to the note")
            if not slide:
                mend = ("Lip it down, take another fingering if the plan has one, or pull that valve's slide a little"
                        if middle > 0 else "Listen up to the note; check that the valve's slide is not pulled too far")
            found.append(Advice(
                what=f"{'Position' if slide else 'Valves'} {shown(label)}: about {cents_text(middle)} "
                     f"({len(agreeing)} of {counted(len(own), 'note')}).",
                where=_measures(hearing, agreeing), weight=weight,
                try_=f"{mend}; with the teacher, see lowbrass tune pull. {_drill(hearing, agreeing)}"))
    return found


def _moves(hearing: Hearing) -> list[Advice]:
    """Find moves of the slide that come late again and again."""
    plan = hearing.planned.plan
    late: dict[tuple[str, str], list[HeardNote]] = defaultdict(list)
    times: dict[tuple[str, str], int] = defaultdict(int)
    for note in hearing.notes[1:]:
        before, choice = plan.notes[note.index - 1].choice, plan.notes[note.index].choice
        if before is None or choice is None or before.label == choice.label or note.sound is None:
            continue
        move = (before.label, choice.label)
        times[move] += 1
        if note.cause.attack in ("late slide", "smear"):
            late[move].append(note)
    found = []
    for (before_label, label), own in late.items():
        if len(own) < _LEAST_FAULTS or len(own) < 0.4 * times[before_label, label]:
            continue
        settle_ms = median(note.sound.settle_ms or 0.0 for note in own if note.sound is not None)
        found.append(Advice(
            what=f"The slide from {shown(before_label)} to {shown(label)} comes late: {len(own)} of "
                 f"{counted(times[before_label, label], 'time')}, about {settle_ms:.0f} ms after the attack.",
            where=_measures(hearing, own), weight=len(own) * (10 + settle_ms / 8),
            try_=f"Slowly, with the tongue waiting for the slide; then up to tempo. {_drill(hearing, own)}"))
    several = [note for own in late.values() for note in own]
    if not found and len(several) >= _LEAST_NOTES:
        found.append(Advice(
            what=f"The slide comes late on {counted(len(several), 'note')}.", where=_measures(hearing, several),
            weight=len(several) * 20.0,
            try_=f"Move sooner and quicker, and let the note before keep its length. {_drill(hearing, several)}"))
    return found


def _wrong(hearing: Hearing) -> list[Advice]:
    """Find wrong notes: of the same cause together."""
    found = []
    words: tuple[tuple[str, str, str], ...] = (
        ("wrong partial", "on another partial", "Hear the note before it comes: sing or buzz it, then play it."),
        ("wrong choice", "in another position or fingering", "Say the positions or valves aloud in rhythm, then play."),
        ("wrong note", "wrong", "Read the measure slowly with its marks, then play it."))
    every = [note for note in hearing.notes if note.cause.heard_as is not None]
    for kind, what, try_ in words:
        own = [note for note in hearing.notes if note.cause.kind == kind]
        if len(own) >= _LEAST_FAULTS:
            found.append(Advice(what=f"{counted(len(own), 'note')} {what}.", where=_measures(hearing, own),
                                try_=f"{try_} {_drill(hearing, own)}", weight=30.0 * len(own)))
    if not found and len(every) >= _LEAST_FAULTS:
        found.append(Advice(what=f"{counted(len(every), 'wrong note')}.", where=_measures(hearing, every),
                            try_=f"Read the measures slowly with their marks, then play them. {_drill(hearing, every)}",
                            weight=30.0 * len(every)))
    return found


def _cracks(hearing: Hearing) -> list[Advice]:
    own = [note for note in hearing.notes if note.cause.attack == "cracked"]
    if len(own) < _LEAST_FAULTS:
        return []
    return [Advice(what=f"{counted(len(own), 'attack')} cracked.", where=_measures(hearing, own),
                   weight=22.0 * len(own),
                   try_=f"Breathe, hear the pitch, start softly with air first. {_drill(hearing, own)}")]


def _beat(hearing: Hearing) -> list[Advice]:
    """Find the measures that run ahead of the beat or drag behind it."""
    by_measure: dict[str, list[HeardNote]] = defaultdict(list)
    for note in hearing.notes:
        if note.late_s is not None and note.cause.heard:
            by_measure[hearing.planned.plan.notes[note.index].note.measure].append(note)

    def astray(sign: Callable[[float], bool]) -> list[HeardNote]:
        return [note for own in by_measure.values() if len(own) >= _LEAST_NOTES
                and sign(median(note.late_s or 0.0 for note in own)) for note in own]

    found = []
    for own, what in ((astray(lambda late_s: late_s < -_RUSH_S), "ahead of"), (astray(lambda late_s: late_s > _RUSH_S),
                                                                                    "behind")):
        measures = _measures(hearing, own)
        if own and len(measures) <= len(by_measure) // 3:
            middle_s = abs(median(note.late_s or 0.0 for note in own))
            found.append(Advice(
                what=f"{counted(len(measures), 'measure')} {what} the steady beat by about {1000 * middle_s:.0f} ms.",
                where=measures, weight=6.0 * len(own),
                try_="With a metronome, slower, then in small steps up to tempo."))
    return found
