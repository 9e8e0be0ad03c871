"""Written or sounding: how a low-brass part in treble clef is read, from everything that the score tells.

A treble-clef part for low brass is read in one of two ways: in B flat, sounding a major ninth lower (baritone and
euphonium T.C., the trombones of a brass band), or at concert pitch. Files often leave ``<transpose>`` out, so the
part's name, its range and its fit with the harmony of the other parts are asked too.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import ceil
from typing import Literal

from analyzer.assumption import Assumption
from analyzer.pitch import Transposition
from analyzer.problem import Problem
from analyzer.score.document import Document
from analyzer.score.parts import PartInfo, find_parts
from analyzer.score.timeline import Part
from analyzer.score.vocabulary import folded

Reads = Literal["concert", "treble-b-flat"]
CONCERT, TREBLE_B_FLAT = Transposition(), Transposition(-8, -14)
"""From written to sounding: as written, or a major ninth down, as treble-clef B flat readers have it (brass-band
scoring; common practice)."""
READINGS: dict[str, Reads] = {"concert": "concert", "treble-b-flat": "treble-b-flat"}
"""The two answers by name, as a person or a page gives them."""
_OF_READS: dict[Reads, Transposition] = {"concert": CONCERT, "treble-b-flat": TREBLE_B_FLAT}

# Judged weights, in favour of B flat where above 0; they add up. A printed key or clef in the name and a clear harmony
# each decide alone; custom never does. Real parts that are read wrongly would change them.
_NAME_B_FLAT, _NAME_CONCERT = 2.5, -3.0
_CUSTOM = {"euphonium": 1.2, "baritone": 1.2, "trombone": 0.6, "bass trombone": 0.0}
_DECIDED, _CONTRADICTS, _TELLING = 2.0, 2.0, 0.75
_USUAL_MIDI = {"bass trombone": 51.0, "euphonium": 55.0, "baritone": 55.0}       # middle of the usual range; judged
_SPREAD = 7.0                           # semitones
_LOWEST, _HIGHEST = {"bass trombone": 34}, 74      # B flat 1 (others E2, 40) to D5; beyond them little is written
_SLOTS = 4                              # of a quarter note, in which harmony is compared
# What a note counts for at most: a damaged file could have one that fills the memory. No sign is longer than a maxima
# with its dots, eight whole notes and as much again (common practice, no source). [quarter notes]
_LONGEST_QUARTERS = 64.0
_LEAST_ATTACKS, _ENOUGH_ATTACKS = 5, 10 # notes that sound with other parts: fewer tell nothing, more count whole
# How well two pitch classes go together, by interval class; judged: unison, seconds, thirds, fourth, tritone.
_FIT = (1.0, -1.0, -0.4, 0.6, 0.6, 0.5, -0.5)
_HARMONY, _MOST_HARMONY = 8.0, 4.0
_B_FLAT = re.compile(r"\bb\s?(?:b|♭|flat)\b|\bb♭|\b(?:in|en) b\b|\bsi\s?(?:b|♭|bemol)\b|\bt\.?\s?c\b\.?|\btreble\b|"
                     r"\bviolinschlussel\b|\bcle de sol\b|\bchiave di (?:violino|sol)\b")
_IN_C = re.compile(r"\b(?:in|en) (?:c|ut|do)\b|\bc (?:bass |tenor )?(?:trombone|posaune|euphonium|baritone)\b|"
                   r"\bconcert\b|\bb\.?\s?c\b\.?|\bbass clef\b")


@dataclass(frozen=True, slots=True, kw_only=True)
class HowRead:
    """How a part is read: `transposition` in place of the file's (None: as the file has it), and what is said of it."""

    transposition: Transposition | None = None
    assumption: Assumption | None = None
    problem: Problem | None = None


_AS_WRITTEN = HowRead()


@dataclass(frozen=True, slots=True)
class _Sign:
    """One piece of evidence: above 0 it speaks for B flat, and `text` says why, whichever way it points."""

    weight: float
    text: str


def in_treble(part: Part) -> bool:
    """Tell whether most notes of a part stand in treble clef."""
    return 2 * sum(note.clef == "treble" for note in part.notes) > len(part.notes)


def judged(document: Document, info: PartInfo, part: Part, told: Transposition | None, reads: Reads | None,
           read: Callable[[PartInfo], Part]) -> HowRead:
    """Judge how a low-brass part is read.

    `part` is as the file has it, `told` its ``<transpose>`` (None where there is none), `reads` the user's answer, and
    `read` gives any other part as the file has it.
    """
    if not info.low_brass or not in_treble(part):
        return _AS_WRITTEN
    if reads is not None:
        return HowRead(transposition=_OF_READS[reads], assumption=Assumption(
            about="transposition", value=reads, source="as you said with --reads"))
    evidence = [_named(info), _ranged(info, part), _harmonic(document, info, part, read)]
    used: Reads
    if told is None:
        total = sum(sign.weight for sign in evidence) + _CUSTOM.get(info.family, 0.0)
        # A high range alone is no proof: trombones do read high passages in treble clef at concert pitch.
        proof = info.family in ("euphonium", "baritone") or max(evidence[0].weight, evidence[2].weight) >= _TELLING
        used = "treble-b-flat" if total >= _DECIDED and proof else "concert"
        opened = abs(total) < _DECIDED or (total > 0 and not proof)
    else:
        used = "treble-b-flat" if told.chromatic <= -12 else "concert"
        opened = False
    sense = 1 if used == "treble-b-flat" else -1
    against = [sign.text for sign in evidence if -sense * sign.weight >= _CONTRADICTS]
    for_it = [sign.text for sign in evidence if sense * sign.weight >= _TELLING]
    if told is not None and told.chromatic == -2 and evidence[1].weight >= _CONTRADICTS:
        against = [evidence[1].text]
    assumption = None if told is not None else Assumption(
        about="transposition", value=used,
        source="the file tells no transposition; " + ("; ".join(for_it) or (
            "taken as the file has it" if used == "concert" else f"usual for a {info.family} part in treble clef")))
    problem = None
    # Without a word of the file, B flat is our judgement against the letter of the file: always said.
    if opened or against or (told is None and used == "treble-b-flat"):
        problem = _doubt(document, info, told, used, opened, against, for_it)
    return HowRead(transposition=_OF_READS[used] if told is None else None, assumption=assumption, problem=problem)


def _doubt(document: Document, info: PartInfo, told: Transposition | None, used: Reads, opened: bool,
           against: list[str], for_it: list[str]) -> Problem:
    as_read = {"concert": "at concert pitch", "treble-b-flat": "in B flat, sounding a ninth lower"}[used]
    if told is not None and told.chromatic not in (0, -14):
        as_read = f"as the file says, {abs(told.chromatic)} semitones {'lower' if told.chromatic < 0 else 'higher'}"
    why = "its transposition is in doubt" if told is not None else "the file does not say how it transposes"
    reason = f", but {'; '.join(against)}" if against else "" if opened or not for_it else f": {'; '.join(for_it)}"
    return Problem(
        severity="warning", code="transposition-doubt", where=f"{document.name}: {info.full_name}",
        what=f"this part is in treble clef and {why}; it is read {as_read}{reason}",
        try_="Ask the player which note is open: say --reads treble-b-flat if a written C sounds B flat, "
             "--reads concert if it sounds C.")


def _named(info: PartInfo) -> _Sign:
    name = folded(info.full_name)
    if _IN_C.search(name):
        return _Sign(_NAME_CONCERT, f"its name '{info.name}' says concert pitch")
    if _B_FLAT.search(name):
        return _Sign(_NAME_B_FLAT, f"its name '{info.name}' says B flat treble clef")
    return _Sign(0.0, "")


def _ranged(info: PartInfo, part: Part) -> _Sign:
    """Compare the two ranges with what is written for such a horn, and with what lies on it at all."""
    written = [note.written.midi for note in part.notes]
    if not written:
        return _Sign(0.0, "")
    middle, lowest = _USUAL_MIDI.get(info.family, 56.0), _LOWEST.get(info.family, 40)

    def unlikely(shift: int) -> float:
        mean = sum(written) / len(written) + shift
        beyond = sum(not lowest <= midi + shift <= _HIGHEST for midi in written) / len(written)
        return (mean - middle) ** 2 / (2 * _SPREAD**2) + 8 * beyond

    weight = max(-4.0, min(4.0, unlikely(0) - unlikely(TREBLE_B_FLAT.chromatic)))
    low, high = min(part.notes, key=lambda note: note.written.midi), max(part.notes, key=lambda n: n.written.midi)
    fits = "a ninth lower" if weight > 0 else "at concert pitch"
    return _Sign(weight, f"its range ({low.written.pretty} to {high.written.pretty} written) fits the horn {fits}")


def _harmonic(document: Document, info: PartInfo, part: Part, read: Callable[[PartInfo], Part]) -> _Sign:
    """Compare how both readings fit the other parts that sound at the same time."""
    others = [mask for other in find_parts(document)[0] if other.id != info.id
              for mask in (_heard(document, other, read),) if mask]
    fits = {0: 0.0, TREBLE_B_FLAT.chromatic: 0.0}
    count = attacks = 0
    for note in part.notes:
        before = count
        for slot in _slots(float(note.onset), float(note.duration)):
            around = [pitch for mask in others for pitch in mask.get(slot, ())]
            if not around:
                continue
            count += 1
            for shift in fits:
                classes = ((note.written.midi + shift - pitch) % 12 for pitch in around)
                fits[shift] += sum(_FIT[min(size, 12 - size)] for size in classes) / len(around)
        attacks += count > before
    if attacks < _LEAST_ATTACKS:
        return _Sign(0.0, "")
    weight = _HARMONY * (fits[TREBLE_B_FLAT.chromatic] - fits[0]) / count * min(1.0, attacks / _ENOUGH_ATTACKS)
    weight = max(-_MOST_HARMONY, min(_MOST_HARMONY, weight))
    return _Sign(weight, f"it fits the other parts' harmony {'in B flat' if weight > 0 else 'at concert pitch'}")


def _slots(onset: float, duration: float) -> Iterator[int]:
    end = onset + min(duration, _LONGEST_QUARTERS)
    return iter(range(ceil(onset * _SLOTS - 1e-9), ceil(end * _SLOTS - 1e-9)))


def _heard(document: Document, info: PartInfo, read: Callable[[PartInfo], Part]) -> dict[int, tuple[int, ...]]:
    """Return the pitches of another part in each slot; nothing of a part that may itself be in doubt."""
    known: dict[str, dict[int, tuple[int, ...]]] = document.memo.setdefault("heard", {})
    if info.id not in known:
        slots: dict[int, tuple[int, ...]] = {}
        if document.part_measures(info.id):
            part = read(info)
            if not (info.low_brass and in_treble(part)):
                for note in part.notes:
                    for slot in _slots(float(note.onset), float(note.duration)):
                        slots[slot] = (*slots.get(slot, ()), note.sounding.midi)
        known[info.id] = slots
    return known[info.id]
