"""Pins, players and sections: as the page holds them and as the command line's files, through the same readers."""

from collections.abc import Collection, Iterable, Mapping
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

from analyzer.horns.profiles import horn_names
from analyzer.marking.pins import Pin, PinnedPart, missing_line, part_of, pins_file, read_pins_file
from analyzer.plan.player import KEYS, player_of_file
from analyzer.problem import Problem, Unreadable, unreadable
from analyzer.report.plain import FIELD_NAMES, of_field, plain, plain_line
from analyzer.score.document import Document
from analyzer.score.lines import Line
from analyzer.score.parts import find_parts
from analyzer.section.section import EXTRA_KEYS, Section, section_from
from analyzer.selection import attack, part_lines
from analyzer.toml_file import Table, parse_table, toml_value
from analyzer.web.asked import PinnedNote
from analyzer.web.state import nths

MAX_TOML_BYTES = 64 * 2**10
"""Most that a section or player file may have; judged: a band of a hundred with every key has a third of it."""
MOST_PLAYERS = 60
"""Judged: no school has so many low brass; thirty and a hundred and twenty refuse and take the same real bands."""
_MOST_KEYS = 40
NONE: Mapping[str, str] = MappingProxyType({})
_SECTION_HEAD = "# The low brass of a band, for  lowbrass fit SCORE --section THIS-FILE\n"
_PLAYER_HEAD = "# One player, for  lowbrass map SCORE --player THIS-FILE\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class Mistake:
    """One mistake of a section: its line, and the field of the form (player from 0, key), None where it is none's."""

    player: int | None
    key: str | None
    line: str

    def as_json(self) -> dict[str, Any]:
        """Return the mistake for the page."""
        return {"player": self.player, "key": self.key, "line": self.line}


def section_text(given: dict[str, Any], own: Collection[str] = ()) -> str:
    """Return the form of a section as a section file; horns of one's `own` as files beside it, which it says."""
    files = {name: f"{name}.toml" for name in own}
    found = sorted({name for one in _lists(given) for name in _names(one) if name in files})
    beside = "".join(f"# Beside it: {files[name]}, saved under My horns.\n" for name in found)
    text = _section_text(_renamed(given, files))[0]
    return text.replace(_SECTION_HEAD, _SECTION_HEAD + beside, 1)


def player_text(given: dict[str, Any]) -> str:
    """Return the form of a player as a player file."""
    return _PLAYER_HEAD + "\n[player]\n" + "".join(_rows(given, KEYS))


def check_form(given: object, own: Mapping[str, str] = NONE) -> tuple[Section | None, tuple[Mistake, ...]]:
    """Read the form of a section; return the section (None where a mistake stands in the way) and every mistake.

    `own` leads from the names of one's own horns to their files.

    Raises
    ------
    Unreadable
        If it is no form at all.
    """
    if not isinstance(given, dict) or not isinstance(given.get("players"), list) or not all(
            isinstance(player, dict) for player in given["players"]) or not set(given) <= {"players", "spare"}:
        raise unreadable("bad-question", where="section", what="must be players and spare horns",
                         try_="Load the page again.")
    text, places = _section_text(given)
    section, problems = _checked(parse_table(text, "section"), own)
    mistakes = []
    for problem in problems:
        player, key = places.get(_line_of(problem), (None, None))
        field = f", {FIELD_NAMES.get(key, plain(key))}" if key else ""
        where = "section" if player is None else f"player {player + 1}{field}"
        said = of_field(key or "", problem.what)
        mistakes.append(Mistake(player=player, key=key, line=f"{where}: {said}. {plain(problem.try_)}"))
    return section, tuple(mistakes)


def section_of(given: object, own: Mapping[str, str] = NONE) -> Section:
    """Read the form of a section; `own` as for `check_form`.

    Raises
    ------
    Unreadable
        With its first mistake, or if it is no form at all.
    """
    section, mistakes = check_form(given, own)
    if section is None:
        where, _, what = mistakes[0].line.partition(": ")
        more = f" ({len(mistakes) - 1} more below)" if len(mistakes) > 1 else ""
        raise unreadable("bad-section", where=where, what=what.rstrip("."), try_=f"Mend it in the form{more}.")
    return section


def read_section_file(text: str, name: str, own: Mapping[str, str] = NONE) -> dict[str, Any]:
    """Read the text of a section file into a form; a horn file is never looked for, but known by its name in `own`.

    Raises
    ------
    Unreadable
        With the first mistake of the file and its line.
    """
    top = parse_table(text, name)
    section, problems = _checked(top, {f"{horn}.toml": path for horn, path in own.items()})
    if section is None:
        raise Unreadable(problems[0])
    form = {"players": top.data["player"], "spare": top.data.get("spare", [])}
    return _renamed(form, {f"{horn}.toml": horn for horn in own})


def read_player_file(text: str, name: str) -> dict[str, Any]:
    """Read the text of a player file into a form.

    Raises
    ------
    Unreadable
        As for `plan.player.read_player`.
    """
    top = parse_table(text, name)
    if any(isinstance(value, dict) and len(value) > _MOST_KEYS for value in top.data.values()):
        raise unreadable("bad-key", where=name, what="it has more keys than a player has", try_="Check the file.")
    player_of_file(top)
    table: dict[str, Any] = top.data.get("player", {})
    # The form holds one table: how large music is printed goes along in it, as in a section.
    return {**table, "stave": top.data["stave"]} if "stave" in top.data else table


def _checked(top: Table, own: Mapping[str, str]) -> tuple[Section | None, tuple[Problem, ...]]:
    """Read a section by its own reader, once nothing in it can send that reader to other files or take long."""
    players = top.data.get("player", [])
    tables = [player for player in players if isinstance(player, dict)] if isinstance(players, list) else []
    if len(tables) > MOST_PLAYERS or len(top.data) > _MOST_KEYS or any(len(table) > _MOST_KEYS for table in tables):
        problem = unreadable("bad-section", where=top.file, what=f"it has more than {MOST_PLAYERS} players or "
                             f"{_MOST_KEYS} keys a player", try_="Leave out those who do not play the low brass.")
        return None, (problem.problem,)
    known = {*horn_names(), *own}
    strange = [top.problem("spare", *_strange(name), code="bad-section").problem
               for name in _names(top.data.get("spare")) if name not in known]
    for nth, player in enumerate(tables):
        table = Table(player, text=top.text, file=top.file, heading="player", nth=nth)
        strange += [table.problem("horns", *_strange(name), code="bad-section").problem
                    for name in _names(player.get("horns")) if name not in known]
    if strange:
        return None, tuple(strange)
    data = deepcopy(top.data)
    for player in (one for one in (data["player"] if tables else ()) if isinstance(one, dict) and "horns" in one):
        player["horns"] = _told(player["horns"], own)
    if "spare" in data:
        data["spare"] = _told(data["spare"], own)
    return section_from(Table(data, text=top.text, file=top.file))


def _lists(form: dict[str, Any]) -> list[object]:
    """Return every list of horns in a form."""
    return [form.get("spare"), *(player.get("horns") for player in form["players"])]


def _renamed(form: dict[str, Any], names: Mapping[str, str]) -> dict[str, Any]:
    """Return a form whose horns have other names."""
    return {**form, "spare": _told(form.get("spare"), names),
            "players": [{**player, **({"horns": _told(player["horns"], names)} if "horns" in player else {})}
                        for player in form["players"]]}


def _told(horns: object, names: Mapping[str, str]) -> object:
    return [names.get(name.strip(), name) if isinstance(name, str) else name for name in horns] \
        if isinstance(horns, list) else horns


def _names(value: object) -> Iterable[str]:
    return [name.strip() for name in value if isinstance(name, str)] if isinstance(value, list) else []


def _strange(name: str) -> tuple[str, str]:
    return (f"the page has no horn '{name[:60]}'",
            "Choose one of its list; a horn file of your own is opened under My horns first.")


def _line_of(problem: Problem) -> int:
    number = problem.where.rpartition("line ")[2]
    return int(number) if number.isdigit() else 0


def _section_text(given: dict[str, Any]) -> tuple[str, dict[int, tuple[int | None, str | None]]]:
    """Return the file, and which field (player from 0, key) stands on which of its lines."""
    lines = [_SECTION_HEAD]
    places: dict[int, tuple[int | None, str | None]] = {}
    for row in _rows({"spare": given.get("spare")}, ("spare",)):
        lines += ["\n", row]
        places[3] = (None, "spare")
    for nth, player in enumerate(given["players"]):
        lines += ["\n", "[[player]]\n"]
        places[len(lines)] = (nth, None)
        known = (*KEYS[:1], *EXTRA_KEYS, *KEYS[1:])
        for row in _rows(player, (*known, *(key for key in player if key not in known))):
            lines.append(row)
            places[len(lines)] = (nth, row.partition(" = ")[0].strip('"'))
    return "".join(lines), places


def _rows(table: dict[str, Any], keys: Iterable[str]) -> list[str]:
    """Write the keys that have a value, a line each. An empty list has one only where it says: nothing learned yet."""
    return [f"{key if key.isidentifier() and key.isascii() else toml_value(key)} = {toml_value(table[key])}\n"
            for key in keys if table.get(key) not in (None, "") and (table[key] != [] or key == "learned")]


def pins_text(document: Document, pins: tuple[PinnedNote, ...]) -> str:
    """Return the pins of the page as a pins file; those of notes that the score lacks are left out.

    Raises
    ------
    Unreadable
        If nothing is pinned.
    """
    parts = []
    for part in find_parts(document)[0]:
        mine = [pin for pin in pins if pin.part == part.id]
        if not mine:
            continue
        held = {(pin.line, pin.ref): pin.label for pin in mine}
        written = [Pin(measure=note.measure, nth=nth, label=held[line.number, note.refs[0]],
                           line=line.number if line.of > 1 else None)
                   for line in part_lines(document, part)[0] for note, nth in zip(line.notes, nths(line), strict=True)
                   if (line.number, note.refs[0]) in held]
        parts.append(PinnedPart(id=part.id, name=part.full_name or part.name, pins=tuple(written)))
    if not parts:
        raise unreadable("no-pins", where=document.name, what="nothing is chosen by you yet",
                         try_="Click a note and choose how to play it.")
    return pins_file(parts)


def read_pins(document: Document, text: str, name: str) -> dict[str, Any]:
    """Return the pins of a pins file for the page, and a line for each that this score has no note for.

    Raises
    ------
    Unreadable
        If the file is none, or not one of its pins belongs here.
    """
    given = read_pins_file(parse_table(text, name))
    parts = find_parts(document)[0]
    lines: dict[str, tuple[Line, ...]] = {}
    pins: list[dict[str, Any]] = []
    missed: list[str] = []
    for pinned in given:
        part = part_of(pinned, parts)
        if part is None:
            missed.append(f"{name}: this score has no part '{pinned.name or pinned.id}'.")
            continue
        if part.id not in lines:
            lines[part.id] = part_lines(document, part)[0]
        for pin in pinned.pins:
            try:
                pins.append({"part": part.id, **_placed(lines[part.id], pinned, pin, name)})
            except Unreadable as error:
                missed.append(plain_line(error.problem))
    if not pins:
        raise unreadable("bad-pin", where=name, what="none of its choices belongs to this score",
                         try_="Open the score that they were made for first.")
    return {"pins": pins, "missed": missed}


def _placed(lines: tuple[Line, ...], part: PinnedPart, pin: Pin, name: str) -> dict[str, Any]:
    number = pin.line or 1
    if not 1 <= number <= len(lines):
        raise missing_line(name, part, pin, len(lines))
    note = lines[number - 1].notes[attack(lines[number - 1], pin.measure, pin.nth)]
    return {"line": number, "ref": note.refs[0], "label": pin.label, "measure": pin.measure, "nth": pin.nth,
            "written": note.written.pretty}


def sample_section(folder: Path | None) -> dict[str, Any] | None:
    """Return the invented section as a form, None where there is none."""
    path = None if folder is None else folder / "section.toml"
    if path is None or not path.is_file():
        return None
    return read_section_file(path.read_text(encoding="utf-8"), path.name)
