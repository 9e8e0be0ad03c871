"""How large and how heavy a player wants printed music: the table ``[stave]`` of a player file.

People with low vision ask for notation set for their eyes, not for an enlarged page: each of size, weight, distance and
place has its own key (UK Association for Accessible Formats, G009 *Modified Stave Notation*).
"""

from dataclasses import dataclass
from typing import Literal

from analyzer.toml_file import Table

USUAL_MM = 7.2
"""Height of a staff on our pages where nothing is told. [mm]"""
Dynamics = Literal["printed", "above"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stave:
    """Sizes of printed music; the defaults are the usual page.

    `staff_mm` is the height of a staff from its lowest to its highest line [mm], 5 to 25. The others are factors on the
    usual proportions: `lines` the weight of thin lines (0.7 to 2), `systems` the room below a system (1 to 3), `text`
    marks and words against the staff (0.8 to 2), `room` the distance from note to note (1 to 3). `dynamics` ``above``
    puts dynamics and hairpins above the staff, away from the marks under the notes.
    """

    staff_mm: float = USUAL_MM
    lines: float = 1.0
    systems: float = 1.0
    text: float = 1.0
    room: float = 1.0
    dynamics: Dynamics = "printed"


USUAL_STAVE = Stave()


def stave_from(table: Table) -> Stave:
    """Take the keys of a stave from its table.

    Raises
    ------
    Unreadable
        If a key is unknown or a value out of its range (where the table gathers no mistakes).
    """
    stave = Stave(
        staff_mm=float(table.number("staff_mm", 5, 25, USUAL_MM, unit=" mm, the height of a staff")),
        lines=float(table.number("lines", 0.7, 2, 1.0, unit=" times the usual weight")),
        systems=float(table.number("systems", 1, 3, 1.0, unit=" times the usual room")),
        text=float(table.number("text", 0.8, 2, 1.0, unit=" times the usual size")),
        room=float(table.number("room", 1, 3, 1.0, unit=" times the usual distance")),
        dynamics=table.word("dynamics", ("printed", "above"), "printed"))
    table.done()
    return stave
