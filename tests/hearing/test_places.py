"""Where a note was played, told by glides: made-up players who choose any place that the horn has for a note."""

from dataclasses import dataclass, field

import numpy as np
import pytest

from analyzer.analysis import Planned
from analyzer.hearing.hear import Hearing, hear
from analyzer.hearing.sound import Sound
from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import possible
from analyzer.horns.tubing import state

from .players import RNG, planned
from .synth import RATE, Tone, dressed, sounded


@dataclass
class Played:
    """What was done: the way of each note, and how far off the notes that glide began. [cents]"""

    ways: list[Candidate] = field(default_factory=list)
    glides: dict[int, float] = field(default_factory=dict)


def cents_between(one: Planned, way: Candidate, there_mm: float) -> float:
    """How far above its pitch a way sounds with the slide elsewhere: the tube grows by twice the way. [cents]"""
    tube = one.plan.horn.tube_mm * state(one.plan.horn, way.valves).ratio
    return -1200 * float(np.log2((tube + 2 * there_mm) / (tube + 2 * way.extension_mm)))


def wandering(one: Planned, rng: RNG, *, late: float) -> tuple[list[Tone], Played]:
    """Play a line with any ways; a share of the moves comes late and is heard as a glide from place to place."""
    tones, done = [], Played()
    for note in one.plan.notes:
        ways = [way for way in possible(one.plan.horn, note.note.midi) if way.advice is None]
        way = ways[int(rng.integers(len(ways)))]
        tone = Tone(note.note.midi, 0.4 + note.time.start_s, max(0.06, note.time.sounds_s))
        if done.ways:
            off = cents_between(one, way, done.ways[-1].extension_mm)
            if abs(off) > 60 and tone.lasts_s > 0.35 and rng.random() < late:
                tone.glide_from, tone.glide_s = off, float(rng.uniform(0.14, 0.2))
                done.glides[note.index] = off
        done.ways.append(way)
        if tones:
            tones[-1].lasts_s = min(tones[-1].lasts_s, tone.start_s - tones[-1].start_s)
        tones.append(tone)
    return tones, done


def heard(one: Planned, tones: list[Tone], kind: str, rng: RNG) -> Hearing:
    sound = dressed(sounded(tones, rng), kind, rng)
    return hear(Sound(samples=sound.astype(np.float32), rate=RATE, name="x"), one)


@pytest.mark.parametrize(("horn", "measures"), [("tenor", (1, 24)), ("tenor-f", (1, 8)), ("bass-independent", (1, 12))])
def test_places_are_named_by_their_glides_and_never_without(horn: str, measures: tuple[int, int]) -> None:
    rng = np.random.default_rng(31)
    one = planned(horn, *measures)
    named = right = asked = 0
    for kind in ("clean", "phone"):
        tones, done = wandering(one, rng, late=0.5)
        for note in heard(one, tones, kind, rng).notes:
            if note.place is None:
                continue
            k, several = note.index, len([way for way in possible(one.plan.horn, one.plan.notes[note.index].note.midi)
                                          if way.advice is None]) > 1
            told = {k, k + 1} & set(done.glides)
            if not several:
                assert note.place.kind == "only"
                assert note.place.choice.label == done.ways[k].label
            elif note.place.choice is not None:
                named += 1
                right += note.place.choice.label == done.ways[k].label
                assert note.place.confidence >= 0.9
                assert told or {k - 1, k + 2} & set(done.glides), "named without a glide near it"
            asked += several and bool(told)
    print(f"{horn}: {named} of {asked} notes beside a glide named, {right} of them rightly")
    assert named >= 0.2 * asked        # a third valve state gives more places that a glide fits alike
    assert right >= 0.95 * named


def test_without_glides_nothing_is_named_and_it_says_so() -> None:
    rng = np.random.default_rng(32)
    one = planned("tenor", 1, 24)
    tones, _ = wandering(one, rng, late=0.0)
    unknown = [note.place for note in heard(one, tones, "clean", rng).notes
               if note.place is not None and note.place.kind != "only"]
    assert len(unknown) > 20
    assert all(place.choice is None and "No glide was heard" in place.why for place in unknown)


def test_d4_from_second_in_first_or_in_fourth() -> None:
    """A late D4 after C sharp in second: in fourth it begins two semitones sharp, which no other pair of places does.

    In first it begins one flat, just as from fifth to fourth: that cannot be known.
    """
    one = planned("tenor", 1, 24)
    notes = one.plan.notes
    [k] = [k for k, note in enumerate(notes) if k and (notes[k - 1].note.midi, note.note.midi) == (61, 62)
           and note.time.sounds_s > 0.3]
    assert notes[k - 1].choice.label == "2"
    for label, known in (("1", False), ("4", True)):
        rng = np.random.default_rng(33)
        tones, _ = wandering(one, rng, late=0.0)
        way = next(way for way in possible(one.plan.horn, 62) if way.label.rstrip("#b") == label)
        tones[k].glide_from, tones[k].glide_s = cents_between(one, way, notes[k - 1].choice.extension_mm), 0.17
        note = heard(one, tones, "clean", rng).notes[k]
        assert note.place is not None
        assert (note.place.choice is not None) == known
        if known:
            assert note.place.choice.label.rstrip("#b") == label
            assert "Played in 4 (planned 1)." in note.cause.what
            assert "from 2 to 4" in note.cause.what
            assert note.cause.attack == "late slide"
        else:
            assert "alike" in note.place.why
