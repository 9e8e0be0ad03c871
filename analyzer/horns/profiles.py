"""Horn profiles: TOML files, those that come with the project and those of users."""

import re
from functools import cache
from pathlib import Path
from typing import cast

from analyzer.evidence import ORIGINS, Evidence, Origin
from analyzer.horns.horn import (
    Family,
    Handling,
    Horn,
    Instrument,
    Loop,
    Offset,
    Printed,
    Quantity,
    Side,
    Statement,
    Valves,
)
from analyzer.horns.tubing import HIGHEST_PARTIAL, loop_share
from analyzer.pitch import parse_pitch
from analyzer.problem import unreadable
from analyzer.toml_file import Table, parse_table, read_table
from analyzer.words import valves_text

DATA = Path(__file__).parent / "data"
SCHEMA = 1
SLIDE_ENDS_MM = (100, 1200)
"""How far out the end of a slide may lie. [mm]"""

_NAMES = (
    "alto", "tenor", "tenor-f", "bass-single", "bass-independent", "bass-dependent", "euphonium-3", "euphonium-4",
    "euphonium-3-compensating", "euphonium-4-compensating", "baritone-3",
)
_INSTRUMENTS = ("trombone", "bass trombone", "euphonium", "baritone")


def horn_names() -> tuple[str, ...]:
    """Return the names of the horns that come with the project, trombones first."""
    return _NAMES


def profile_path(name_or_path: str) -> Path:
    """Return the TOML file behind a horn's name or path.

    Raises
    ------
    Unreadable
        If it is neither a name of `horn_names` nor looks like a path.
    """
    if name_or_path in _NAMES:
        return DATA / f"{name_or_path}.toml"
    path = Path(name_or_path)
    if path.suffix != ".toml" and not path.is_file():
        from difflib import get_close_matches  # not paid for where the name is right

        near = get_close_matches(name_or_path.lower(), _NAMES, n=1)
        meant = f"Perhaps {near[0]} is meant? " if near else ""
        raise unreadable(
            "unknown-horn", where="horn", what=f"there is no horn '{name_or_path}'",
            try_=f"{meant}Take one of {', '.join(_NAMES)}, or the path of a .toml file.",
        )
    return path


def load_horn(name_or_path: str) -> Horn:
    """Return the horn of a name or of a TOML file of the same form.

    Raises
    ------
    Unreadable
        If the name is unknown, or the file missing, no TOML, or no horn; with one problem that says where.
    """
    if name_or_path in _NAMES:
        return _known_horn(name_or_path)
    return horn_from_table(read_table(profile_path(name_or_path), name_or_path))


@cache
def _known_horn(name: str) -> Horn:
    return horn_from_table(read_table(profile_path(name), f"{name}.toml"))


def data_digest() -> str:
    """Return a digest of the data of the horns that come with the project."""
    import hashlib  # not paid for by a plan

    return hashlib.sha256(b"\0".join(profile_path(name).read_bytes() for name in _NAMES)).hexdigest()


def horn_from_text(text: str, shown: str) -> Horn:
    """Return the horn that TOML text describes; `shown` names its file in problems.

    Raises
    ------
    Unreadable
        As `load_horn`.
    """
    return horn_from_table(parse_table(text, shown))


def horn_from_table(top: Table) -> Horn:
    """Return the horn that a parsed profile describes.

    Raises
    ------
    Unreadable
        If a key is missing, unknown, of the wrong type or out of range.
    """
    if top.take("schema", int) != SCHEMA:
        raise top.problem("schema", "this profile is of another form", f"Write schema = {SCHEMA}.")
    name = top.take("name", str)
    if not re.fullmatch(r"[\w.+-]+", name):
        raise top.problem("name", f"the name is '{name}'", "Use letters, digits and - only, such as my-tenor.")
    family = cast(Family, top.word("family", ("slide", "valves")))
    loops = _attachments(top) if family == "slide" else _valves(top)
    names = tuple(loop.name for loop in loops)
    lip = top.table("lip")
    lip_evidence = _evidence(lip)
    master, master_evidence = _master(top, loops)
    horn = Horn(
        name=name,
        family=family,
        kind=cast(Instrument, top.word("instrument", _INSTRUMENTS)),
        description=top.take("description", str),
        fundamental_midi=_fundamental(top),
        tube=_quantity(top.table("tube"), "length_mm", 500, 6000),
        slide_end=_quantity(top.table("slide"), "end_mm", *SLIDE_ENDS_MM) if family == "slide" else None,
        lip_reach=Quantity(value=lip.number("reach_cents", 0, 50), evidence=lip_evidence),
        flat_limit=Quantity(value=lip.number("flat_limit_cents", 0, 60), evidence=lip_evidence),
        sharp_limit=Quantity(value=lip.number("sharp_limit_cents", 0, 120, 0.0), evidence=lip_evidence),
        loops=loops,
        master=master,
        master_evidence=master_evidence,
        offsets=tuple(_offset(table, names) for table in top.tables("offset")),
        printed=tuple(_printed(table, names) for table in top.tables("printed")) if family == "valves" else (),
        handling=_handling(top.table("handling")),
    )
    lip.done()
    top.done()
    return horn


def _evidence(table: Table) -> Evidence:
    kind = cast(Origin, table.word("kind", ORIGINS))
    source, why = table.take("source", str, ""), table.take("why", str, "")
    if kind == "cited" and not source:
        raise table.problem("kind", f"[{table.heading}] is cited without a source", 'Add source = "..."')
    if kind != "cited" and not why:
        raise table.problem("kind", f"[{table.heading}] is {kind} without a reason", 'Add why = "..."')
    return Evidence(kind=kind, source=source, why=why, range=table.take("range", str, ""))


def _quantity(table: Table, key: str, low: float, high: float) -> Quantity:
    quantity = Quantity(value=table.number(key, low, high), evidence=_evidence(table))
    table.done()
    return quantity


def _statement(table: Table) -> Statement:
    statement = Statement(text=table.take("text", str), evidence=_evidence(table))
    table.done()
    return statement


def _fundamental(top: Table) -> int:
    text = top.take("fundamental", str)
    try:
        midi = parse_pitch(text).midi
    except ValueError as error:
        raise top.problem("fundamental", str(error), "It is the sounding pedal in first position.") from None
    if not 20 <= midi <= 60:
        raise top.problem("fundamental", f"the fundamental is {text}", "Give the pedal note, such as Bb1.")
    return midi


def _attachments(top: Table) -> tuple[Loop, ...]:
    loops: list[Loop] = []
    for table in top.tables("attachment"):
        name, needs = table.word("name", ("T", "S")), table.take("needs", str, "")
        if name in {loop.name for loop in loops}:
            raise table.problem("name", f"the attachment {name} is there twice", "Name the first T, the second S.")
        before = next((loop for loop in loops if loop.name == needs), None)
        if needs and before is None:
            raise table.problem("needs", f"{name} needs '{needs}', which comes not before it", 'Write needs = "T".')
        semitones, flat = int(table.number("semitones", 1, 12)), table.number("flat_cents", -60, 60, 0.0)
        loops.append(Loop(
            name=name, share=loop_share(semitones, flat, on_share=before.share if before else 0.0),
            semitones=semitones, flat_cents=flat, needs=needs, evidence=_evidence(table),
        ))
        table.done()
    if [loop.name for loop in loops] not in ([], ["T"], ["T", "S"]):
        raise top.problem("attachment", "the first attachment is not named T", 'Write name = "T" under the first.')
    return tuple(loops)


def _valves(top: Table) -> tuple[Loop, ...]:
    loops = []
    for nth, table in enumerate(top.tables("valve"), start=1):
        name = table.word("name", (str(nth),))
        share = table.number("adds_percent", 1, 100) / 100
        semitones = int(table.number("semitones", 1, 12))
        second = None
        if table.has("second_percent"):
            second = table.number("second_percent", 0, 50) / 100
            if not top.has("compensation"):
                raise table.problem("second_percent", f"valve {name} has a second loop, but nothing compensates",
                                    "Add [compensation] with the valve whose tube it belongs to.")
        loops.append(Loop(
            name=name, share=share, semitones=semitones, flat_cents=0.0, needs="", evidence=_evidence(table),
            second_share=second,
        ))
        table.done()
    if not 3 <= len(loops) <= 4:
        raise top.problem("valve", f"there are {len(loops)} valves", "Describe 3 or 4, each under [[valve]].")
    return tuple(loops)


def _master(top: Table, loops: tuple[Loop, ...]) -> tuple[str, Evidence | None]:
    if not top.has("compensation"):
        return "", None
    table = top.table("compensation")
    master, evidence = table.word("valve", tuple(loop.name for loop in loops)), _evidence(table)
    if any(loop.name == master and loop.second_share is not None for loop in loops):
        raise table.problem("valve", f"valve {master} has second_percent, but the second loops are the others'",
                            f"Take second_percent out under valve {master}.")
    table.done()
    return master, evidence


def _held(table: Table, key: str, names: Valves) -> Valves:
    text = table.take(key, str)
    held = () if text == "0" else tuple(text.split("-"))
    if held != tuple(name for name in names if name in held):
        raise table.problem(
            key, f"{key} is '{text}'", f"Write 0 for open, or valves of {', '.join(names)} in order, such as "
            f"{valves_text(names[:2])}.",
        )
    return held


def _offset(table: Table, names: Valves) -> Offset:
    every = table.has("valves") and table.take("valves", str) == "every"
    offset = Offset(
        valves=None if every else _held(table, "valves", names), partials=table.numbers("partials", 1, HIGHEST_PARTIAL),
        cents=table.number("cents", -60, 60), evidence=_evidence(table),
    )
    table.done()
    return offset


def _printed(table: Table, names: Valves) -> Printed:
    printed = Printed(
        down=int(table.number("down", 0, 12)), valves=_held(table, "valves", names), evidence=_evidence(table),
    )
    table.done()
    return printed


def _handling(table: Table) -> Handling:
    bore, weight = table.table("bore"), table.table("weight")
    layout = table.table("layout")
    handling = Handling(
        bore_mm=_quantity(bore, "mm", 5, 30),
        weight_kg=_quantity(weight, "kg", 0.3, 15),
        left_hand_carries=_statement(table.table("left_hand_carries")),
        left_hand_works=_statement(table.table("left_hand_works")),
        fourth_valve=cast(Side, layout.word("fourth_valve", ("", "right hand", "left side"), "")),
        valve_type=layout.word("valve_type", ("", "rotary", "piston"), ""),
        main_slide_trigger=layout.take("main_slide_trigger", bool, False),
        evidence=_evidence(layout),
    )
    layout.done()
    table.done()
    return handling
