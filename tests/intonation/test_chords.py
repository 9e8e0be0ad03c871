"""Chords against ratios, published handouts and music21's naming."""

from itertools import product
from math import log2

import pytest

from analyzer.intonation.chords import chord_of, kinds
from analyzer.pitch import Pitch, parse_pitch, pitch_of

RATIOS = {
    "major": ((0, 1, 1), (4, 5, 4), (7, 3, 2)),
    "minor": ((0, 1, 1), (3, 6, 5), (7, 3, 2)),
    "dominant seventh": ((0, 1, 1), (4, 5, 4), (7, 3, 2), (10, 7, 4)),
    "minor seventh": ((0, 1, 1), (3, 6, 5), (7, 3, 2), (10, 9, 5)),
    "major seventh": ((0, 1, 1), (4, 5, 4), (7, 3, 2), (11, 15, 8)),
}
ROOTS = tuple(map(parse_pitch, ["Bb2", "F2", "C3", "Eb3", "D3", "A2", "F#2", "Ab2", "G2", "B2", "E3", "Db3"]))
# music21's own words for the same kinds.
WORDS = {"major": "Major Triad", "minor": "Minor Triad", "dominant seventh": "Dominant Seventh Chord",
         "minor seventh": "Minor Seventh Chord", "major seventh": "Major Seventh Chord"}


def stacked(root: Pitch, kind: str, inversion: int) -> list[Pitch]:
    """Four voices: the chord spelled in thirds, some members an octave up, the root doubled in a triad."""
    letters = "CDEFGAB"
    voices = []
    for nth, (semitones, _, _) in enumerate(RATIOS[kind]):
        midi = root.midi + semitones
        step = letters[(letters.index(root.step) + 2 * nth) % 7]
        bare = Pitch(step, 0, 4).midi
        octave = 4 + round((midi - bare) / 12)
        alter = midi - Pitch(step, 0, octave).midi
        voices.append(Pitch(step, alter, octave + (1 if nth < inversion else 0)))
    if len(voices) == 3:
        voices.append(Pitch(root.step, root.alter, root.octave + 2))
    return voices


@pytest.mark.parametrize(("kind", "root"), list(product(RATIOS, ROOTS)), ids=lambda part: getattr(part, "name", part))
def test_chords_in_every_inversion_have_their_pure_targets(kind: str, root: Pitch) -> None:
    music21 = pytest.importorskip("music21")
    for inversion in range(len(RATIOS[kind])):
        voices = stacked(root, kind, inversion)
        chord = chord_of(voices)
        assert chord is not None
        assert (chord.root, chord.kind.name) == (root.name[:-1], kind)
        for voice in voices:
            semitones = (voice.midi - root.midi) % 12
            upper, lower = next((upper, lower) for steps, upper, lower in RATIOS[kind] if steps == semitones)
            assert chord.target_cents(voice.midi) == pytest.approx(1200 * log2(upper / lower) - 100 * semitones, abs=1)
        theirs = music21.chord.Chord([voice.name.replace("b", "-") for voice in voices])
        assert theirs.root().name.replace("-", "b") == chord.root
        assert WORDS[kind].lower().split()[0] in theirs.commonName.lower()


# "Just intonation adjustments": cents that handouts for bands print beside the members of a chord, above equal
# temperament (major third -14, perfect fifth +2, minor third +16, dominant seventh -31, minor seventh +18, major
# seventh -12); common practice, no single source.
HANDOUT = (("major", 4, -14), ("major", 7, 2), ("minor", 3, 16), ("minor", 7, 2), ("dominant seventh", 4, -14),
           ("dominant seventh", 10, -31), ("minor seventh", 10, 18), ("major seventh", 11, -12))


@pytest.mark.parametrize(("kind", "semitones", "cents"), HANDOUT)
def test_targets_are_those_of_the_handouts(kind: str, semitones: int, cents: int) -> None:
    (found,) = (row for row in kinds() if row.name == kind)
    assert round(found.cents[semitones]) == cents


@pytest.mark.parametrize("names", [
    "C3 E3",                 # a bare third: C major or A minor
    "C3 D3 E3",              # a cluster
    "C3 F3 G3",              # a suspension
    "C3 E3 G3 D4",           # an added ninth
    "C3 E3 G#3 B3", "C3 F#3", "C3 C4",
    "C3 Fb3 G#3",            # augmented, but not spelled in thirds
    "C3 D#3 Gb3 A3",         # diminished seventh, not spelled in thirds
])
def test_what_is_not_certain_has_no_name(names: str) -> None:
    assert chord_of([parse_pitch(name) for name in names.split()]) is None


@pytest.mark.parametrize(("names", "root", "kind"), [
    ("C3 G3 C4", "C", "open fifth"), ("E3 C4 Bb4", "C", "dominant seventh"), ("B2 D3 F3", "B", "diminished"),
    ("C3 E3 G#3", "C", "augmented"), ("G#2 E3 C4", "C", "augmented"), ("B2 D3 F3 A3", "B", "half-diminished seventh"),
    ("C#3 E3 G3 Bb3", "C#", "diminished seventh"), ("Bb3 C#3 E3 G3", "C#", "diminished seventh"),
])
def test_names(names: str, root: str, kind: str) -> None:
    chord = chord_of([parse_pitch(name) for name in names.split()])
    assert chord is not None
    assert (chord.root, chord.kind.name) == (root, kind)


def test_an_enharmonic_spelling_of_a_triad_is_still_that_triad() -> None:
    """Transposing parts of one score are often spelled apart."""
    chord = chord_of([pitch_of(midi) for midi in (46, 50, 53)])
    assert chord is not None
    assert chord.root == "Bb"
