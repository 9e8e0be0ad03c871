"""Who reads the part: a clef, how far the written note lies above the sound, and the notes that can be had."""

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal, get_args

from analyzer.horns.candidates import candidates, sounding_range
from analyzer.horns.horn import Horn
from analyzer.pitch import Transposition, parse_pitch
from analyzer.plan.player import Player
from analyzer.problem import unreadable
from analyzer.score.lines import Line
from analyzer.score.transposing import TREBLE_B_FLAT

Clef = Literal["bass", "tenor", "alto", "treble", "treble-b-flat"]
CLEFS: tuple[Clef, ...] = get_args(Clef)
SIGNS: dict[Clef, tuple[str, str]] = {"bass": ("F", "4"), "tenor": ("C", "4"), "alto": ("C", "3"),
                                      "treble": ("G", "2"), "treble-b-flat": ("G", "2")}
"""Sign and line of each clef, as MusicXML writes them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """An instrument beside the horns. `low` and `high` are sounding MIDI numbers.

    `keys` tells keys from valves and strings; `brass` is near in color, `glides` can slide from note to note.
    """

    name: str
    spoken: str
    low: int
    high: int
    clefs: tuple[Clef, ...]
    keys: bool
    brass: bool = False
    glides: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Reader:
    """Who reads a written line.

    `low` and `high` are sounding MIDI numbers, None where no range is asked about (a clef alone); `horn` is what the
    line is planned for, None for an instrument of another family or a mere change of clef.
    """

    name: str
    clef: Clef
    low: int | None = None
    high: int | None = None
    horn: Horn | None = None
    player: Player | None = None

    @property
    def transposition(self) -> Transposition:
        """From written to sounding pitch."""
        return TREBLE_B_FLAT if self.clef == "treble-b-flat" else Transposition()

    @property
    def written_above_sounding(self) -> int:
        """How far the written note lies above the one that sounds. [semitones]"""
        return -self.transposition.chromatic

    def has(self, midi: int) -> bool:
        """Tell whether the reader's range holds a sounding pitch, and the horn has a way to sound it."""
        if (self.low is not None and midi < self.low) or (self.high is not None and midi > self.high):
            return False
        return self.horn is None or bool(candidates(self.horn, midi))


@cache
def instruments() -> dict[str, Instrument]:
    """Return the instruments beside the horns, by name."""
    table = tomllib.loads(Path(__file__).with_name("instruments.toml").read_text(encoding="utf-8"))
    return {name: Instrument(name=name, spoken=row["name"], low=parse_pitch(row["low"]).midi,
                             high=parse_pitch(row["high"]).midi, clefs=tuple(row["clefs"]), keys=row["keys"],
                             brass=row.get("brass", False), glides=row.get("glides", False))
            for name, row in table.items()}


def clef_reader(clef: Clef) -> Reader:
    """Return a reader who asks for a clef and nothing else."""
    return Reader(name=clef, clef=clef)


def instrument_reader(instrument: Instrument, *, low: int | None = None, high: int | None = None,
                      clefs: Sequence[Clef] = (), name: str = "", written: Clef | None = None) -> Reader:
    """Return the reader with an instrument; the player's own range and clefs come first.

    `written` is the clef in which the line stands: it is kept where the reader reads it.
    """
    read = tuple(clefs) or instrument.clefs
    return Reader(name=name or instrument.name, clef=written if written in read and written is not None else read[0],
                  low=max(instrument.low, low) if low is not None else instrument.low,
                  high=min(instrument.high, high) if high is not None else instrument.high)


def horn_reader(horn: Horn, player: Player | None = None, *, clefs: Sequence[Clef] = (), name: str = "",
                written: Clef | None = None) -> Reader:
    """Return the reader with a horn, bass clef unless told otherwise; the range is the horn's and the player's."""
    lowest, highest = sounding_range(horn)
    read: tuple[Clef, ...] = tuple(clefs) or ("bass",)
    low, high = (player.low, player.high) if player is not None else (None, None)
    return Reader(name=name or horn.name, clef=written if written in read and written is not None else read[0],
                  low=lowest if low is None else max(lowest, low),
                  high=highest if high is None else min(highest, high), horn=horn, player=player)


def plain_clef(clef: Clef) -> str:
    """Return the clef as it is drawn."""
    return "treble" if clef == "treble-b-flat" else clef


def printed_clef(line: Line) -> Clef | None:
    """Return the clef in which a line begins, None where it is none that a part is written in."""
    note = line.notes[0]
    if note.clef == "treble" and note.written.midi - note.sounding.midi == -TREBLE_B_FLAT.chromatic:
        return "treble-b-flat"
    return clef_named(note.clef) if note.clef in CLEFS else None


def clef_named(text: str) -> Clef:
    """Return the clef of this name.

    Raises
    ------
    Unreadable
        If there is no such clef.
    """
    for clef in CLEFS:
        if text == clef:
            return clef
    raise unreadable("no-such-clef", where=text, what="this is not a clef that a part can be written in",
                     try_=f"Clefs: {', '.join(CLEFS)}.")
