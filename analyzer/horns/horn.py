"""A horn as data: tube, slide, valve loops, tuning and handling, each number with its evidence."""

from dataclasses import dataclass
from typing import Literal

from analyzer.evidence import Evidence

Family = Literal["slide", "valves"]
Instrument = Literal["trombone", "bass trombone", "euphonium", "baritone"]
Side = Literal["", "right hand", "left side"]

Valves = tuple[str, ...]
"""What is held, in playing order: ``()``, ``("T",)``, ``("T", "S")``, ``("1", "3")``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """One number of a horn, in the unit that the field's name tells, and where it comes from."""

    value: float
    evidence: Evidence


@dataclass(frozen=True, slots=True, kw_only=True)
class Statement:
    """One fact of a horn in words, and where it comes from."""

    text: str
    evidence: Evidence


@dataclass(frozen=True, slots=True, kw_only=True)
class Loop:
    """Tubing that one valve adds.

    `share` is its length over the open tube [ratio, above 0]; `semitones` how far it nominally lowers what it is
    added to; `flat_cents` how far below that it is tuned by itself. `needs` names the valve without which it
    cannot be held (the second valve of a dependent bass trombone), else empty. `second_share` is the length of its
    compensating loop over the open tube [ratio], None where that is as long as the master valve's tube asks.
    """

    name: str
    share: float
    semitones: int
    flat_cents: float
    needs: str
    evidence: Evidence
    second_share: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Offset:
    """How far some partials lie from the harmonic series in one valve state [cents, + is sharp].

    `valves` is None where it holds for every state.
    """

    valves: Valves | None
    partials: tuple[int, ...]
    cents: float
    evidence: Evidence


@dataclass(frozen=True, slots=True, kw_only=True)
class Printed:
    """The combination that printed charts give for a note `down` semitones below an open partial."""

    down: int
    valves: Valves
    evidence: Evidence


@dataclass(frozen=True, slots=True, kw_only=True)
class Handling:
    """What the player holds and works.

    `bore_mm` is the slide's (or the valves') inner width, `weight_kg` the usual weight of the whole horn;
    `left_hand_carries` and `left_hand_works` say what that hand does. `fourth_valve` tells where it lies
    (``right hand``: in line under the fourth finger; ``left side``), empty where there is none. `valve_type` is
    ``rotary``, ``piston`` or empty. `main_slide_trigger` tells whether the main tuning slide can be moved while
    playing.
    """

    bore_mm: Quantity
    weight_kg: Quantity
    left_hand_carries: Statement
    left_hand_works: Statement
    fourth_valve: Side
    valve_type: str
    main_slide_trigger: bool
    evidence: Evidence                 # for the last three


@dataclass(frozen=True, slots=True, kw_only=True)
class Horn:
    """One model of horn.

    `fundamental_midi` is the sounding pitch of partial 1, open, slide in (34 is B flat 1). `tube` is the open
    tube's acoustic length [mm]; `slide_end` how far the slide goes out [mm], None without one. `loops` stand in
    playing order. `master` names the valve whose tubing the others' compensating loops belong to, else empty.
    `lip_reach` is how far a player bends a note without harm to its tone [cents]; choices flatter than
    `flat_limit` or sharper than `sharp_limit` [cents] are no choices.
    """

    name: str
    family: Family
    kind: Instrument
    description: str
    fundamental_midi: int
    tube: Quantity
    slide_end: Quantity | None
    lip_reach: Quantity
    flat_limit: Quantity
    sharp_limit: Quantity
    loops: tuple[Loop, ...]
    master: str
    master_evidence: Evidence | None
    offsets: tuple[Offset, ...]
    printed: tuple[Printed, ...]
    handling: Handling

    @property
    def tube_mm(self) -> float:
        """Open tube, slide in. [mm]"""
        return self.tube.value

    @property
    def slide_end_mm(self) -> float:
        """How far the slide goes out; 0 without a slide. [mm]"""
        return self.slide_end.value if self.slide_end else 0.0

    @property
    def loop_names(self) -> Valves:
        """Names of the valves in playing order."""
        return tuple(loop.name for loop in self.loops)

    def __hash__(self) -> int:
        """Hash by what tells horns apart cheaply: horns are keys of caches asked for every note."""
        return hash((self.name, self.fundamental_midi, self.tube.value))
