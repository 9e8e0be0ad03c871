"""The section file: who sits in the low brass, what each can do and which horns each could pick up.

A TOML file with one ``[[player]]`` a player: the keys of a player file and those of `EXTRA_KEYS`. Above the first of
them may stand ``spare``, the horns that the band could lend. Reading collects every mistake, a line each.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from analyzer.horns.horn import Horn
from analyzer.horns.profiles import load_horn
from analyzer.pitch import parse_pitch
from analyzer.plan.familiarity import Level
from analyzer.plan.player import KEYS, Player, player_from
from analyzer.problem import Problem, Unreadable, unreadable
from analyzer.toml_file import Table, read_table
from analyzer.words import counted

_Add = Callable[[int, str, str], None]      # line, what, try
_Miss = Callable[[str, str, str], None]     # key, what, try

EXTRA_KEYS = ("horns", "keeps", "extreme_low", "extreme_high", "endurance_minutes", "clefs")
FAMILIES = ("trombone", "bass trombone", "euphonium", "baritone")
CLEFS = ("bass", "tenor", "alto", "treble")

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
# clefs = ["bass", "tenor"]     # clefs that are read; left out: all

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
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """One player of a section.

    `horns` are first choice first, `horn_names` as the file has them. `keeps` is the family whose parts the player
    stays on, None where free. `level` is None where not told. `extreme_low`, `extreme_high` [MIDI] bound what goes
    for a note or two, outside the player's `low` and `high`. `endurance_s` is how long the player sounds before
    tiring [s], None where not told; `clefs` what is read, None for all.
    """

    player: Player
    horns: tuple[Horn, ...]
    keeps: str | None = None
    level: Level | None = None
    extreme_low: int | None = None
    extreme_high: int | None = None
    endurance_s: float | None = None
    clefs: tuple[str, ...] | None = None

    @property
    def name(self) -> str:
        """Name as the file has it."""
        return self.player.name

    @property
    def dedicated(self) -> str | None:
        """The family this player stays on: `keeps`, or bass trombone where bass trombones are all there is."""
        if self.keeps:
            return self.keeps
        return "bass trombone" if all(horn.kind == "bass trombone" for horn in self.horns) else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """The players in the order of the file, and the horns that could be lent."""

    members: tuple[Member, ...]
    spare: tuple[Horn, ...] = ()


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
    return section_from(top.data, path.name, top.text, folder=path.parent)


def section_from(table: dict[str, Any], name: str, text: str, *, folder: Path = Path(),
                 ) -> tuple[Section | None, tuple[Problem, ...]]:
    """Build a section from a parsed table; `name` and `text` are for the mistakes, `folder` holds its horn files."""
    top = Table(table, text=text, file=name)
    problems: list[tuple[int, Problem]] = []

    def add(line: int, what: str, try_: str) -> None:
        where = f"{name}, line {line}" if line else name
        problems.append((line, Problem(severity="error", code="bad-section", where=where, what=what, try_=try_)))

    for key in table:
        if key not in ("player", "spare"):
            hint = "A section file has [[player]] tables, and spare above them."
            if key in (*KEYS, *EXTRA_KEYS):
                hint = f"Write {key} below a line [[player]]."
            add(top.line(key), f"unknown key '{key}' outside any player", hint)
    spare = _horns(table["spare"], "spare", top.line("spare"), folder, add) if "spare" in table else ()
    players = table.get("player", [])
    if not isinstance(players, list) or not all(isinstance(one, dict) for one in players):
        add(_first_line(text, r"\s*\[\s*player\s*\]|\s*player\s*="), "'player' is no list of players",
            "Write [[player]], with two brackets on each side, above each player.")
        players = []
    elif not players:
        add(0, "the section is empty", "Write at least one [[player]] with its horns; lowbrass section new FILE shows "
                                       "how.")
    members = [_member(one, nth, name, text, folder, add) for nth, one in enumerate(players)]
    seen: dict[str, int] = {}
    for nth, one in enumerate(players):
        given = one.get("name")
        if not isinstance(given, str):
            continue
        key = given.strip().casefold()
        line = Table(one, text=text, file=name, heading="player", nth=nth).line("name")
        if key in seen:
            add(line, f"two players are called '{given.strip()}' (the other on line {seen[key]})",
                "Give each a name of its own; a number behind it is enough.")
        seen.setdefault(key, line)
    if problems:
        return None, tuple(problem for _, problem in sorted(problems, key=lambda item: item[0]))
    return Section(members=tuple(one for one in members if one), spare=spare), ()


def _first_line(text: str, pattern: str) -> int:
    return next((number for number, row in enumerate(text.splitlines(), 1) if re.match(pattern, row)), 0)


def _member(table: dict[str, Any], nth: int, name: str, text: str, folder: Path, add: _Add) -> Member | None:
    """Build one player; every mistake goes to `add`, and None comes back."""
    reader = Table(table, text=text, file=name, heading="player", nth=nth)
    wrong: list[tuple[int, str, str]] = []

    def miss(key: str, what: str, try_: str) -> None:
        wrong.append((reader.line(key), what, try_))

    for key, value in table.items():
        if key not in EXTRA_KEYS:
            # One key at a time, so that one mistake does not hide the next.
            try:
                player_from({key: value}, name, text, also=EXTRA_KEYS, nth=nth)
            except Unreadable as error:
                miss(key, error.problem.what, error.problem.try_)
    if not wrong:
        try:
            player_from(table, name, text, also=EXTRA_KEYS, nth=nth)
        except Unreadable as error:
            miss("low", error.problem.what, error.problem.try_)
    horns: tuple[Horn, ...] = ()
    if "horns" in table:
        horns = _horns(table["horns"], "horns", reader.line("horns"), folder,
                       lambda line, what, try_: wrong.append((line, what, try_)))
    else:
        miss("horns", "this player has no horns", 'Add horns = ["tenor-f"] or another; lowbrass horns lists them.')
    keeps = _word(table, "keeps", FAMILIES, miss)
    low, high = _pitch(table, "extreme_low", miss), _pitch(table, "extreme_high", miss)
    minutes = table.get("endurance_minutes")
    if minutes is not None and (isinstance(minutes, bool) or not isinstance(minutes, int | float)
                                or not 0.5 <= minutes <= 240):
        miss("endurance_minutes", f"endurance_minutes is {minutes!r}", "Give a number of minutes from 0.5 to 240.")
    clefs = table.get("clefs")
    if clefs is not None and (not isinstance(clefs, list) or not clefs or any(one not in CLEFS for one in clefs)):
        miss("clefs", f"clefs is {clefs!r}", 'Give a list such as ["bass", "tenor"]; also alto and treble.')
    if wrong:
        for line, what, try_ in wrong:
            add(line, what, try_)
        return None
    player = player_from(table, name, text, also=EXTRA_KEYS, nth=nth)
    if "name" not in table:
        player = replace(player, name=f"player {nth + 1} of the file")
    for key, value, inner, outside in (("extreme_low", low, player.low, 1), ("extreme_high", high, player.high, -1)):
        if value is not None and inner is not None and (value - inner) * outside > 0:
            bare = key.removeprefix("extreme_")
            add(reader.line(key), f"{key} lies inside {bare}", f"Exchange the two, or leave {key} out.")
            return None
    level = player.level if "level" in table else None
    return Member(player=player, horns=horns, keeps=keeps, level=level, extreme_low=low,
                  extreme_high=high, endurance_s=minutes * 60.0 if minutes is not None else None,
                  clefs=tuple(clefs) if clefs is not None else None)


def _word(table: dict[str, Any], key: str, words: tuple[str, ...], miss: _Miss) -> str | None:
    value = table.get(key)
    if value is not None and value not in words:
        listed = ", ".join(f'"{word}"' for word in words)
        miss(key, f"{key} is {value!r}", f"Give one of {listed}.")
        return None
    return value


def _pitch(table: dict[str, Any], key: str, miss: _Miss) -> int | None:
    value = table.get(key)
    if value is None:
        return None
    try:
        return parse_pitch(value).midi
    except (ValueError, AttributeError, TypeError):
        miss(key, f"{key} is {value!r}", 'Give a sounding pitch such as "F3".')
        return None


def _horns(value: Any, key: str, line: int, folder: Path, add: _Add) -> tuple[Horn, ...]:
    """Load a list of horn names or files (a file is looked for beside the section file first)."""
    if not isinstance(value, list) or not value or not all(isinstance(one, str) and one.strip() for one in value):
        add(line, f"{key} is {value!r}", 'Give a list of horns such as ["tenor", "tenor-f"].')
        return ()
    horns: list[Horn] = []
    for given in dict.fromkeys(one.strip() for one in value):
        beside = folder / given
        try:
            horns.append(load_horn(str(beside) if given.endswith(".toml") and beside.is_file() else given))
        except Unreadable as error:
            add(line, f"{key}: {error.problem.what}" if given in error.problem.what
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
