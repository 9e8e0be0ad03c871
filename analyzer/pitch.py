"""Spelled pitch, MIDI numbers, and written against sounding pitch."""

import re
from dataclasses import dataclass, field

_STEPS = "CDEFGAB"
_SEMITONES = (0, 2, 4, 5, 7, 9, 11)
_NAME = re.compile(r"([A-Ga-g])(#{1,2}|b{1,2}|)(-?\d+)")
# The spelling that low-brass players expect of a pitch that comes without one.
_DEFAULT = (("C", 0), ("C", 1), ("D", 0), ("E", -1), ("E", 0), ("F", 0), ("F", 1), ("G", 0), ("A", -1), ("A", 0),
            ("B", -1), ("B", 0))

HEARD_CENTS = 5.0
"""A pitch that lies less beside its note is hardly heard so in a melody. [cents] Judged; only what is printed and drawn
asks for it, no plan does. Listening tests with brass tones in a line would change our mind."""


@dataclass(frozen=True, slots=True)
class Pitch:
    """A spelled pitch. `octave` is scientific (C4 is middle C), `alter` in semitones, -3 to 3; A4 has the `midi` 69."""

    step: str
    alter: int
    octave: int
    midi: int = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        midi = 12 * (self.octave + 1) + _SEMITONES[_STEPS.index(self.step)] + self.alter
        object.__setattr__(self, "midi", midi)         # one pitch stands for many notes, each of which asks for it

    @property
    def name(self) -> str:
        """Scientific name in ASCII, such as ``Bb3``."""
        return f"{self.step}{'#' * self.alter if self.alter > 0 else 'b' * -self.alter}{self.octave}"

    @property
    def pretty(self) -> str:
        """Name with the signs of print, such as ``B♭3``."""
        return f"{self.step}{'♯' * self.alter if self.alter > 0 else '♭' * -self.alter}{self.octave}"


_SHARPS = "FCGDAEB"


def signature(fifths: int) -> dict[str, int]:
    """Return the letters that a key signature alters, with their alteration; `fifths` above 0 are sharps.

    Examples
    --------
    >>> sorted(signature(-3).items())
    [('A', -1), ('B', -1), ('E', -1)]
    """
    letters = _SHARPS[:fifths] if fifths >= 0 else _SHARPS[fifths:]
    return dict.fromkeys(letters, 1 if fifths > 0 else -1)


@dataclass(frozen=True, slots=True)
class Transposition:
    """From written to sounding pitch: `diatonic` steps and `chromatic` semitones, octaves included."""

    diatonic: int = 0
    chromatic: int = 0

    def sounding(self, written: Pitch) -> Pitch:
        """Return the pitch that is heard when `written` is read.

        Examples
        --------
        >>> Transposition(-8, -14).sounding(Pitch("C", 0, 5)).name
        'Bb3'
        """
        return _moved(written, self.diatonic, self.chromatic)

    def written(self, sounding: Pitch) -> Pitch:
        """Return the pitch that is printed for `sounding`.

        Examples
        --------
        >>> Transposition(-8, -14).written(Pitch("B", -1, 3)).name
        'C5'
        """
        return _moved(sounding, -self.diatonic, -self.chromatic)


def _moved(pitch: Pitch, diatonic: int, chromatic: int) -> Pitch:
    if not diatonic and not chromatic:
        return pitch
    midi = pitch.midi + chromatic
    octave, index = divmod(pitch.octave * 7 + _STEPS.index(pitch.step) + diatonic, 7)
    alter = midi - (12 * (octave + 1) + _SEMITONES[index])
    return Pitch(_STEPS[index], alter, octave) if -2 <= alter <= 2 else pitch_of(midi)


def pitch_of(midi: int) -> Pitch:
    """Return the usual spelling of a MIDI number (flats but for C sharp and F sharp).

    Examples
    --------
    >>> pitch_of(58).name, pitch_of(42).name
    ('Bb3', 'F#2')
    """
    step, alter = _DEFAULT[midi % 12]
    return Pitch(step, alter, midi // 12 - 1)


def parse_pitch(text: str) -> Pitch:
    """Read a scientific name such as ``Bb3`` (♯ and ♭ are taken too).

    Raises
    ------
    ValueError
        If the text is no pitch.

    Examples
    --------
    >>> parse_pitch("F#2").midi
    42
    """
    match = _NAME.fullmatch(text.strip().replace("♯", "#").replace("♭", "b"))
    if match is None:
        raise ValueError(f"'{text}' is no pitch; write a letter, # or b if needed, and an octave, such as Bb3")
    step, sign, octave = match.groups()
    return Pitch(step.upper(), sign.count("#") - sign.count("b"), int(octave))
