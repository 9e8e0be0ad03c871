"""The section file: who sits in the low brass, what each can do and which horns each could pick up.

A TOML file with one ``[[player]]`` a player: the keys of a player file and those of `EXTRA_KEYS`. Above the first of
them may stand ``spare``, the horns that the band could lend. Reading collects every mistake, a line each.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from analyzer.horns.horn import Horn
from analyzer.horns.profiles import load_horn
from analyzer.plan.familiarity import Level
from analyzer.plan.player import KEYS, Player, player_from
from analyzer.problem import Problem, Unreadable, unreadable
from analyzer.toml_file import Table, read_table
from analyzer.words import counted
from analyzer.writing.readers import CLEFS, Instrument, instruments

CODE = "bad-section"
EXTRA_KEYS = ("horns", "instrument", "keeps", "extreme_low", "extreme_high", "endurance_minutes", "clefs", "absent")
FAMILIES = ("trombone", "bass trombone", "euphonium", "baritone")

TEMPLATE = """\
# The low brass of your band, for  lowbrass fit SCORE --section THIS-FILE
# Write one [[player]] for each. A nickname or a chair ("Chair 2") is enough: no full names are needed.
# A line that begins with # says nothing to the program; take the # away to use it.
# Every key but horns may be left out. Pitches are sounding pitches (C4 is middle C).

# spare = ["tenor-f"]           # horns in the band room that could be lent; must stand above the first [[player]]

[[player]]
name = "Chair 1"
horns = ["tenor-f"]             # what this player could pick up, first choice first: lowbrass horns lists the names
# level = "advanced"            # beginner, intermediate or advanced: which alternates are familiar, how fast
# low = "E2"                    # lowest and highest note that is secure
# high = "F4"
# extreme_low = "C2"            # what goes for a note or two
# extreme_high = "Bb4"
# learned = ["T"]               # valve states that are learned; left out: all that the horn has
# clefs = ["bass", "tenor"]     # clefs that are read (also treble-b-flat, written a ninth up); left out: all

[[player]]
name = "Chair 2"
horns = ["tenor"]
# outermost_position = 6        # how far the slide goes without lunging; or reach_mm = 520, or height_cm = 150
# tongue_notes_s = 7            # tongued notes a second that stay clean, as counted with this player; also
# slide_acceleration_m_s2 = 30  # slur_notes_s, valve_notes_s, max_slide_speed_mm_s. Left out: by level
# endurance_minutes = 8         # minutes of playing, rests apart, before the lips tire

[[player]]
name = "Chair 3"
horns = ["bass-independent"]
# keeps = "bass trombone"       # stays on these parts: trombone, bass trombone, euphonium or baritone
# attachment_ceiling = "none"   # uses the attachment above C3 too

[[player]]
name = "Chair 4"
horns = ["euphonium-3"]
# absent = true                 # ill or away: holds nothing until this line goes

# Somebody with another instrument can cover a line: write, in place of horns, instrument = "tenor-saxophone"
# (or bass-clarinet, bassoon, tuba, cello).
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """One player of a section.

    `horns` are first choice first, `horn_names` as the file has them. `keeps` is the family whose parts the player
    stays on, None where free. `level` is None where not told. `extreme_low`, `extreme_high` [MIDI] bound what goes
    for a note or two, outside the player's `low` and `high`. `endurance_s` is how long the player sounds before
    tiring [s], None where not told; `clefs` what is read, None for all. `instrument` is what somebody plays who has
    no horn of ours; it stands in the place of `horns`. Who is `absent` holds nothing.
    """

    player: Player
    horns: tuple[Horn, ...]
    keeps: str | None = None
    level: Level | None = None
    extreme_low: int | None = None
    extreme_high: int | None = None
    endurance_s: float | None = None
    clefs: tuple[str, ...] | None = None
    instrument: Instrument | None = None
    absent: bool = False

    @property
    def name(self) -> str:
        """Name as the file has it."""
        return self.player.name

    @property
    def dedicated(self) -> str | None:
        """The family this player stays on: `keeps`, or bass trombone where bass trombones are all there is."""
        if self.keeps:
            return self.keeps
        only = self.horns and all(horn.kind == "bass trombone" for horn in self.horns)
        return "bass trombone" if only else None

    @property
    def plays(self) -> tuple[str, ...]:
        """Names of what this player could pick up: horns, or the instrument."""
        return (self.instrument.name,) if self.instrument else tuple(horn.name for horn in self.horns)


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """The players who are there, in the order of the file, the horns that could be lent, and who is absent."""

    members: tuple[Member, ...]
    spare: tuple[Horn, ...] = ()
    absent: tuple[Member, ...] = ()

    def without(self, names: Sequence[str], where: str) -> "Section":
        """Return the section without those who are missing; `where` is the file, for a mistake.

        Raises
        ------
        Unreadable
            If somebody is named who is not in the section, or nobody is left.
        """
        known = {member.name.casefold(): member for member in (*self.members, *self.absent)}
        gone = {member.name for member in self.absent}
        for name in names:
            member = known.get(name.strip().casefold())
            if member is None:
                raise unreadable("no-such-player", where=where, what=f"no player is called '{name}'",
                                 try_=f"Its players: {', '.join(found.name for found in known.values())}.")
            gone.add(member.name)
        here = tuple(member for member in self.members if member.name not in gone)
        if not here:
            raise unreadable("nobody-left", where=where, what="everybody in the section is absent",
                             try_="Leave somebody to play.")
        away = tuple(member for member in self.members if member.name in gone)
        return replace(self, members=here, absent=(*self.absent, *away))


def read_section(path: Path) -> Section:
    """Read a section file.

    Raises
    ------
    Unreadable
        With the first mistake of the file and its line; says how many more there are.
    """
    section, problems = check_section(path)
    if section is None:
        first = problems[0]
        if len(problems) > 1:
            count = len(problems) - 1
            more = f"lowbrass section check {path} shows {counted(count, 'more mistake')}."
            first = replace(first, try_=f"{first.try_} {more}")
        raise Unreadable(first)
    return section


def check_section(path: Path) -> tuple[Section | None, tuple[Problem, ...]]:
    """Read a section file; return the section (None where a mistake stands in the way) and every mistake, in order."""
    try:
        top = read_table(path)
    except Unreadable as error:
        return None, (error.problem,)
    return section_from(top, folder=path.parent)


def section_from(top: Table, *, folder: Path = Path()) -> tuple[Section | None, tuple[Problem, ...]]:
    """Build a section from a parsed file; `folder` holds its horn files."""
    top.code, top.mistakes = CODE, []
    spare = _horns(top, "spare", folder)
    players = list(top.tables("player"))
    if not players and not top.mistakes:
        top.mistakes.append((0, unreadable(
            CODE, where=top.file, what="the section is empty",
            try_="Write at least one [[player]] with its horns; lowbrass section new FILE shows how.").problem))
    for key in top.data:
        if key not in ("player", "spare"):
            hint = f"Write {key} below a line [[player]]." if key in (*KEYS, *EXTRA_KEYS) else (
                "A section file has [[player]] tables, and spare above them.")
            top.refuse(key, f"unknown key '{key[:60]}' outside any player", hint)
    members = [_member(table, nth, folder) for nth, table in enumerate(players, 1)]
    lines: dict[str, int] = {}
    for table, member in zip(players, members, strict=True):
        key = member.name.casefold()
        if key in lines:
            table.refuse("name", f"two players are called '{member.name}' (the other on line {lines[key]})",
                         "Give each a name of its own; a number behind it is enough.")
        lines.setdefault(key, table.line("name"))
    if top.mistakes:
        return None, tuple(problem for _, problem in sorted(top.mistakes, key=lambda mistake: mistake[0]))
    return Section(members=tuple(member for member in members if not member.absent), spare=spare,
                   absent=tuple(member for member in members if member.absent)), ()


def section_of(given: Mapping[str, Any], name: str = "section") -> tuple[Section | None, tuple[Problem, ...]]:
    """Return the section that a mapping of the file's keys describes, else its mistakes, whose place is `name`."""
    return section_from(Table(dict(given), file=name))


def _member(table: Table, nth: int, folder: Path) -> Member:
    """Build the `nth` player of the file, from 1."""
    player = player_from(table)
    if not table.has("name"):
        player = replace(player, name=f"player {nth} of the file")
    played = table.word("instrument", tuple(instruments()), None)
    if not table.has("horns") and not table.has("instrument"):
        table.refuse("horns", "this player has no horns", 'Add horns = ["tenor-f"] or another; lowbrass horns lists '
                                                          "them.")
    if table.has("horns") and table.has("instrument"):
        table.refuse("instrument", "this player has horns and an instrument", "An instrument stands in the place of "
                                                                              "horns: leave one of them out.")
    minutes = table.number("endurance_minutes", 0.5, 240, None, unit=" (minutes)")
    member = Member(
        player=player, horns=_horns(table, "horns", folder), keeps=table.word("keeps", FAMILIES, None),
        level=player.level if table.has("level") else None,
        extreme_low=table.pitch("extreme_low", None), extreme_high=table.pitch("extreme_high", None),
        endurance_s=None if minutes is None else minutes * 60.0,
        clefs=table.words("clefs", '["bass", "tenor"]', None, known=CLEFS, least=1),
        instrument=instruments().get(played), absent=table.take("absent", bool, False))
    for key, value, inner, outside in (("extreme_low", member.extreme_low, player.low, 1),
                                       ("extreme_high", member.extreme_high, player.high, -1)):
        if value is not None and inner is not None and (value - inner) * outside > 0:
            table.refuse(key, f"{key} lies inside {key.removeprefix('extreme_')}", f"Exchange the two, or leave {key} "
                                                                                  "out.")
    table.done()
    return member


def _horns(table: Table, key: str, folder: Path) -> tuple[Horn, ...]:
    """Load a list of horn names or files (a file is looked for beside the section file first)."""
    names = table.words(key, '["tenor", "tenor-f"]', (), least=1)
    horns: list[Horn] = []
    for given in dict.fromkeys(name.strip() for name in names):
        beside = folder / given
        try:
            horns.append(load_horn(str(beside) if given.endswith(".toml") and beside.is_file() else given))
        except Unreadable as error:
            table.refuse(key, f"{key}: {error.problem.what}" if given in error.problem.what
                         else f"{key}: '{given}': {error.problem.what}", error.problem.try_)
    return tuple(horns)


def template_for(path: Path) -> bytes:
    """Return the text of a commented section to fill in at `path`.

    Raises
    ------
    Unreadable
        If the file is there already: it is never overwritten.
    """
    if path.exists() or path.is_symlink():
        raise unreadable("exists", where=str(path), what="the file is there already, and it stays as it is",
                         try_="Give another name, or look at it with lowbrass section check.")
    return TEMPLATE.encode()
