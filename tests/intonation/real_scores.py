"""Chords of long notes in real scores, against music21's own chord of the same instant.

``python -m tests.intonation.real_scores [SCORE ...]`` prints the table of the samples and of the scores in the folder
beside the project (LOWBRASS_SHARED), a row a score, and every place where the two differ with what decides it; with
``--write`` the table is recorded in real_scores.csv.

music21 reads the file by itself, cuts each note wherever it hears anything change, and names each stretch by its own
`Chord`; the stretch that lasts longest is the instant. It names bare thirds and clusters too, which we leave alone:
only the kinds of `just.toml` count as names on either side.
"""

import csv
import os
import sys
import warnings
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

from analyzer.analysis import Planned, Request, analyse
from analyzer.score.document import open_document

SAMPLES = Path(__file__).parents[2] / "sample_scores"
SHARED = Path(os.environ.get("LOWBRASS_SHARED", Path(__file__).parents[3] / "shared"))
"""A folder beside the project with scores that are not ours to copy; tests that want them skip where it is absent."""
_STEPS = 32                            # music21 rounds tuplets; both sides count in 1/32 of a quarter note
_KINDS = {
    "major triad": "major", "minor triad": "minor", "diminished triad": "diminished", "augmented triad": "augmented",
    "perfect fifth": "open fifth", "perfect fourth": "open fifth", "dominant seventh chord": "dominant seventh",
    "incomplete dominant-seventh chord": "dominant seventh", "minor seventh chord": "minor seventh",
    "major seventh chord": "major seventh", "half-diminished seventh chord": "half-diminished seventh",
    "diminished seventh chord": "diminished seventh",
}
"""music21's common names of the kinds that we name (a fourth is a fifth whose root lies above)."""
Named = tuple[str, str]
"""Root and kind of a chord."""


_SEMITONES = {
    "major": (0, 4, 7), "minor": (0, 3, 7), "diminished": (0, 3, 6), "augmented": (0, 4, 8), "open fifth": (0, 7),
    "dominant seventh": (0, 4, 7, 10), "minor seventh": (0, 3, 7, 10), "major seventh": (0, 4, 7, 11),
    "half-diminished seventh": (0, 3, 6, 10), "diminished seventh": (0, 3, 6, 9),
}
Stretch = tuple[float, frozenset[str]]
"""Share of a note's time, and the names of what music21 hears in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """A long note whose chord the two name differently, with what music21 hears while it sounds."""

    score: str
    part: str
    line: int
    measure: str
    note: str
    seconds: float
    ours: Named | None
    theirs: Named | None
    heard: tuple[Stretch, ...]

    @property
    def instant(self) -> frozenset[str]:
        """What sounds in the longest stretch."""
        return max(self.heard, key=lambda stretch: stretch[0])[1]

    def share(self, name: Named, *, whole: bool = False) -> float:
        """Share of the time in which nothing sounds but members of a chord; `whole`: all that music21 so names."""
        members = classes(name)
        return sum(length for length, names in self.heard
                   if (_counts_for(_their_name(names), name) if whole else {_class(one) for one in names} <= members))

    @property
    def where(self) -> tuple[str, str, int, str, str]:
        """Score, part, line, measure and note."""
        return self.score, self.part, self.line, self.measure, self.note


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """One score: how many long notes there are, how many we name, how many music21 names alike, and the rest."""

    score: str
    long_notes: int
    named: int
    same: int
    both_unnamed: int
    differences: tuple[Difference, ...]


def _class(name: str) -> int:
    letters = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
    return (letters[name[0]] + name.count("#") - name[1:].count("-") - name[1:].count("b")) % 12


def classes(name: Named) -> set[int]:
    """Return the pitch classes of a chord."""
    return {(_class(name[0]) + semitones) % 12 for semitones in _SEMITONES[name[1]]}


def _same(one: Named | None, two: Named | None) -> bool:
    """Tell whether two names mean one chord, however the root is spelled."""
    if one is None or two is None:
        return one is two
    return one[1] == two[1] and _class(one[0]) == _class(two[0])


MOST, PLAIN = 0.6, 0.3
"""What a name needs by our rule: only its members during three fifths of the note, all of them during three tenths."""


def decided(one: Difference) -> str:
    """Say what decides a difference, by what music21 itself hears; empty where somebody has to look."""
    if one.theirs is not None and 3 <= len(_SEMITONES[one.theirs[1]]) > len(one.instant):
        return "left equal: music21 completes a chord in its mind (a seventh without its third)" if one.ours is None \
            else "ours: music21 completes a chord that does not sound whole"
    if one.ours is None and one.theirs is not None:
        if one.share(one.theirs) < MOST:
            return f"left equal: the chord changes under the note, music21's fits {one.share(one.theirs):.0%} of it"
        if one.share(one.theirs, whole=True) < PLAIN:
            return "left equal: the whole chord hardly sounds"
        if one.theirs[1] in ("diminished seventh", "augmented") and len(one.instant) > len(_SEMITONES[one.theirs[1]]):
            return "left equal: every note of it could be the root, and the parts spell it in two ways"
        rival = _rival(one, one.theirs)
        return f"left equal: another chord ({' '.join(rival)}) claims the note too, at another place" if rival else ""
    sounding = {_class(name) for name in one.instant}
    if one.ours is None:
        return ""
    if sounding < classes(one.ours) and one.share(one.ours, whole=True) >= PLAIN and one.share(one.ours) >= MOST:
        return "ours: at music21's instant only a part of it sounds, the whole one before or after"
    if sounding == classes(one.ours):
        return "ours: the same keys; parts of the score are spelled apart, and music21 goes by letters"
    return ""


def _counts_for(heard: Named | None, name: Named) -> bool:
    """Tell whether a name means a chord, or the upper three notes of a dominant seventh, which count for it."""
    return _same(heard, name) or (heard is not None and (heard[1], name[1]) == ("diminished", "dominant seventh")
                                  and _class(heard[0]) == (_class(name[0]) + 4) % 12)


def _rival(one: Difference, than: Named) -> Named | None:
    """Return another name of music21's that holds half as long and would put the note elsewhere."""
    for name in {_their_name(names) for _, names in one.heard}:
        if name is not None and not _counts_for(name, than) and one.share(name, whole=True) >= \
                one.share(than, whole=True) / 2 and _role(one.note, name) != _role(one.note, than):
            return name
    return None


def _role(note: str, name: Named) -> int | None:
    """Return the semitones of a note above a chord's root where it is a member."""
    semitones = (_class(note[:-1]) - _class(name[0])) % 12
    return semitones if semitones in _SEMITONES[name[1]] else None


@cache
def _their_name(names: frozenset[str]) -> Named | None:
    """Name a chord by music21 alone."""
    from music21 import chord

    if not names:
        return None
    found = chord.Chord(sorted(names))
    common = found.commonName.lower()
    if common.startswith("enharmonic equivalent to "):
        common = common.removeprefix("enharmonic equivalent to ")
        found = found.simplifyEnharmonics()
    kind = _KINDS.get(common)
    return None if kind is None else (found.root().name.replace("-", "b"), kind)


Sound = tuple[int, int, str]
"""Begin and end in a measure [1/32 of a quarter], and the name of a sounding pitch, as music21 writes it."""


def their_sounds(path: Path) -> dict[int, list[Sound]]:
    """Return what music21 reads in each measure, over all parts; neither grace notes nor what is not printed."""
    from music21 import converter, harmony, stream

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score: Any = converter.parse(path, format="musicxml", forceSource=True)
        score.toSoundingPitch(inPlace=True)
    found: dict[int, list[Sound]] = defaultdict(list)
    for part in score.parts:
        for index, measure in enumerate(part.getElementsByClass(stream.Measure)):
            for element in measure.recurse().notes:
                if isinstance(element, harmony.Harmony) or element.duration.isGrace or element.style.hideObjectOnPrint:
                    continue
                begin = round(float(element.getOffsetInHierarchy(measure)) * _STEPS)
                end = begin + round(float(element.quarterLength) * _STEPS)
                found[index] += [(begin, end, one.pitch.name) for one in getattr(element, "notes", (element,))
                                 if hasattr(one, "pitch")]
    return found


def _stretches(planned: Planned, index: int, sounds: dict[int, list[Sound]]) -> list[tuple[int, frozenset[str]]]:
    """Cut a note wherever music21 hears something change: the length of each stretch, and what sounds in it."""
    line, note = planned.plan.line, planned.plan.notes[index].note
    out: list[tuple[int, frozenset[str]]] = []
    for measure in line.measures:
        begin = round(max(note.onset - measure.onset, Fraction(0)) * _STEPS)
        end = round(min(note.onset + note.duration - measure.onset, measure.duration) * _STEPS)
        if begin >= end:
            continue
        here = [sound for sound in sounds.get(measure.index, ()) if sound[0] < end and sound[1] > begin]
        cuts = sorted({begin, end, *(cut for sound in here for cut in sound[:2] if begin < cut < end)})
        for left, right in pairwise(cuts):
            names = frozenset(name for first, last, name in here if first <= left and last >= right)
            if out and out[-1][1] == names:
                out[-1] = (out[-1][0] + right - left, names)
            else:
                out.append((right - left, names))
    return out


_TREMOLO = ("ours: the strings go to and fro between F# and C# under the held D flat, music21 goes by letters; "
            "as fifth of F# it belongs 2 cents high, hardly away from equal")
KNOWN: dict[tuple[str, str, int, str, str], str] = {
    ("orch-bruckner-wab-105-4.mxl", f"{part} Trombone", 1, measure, note): _TREMOLO
    for part, note in (("Alto", "Db4"), ("Tenor", "Db3"), ("Bass", "Db3")) for measure in ("391", "392")
}
"""Differences that were looked at one by one: where, and what decides."""


def reason(one: Difference) -> str:
    """Return what decides a difference: by rule, else as looked at; empty where neither does."""
    return decided(one) or KNOWN.get(one.where, "")


def compare(path: Path) -> Compared:
    """Hold our names of a score's long notes against music21's."""
    analysis = analyse(open_document(path), Request(intonation="just"))
    sounds = their_sounds(path)
    count: Counter[str] = Counter()
    differences = []
    for planned in analysis.lines:
        for note in planned.plan.notes:
            if planned.planner.times[note.index].sounds_s < planned.plan.player.just_from_s or note.note.grace:
                continue
            target = planned.targets[note.index]
            ours = None if target is None else (target.chord.root, target.chord.kind.name)
            stretches = _stretches(planned, note.index, sounds)
            if not stretches:
                raise AssertionError(f"music21 hears nothing in m. {note.note.measure} of {path.name}")
            instant = max(stretches, key=lambda stretch: stretch[0])[1]
            theirs = _their_name(instant)
            count["long"] += 1
            count["named"] += ours is not None
            count["unnamed" if ours is theirs is None else "same" if _same(ours, theirs) else "differ"] += 1
            if not _same(ours, theirs):
                whole = sum(length for length, _ in stretches)
                differences.append(Difference(
                    score=path.name, part=planned.part.full_name or planned.part.name, line=planned.plan.line.number,
                    measure=note.note.measure, note=note.note.sounding.name,
                    seconds=planned.planner.times[note.index].sounds_s, ours=ours, theirs=theirs,
                    heard=tuple((length / whole, names) for length, names in stretches)))
    return Compared(score=path.name, long_notes=count["long"], named=count["named"], same=count["same"],
                    both_unnamed=count["unnamed"], differences=tuple(differences))


def scores() -> list[Path]:
    """Return our samples, then the scores in the folder beside the project."""
    own = sorted(path for path in SAMPLES.iterdir() if path.suffix in (".musicxml", ".mxl"))
    folder = SHARED / "scores"
    return own + (sorted(path for path in folder.iterdir() if path.suffix in (".xml", ".mxl", ".musicxml"))
                  if folder.is_dir() else [])


COLUMNS = ("score", "long_notes", "named", "same", "both_unnamed", "different")
RECORD = Path(__file__).with_name("real_scores.csv")


def row(one: Compared) -> dict[str, str]:
    """Return a score's row of the table, as recorded."""
    return dict(zip(COLUMNS, map(str, (one.score, one.long_notes, one.named, one.same, one.both_unnamed,
                                       len(one.differences))), strict=True))


def recorded() -> dict[str, dict[str, str]]:
    """Return the recorded rows by score."""
    with RECORD.open(encoding="utf-8", newline="") as file:
        return {one["score"]: one for one in csv.DictReader(file)}


def main(paths: Sequence[Path], *, write: bool) -> None:
    """Print the table, then the differences with what decides each, then how often each reason decides."""
    every: list[Difference] = []
    rows = []
    print(f"| {' | '.join(COLUMNS)} |\n| --- |{' ---: |' * 5}")
    for path in paths:
        try:
            one = compare(path)
        except Exception as error:  # another project's parser may raise anything
            print(f"| {path.name}: music21 cannot read it ({error}) |", flush=True)
            continue
        rows.append(row(one))
        print(f"| {' | '.join(rows[-1].values())} |", flush=True)
        every += one.differences
    sums = [sum(int(one[column]) for one in rows) for column in COLUMNS[1:]]
    print(f"| together | {' | '.join(map(str, sums))} |\n")
    for difference in every:
        print(f"{difference.score}, {difference.part} {difference.line}, m. {difference.measure}, {difference.note} "
              f"({difference.seconds:.1f} s): ours {_said(difference.ours)}, music21 {_said(difference.theirs)} "
              f"({' '.join(sorted(difference.instant))}). {reason(difference) or 'NOT DECIDED'}")
    print()
    for why, count in Counter(reason(one).split(",")[0] or "NOT DECIDED" for one in every).most_common():
        print(f"{count:4}  {why}")
    if write:
        with RECORD.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)


def _said(name: Named | None) -> str:
    return "no name" if name is None else " ".join(name)


if __name__ == "__main__":
    main([Path(name) for name in sys.argv[1:] if name != "--write"] or scores(), write="--write" in sys.argv)
