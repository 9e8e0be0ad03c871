"""The player: reach, ceiling, speed, range, learned valve states; read from a TOML file."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from analyzer.horns.candidates import DEFAULT_CEILING_MIDI, position_place_mm, positions
from analyzer.horns.horn import Horn
from analyzer.pitch import parse_pitch
from analyzer.plain import one_line
from analyzer.plan.familiarity import LEVELS, Level
from analyzer.plan.limits import Limits, limits_of
from analyzer.plan.progress import Pair, both_ways, parse_move
from analyzer.problem import Unreadable
from analyzer.stave import USUAL_STAVE, Stave, stave_from
from analyzer.toml_file import Table, read_table
from analyzer.tuning.calibrate import B_FLAT_1, Measured, calibrated, parse_measured, sounds_there
from analyzer.tuning.retuned import attachment_tuned

CODE = "bad-key"
ARM_SHARE = 0.42
"""Shoulder to thumb tip over height, ages 5 to 20 (Han, Kim, Jung and Park, J Korean Acad Rehabil Med 28(5), 2004,
pp. 458-461: 0.19 + 0.23)."""
HAND_AT_FIRST_MM = 60.0
"""How much of the arm first position takes already [mm]. Derived: with more, children of nine of median height (WHO
Reference 2007) could not hold sixth, which average fourth and fifth graders reach (J. Wright, "Little trombonists: can
it work for them?", 2013). Cautious: F. Hallen, "Posaune", finds seven positions mostly in reach from ten on, where
this leaves seventh to players of 160 cm. Measured reaches of students would change our mind."""
RATES = {
    "slide_acceleration_m_s2": (1, 200, " m/s2: about 20 for a student, 60 for a virtuoso"),
    "max_slide_speed_mm_s": (100, 20000, " mm/s"),
    "tongue_notes_s": (1, 25, " notes a second"),
    "slur_notes_s": (1, 25, " notes a second"),
    "valve_notes_s": (1, 40, " notes a second"),
}
"""Keys of the player file that say how fast the player is, with the range of each and its unit."""
KEYS = ("name", "outermost_position", "reach_mm", "height_cm", "attachment_ceiling", *RATES, "low", "high", "learned",
        "secure", "level", "cannot", "just_strength", "just_from_s", "attachment_in_tune", "stave", "measured")
TUNED_TO = ("F2", "C3")
"""Notes of the attachment's first position by which it is tuned: F2 (D. Scott, TBA clinic 2017: low F right in first),
or C3, which leaves F2 flat and low C within the slide (common practice, no source)."""
KEPT_BESIDE = ("practiced", "heard")
"""Tables of a player file beside [player]: what a student ticked, what recordings came to. No plan asks for them."""
EARLIER_WORDS: dict[str, Level] = {"developing": "intermediate", "experienced": "advanced"}
"""Words for levels in files of earlier versions."""
VALVES = ("T", "S", "1", "2", "3", "4")


@dataclass(frozen=True, slots=True, kw_only=True)
class Player:
    """What one player can do.

    `reach_mm` is how far the slide goes out comfortably [mm]; `outermost_position` the same as a position of the open
    scale; None where not told. `ceiling_midi` is the highest sounding pitch for the attachment, None lifts it.
    `max_speed_mm_s` is the greatest comfortable peak speed of the slide, None where not told, as the rates after it.
    `low`, `high` [MIDI].
    `learned` lists valve states as labels (``T``, ``TS``, ``1-3``), None for all; open is always learned. `secure`
    holds the moves that need no more practice, each good in both directions. `level` says which alternates are
    familiar, and how fast arm, tongue, lip and fingers are where that is not told: `limits` has them all. `cannot`
    lists valves that the player's hand cannot press. Where chords are tuned, notes of at least `just_from_s`
    [s] take `just_strength` (0 to 1) of the way to their pure place. `attachment_in_tune` is the sounding pitch [MIDI]
    that this player's attachment plays in tune in first position, F2 or C3; None where not told. `stave` is how
    large and heavy this player wants printed music. `measured` is one
    place of this player's slide (a trombone in B flat), measured where a note was in tune: every position follows it.
    """

    name: str = "player"
    reach_mm: float | None = None
    reach_estimated: bool = False
    outermost_position: int | None = None
    ceiling_midi: int | None = DEFAULT_CEILING_MIDI
    max_speed_mm_s: float | None = None
    slide_acceleration_m_s2: float | None = None
    tongue_notes_s: float | None = None
    slur_notes_s: float | None = None
    valve_notes_s: float | None = None
    low: int | None = None
    high: int | None = None
    learned: tuple[str, ...] | None = None
    secure: tuple[Pair, ...] = ()
    level: Level = "intermediate"
    cannot: tuple[str, ...] = ()
    just_strength: float = 1.0
    just_from_s: float = 0.8
    attachment_in_tune: int | None = None
    stave: Stave = USUAL_STAVE
    measured: Measured | None = None

    def reach_on(self, horn: Horn) -> float:
        """Return how far this player takes the slide of `horn`. [mm]; the slide's end where nothing is told."""
        if horn.family != "slide":
            return 0.0
        if self.reach_mm is not None:
            return min(self.reach_mm, horn.slide_end_mm)
        if self.outermost_position is not None:
            last = min(self.outermost_position, positions(horn))
            # Half a semitone more: a position is reached together with its shades.
            return min(position_place_mm(horn, (), last) + 20.0, horn.slide_end_mm)
        return horn.slide_end_mm

    def knows(self, valves: tuple[str, ...]) -> bool:
        """Tell whether the valve state is learned.

        A list that names only a trombone's states (letters) says nothing of a euphonium's (numbers), and the other
        way about; an empty list says that nothing is learned yet. A state that the hand cannot hold is none.
        """
        if not self.can_hold(valves):
            return False
        if not valves or self.learned is None:
            return True
        states = {state.replace("-", "") for state in self.learned}
        numbered = valves[0].isdigit()
        return "".join(valves) in states or (
            bool(states) and not any(state[:1].isdigit() == numbered for state in states))

    def own(self, horn: Horn) -> Horn:
        """Return `horn` with its slide as long and its attachment tuned as this player has told.

        A measured place is one of a trombone in B flat, the horn that nearly all play; an alto keeps its own places.

        Raises
        ------
        Unreadable
            If the place asks for a tube more than 12 per cent off the horn's.
        """
        if self.measured is not None and horn.fundamental_midi == B_FLAT_1 and sounds_there(horn, self.measured):
            horn = calibrated(horn, self.measured, name=horn.name)
        return horn if self.attachment_in_tune is None else attachment_tuned(horn, self.attachment_in_tune)

    def can_hold(self, valves: tuple[str, ...]) -> bool:
        """Tell whether the player's hand can press all of these valves."""
        return not any(valve in self.cannot for valve in valves)

    @property
    def limits(self) -> Limits:
        """How fast this player is: what is told, and the rest by level."""
        return limits_of(
            level=self.level, slide_acceleration_m_s2=self.slide_acceleration_m_s2,
            max_slide_speed_mm_s=self.max_speed_mm_s, tongue_notes_s=self.tongue_notes_s,
            slur_notes_s=self.slur_notes_s, valve_notes_s=self.valve_notes_s)

    @property
    def secure_ways(self) -> frozenset[Pair]:
        """The secure moves as pairs of labels, in both directions."""
        return both_ways(self.secure)


def reach_from_height_mm(height_cm: float) -> float:
    """Estimate the comfortable reach from body height. [mm]

    The straight arm by `ARM_SHARE`, less what first position takes of it, `HAND_AT_FIRST_MM`.

    Examples
    --------
    >>> round(reach_from_height_mm(150))
    570
    """
    return max(0.0, height_cm * 10 * ARM_SHARE - HAND_AT_FIRST_MM)


def read_player(path: Path) -> Player:
    """Read a player file.

    Raises
    ------
    Unreadable
        If the file cannot be read, is no TOML, or holds an unknown key or a value out of its range; names the line.
    """
    return player_of_file(read_table(path))


def player_of_file(top: Table) -> Player:
    """Return the player of a parsed player file.

    Raises
    ------
    Unreadable
        As for `read_player`.
    """
    top.code = CODE
    extra = [key for key in top.data if key not in ("player", "stave", *KEPT_BESIDE)]
    if extra:
        raise top.problem(extra[0], f"unknown key '{extra[0]}'", "A player file has one table, [player].")
    if isinstance(top.data.get("player"), list):
        raise top.problem("player", "several players stand there, as in a section file",
                          "A player file has one: copy that player's lines below [player] into a file of their own.")
    if not isinstance(top.data.get("player", {}), dict):
        raise top.problem("player", "'player' is no table", "Write [player] on a line of its own.")
    table = top.table("player") if top.has("player") else Table({}, file=top.file, code=CODE)
    player = player_from(table)
    table.done()
    return replace(player, stave=stave_from(top.table("stave"))) if top.has("stave") else player


def player_of(given: Mapping[str, Any], name: str = "player") -> Player:
    """Return the player that a mapping of the file's keys describes; `name` is the place in problems.

    Raises
    ------
    Unreadable
        With code ``bad-key``, if a key is unknown or a value out of its range.
    """
    table = Table(dict(given), file=name, code=CODE)
    player = player_from(table)
    table.done()
    return player


def player_from(table: Table) -> Player:
    """Take the keys of a player from a table; the caller takes its own, and then asks whether any is left.

    Raises
    ------
    Unreadable
        If a value is out of its range (where the table gathers no mistakes).
    """
    name = table.take("name", str, "player")
    if not name.strip():
        table.refuse("name", f"name is {name!r}", 'Give a short text such as "Player 1".')
    reach, outermost, estimated = _reach(table)
    told = table.pitch("attachment_ceiling", DEFAULT_CEILING_MIDI, also=("none",))
    rates = {key: table.number(key, low, high, None, unit=unit) for key, (low, high, unit) in RATES.items()}
    low, high = table.pitch("low", None), table.pitch("high", None)
    if low is not None and high is not None and low >= high:
        table.refuse("low", "low is not below high", "Exchange the two.")
    level = table.word("level", LEVELS, "intermediate", also=tuple(EARLIER_WORDS))
    in_tune = table.word("attachment_in_tune", TUNED_TO, None)
    return Player(
        name=one_line(name.strip()), reach_mm=reach, reach_estimated=estimated, outermost_position=outermost,
        ceiling_midi=None if told == "none" else told, max_speed_mm_s=rates.pop("max_slide_speed_mm_s"), **rates,
        low=low, high=high,
        learned=table.words("learned", '["T", "TS"]', None),
        secure=table.words("secure", '["T1 to 4", "1-3 to 0"]', (), read=parse_move),
        level=EARLIER_WORDS.get(level, level),
        cannot=tuple(dict.fromkeys(table.words("cannot", '["T"] or ["3", "4"]', (), known=VALVES))),
        just_strength=table.number("just_strength", 0, 1, 1.0),
        just_from_s=table.number("just_from_s", 0, 60, 0.8, unit=" seconds"),
        attachment_in_tune=parse_pitch(in_tune).midi if in_tune else None,
        stave=stave_from(table.table("stave")) if table.has("stave") else USUAL_STAVE,
        measured=_measured(table),
    )


def _measured(table: Table) -> Measured | None:
    """Return the place that was measured on this player's slide."""
    told = table.take("measured", str, "")
    if not told:
        return None
    try:
        return parse_measured(told)
    except Unreadable as error:
        table.refuse("measured", f"measured is {told!r}: {error.problem.what}", error.problem.try_)
    return None


def _reach(table: Table) -> tuple[float | None, int | None, bool]:
    """Return the reach [mm], the farthest position, and whether the reach is only estimated, from the height."""
    outermost = table.number("outermost_position", 1, 7, None)
    if outermost is not None and outermost != int(outermost):
        table.refuse("outermost_position", f"outermost_position is {outermost:g}", "Give a whole number from 1 to 7.")
        outermost = None
    reach = table.number("reach_mm", 50, 800, None, unit=" mm (how far the slide goes out, not the arm's length)")
    height = table.number("height_cm", 80, 230, None, unit=" cm")
    estimated = reach is None and outermost is None and height is not None
    return (reach_from_height_mm(height) if estimated else reach,
            int(outermost) if outermost is not None else None, estimated)
