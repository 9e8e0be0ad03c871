"""The choices of one note, as the page shows them: what each costs, where it lies, what it does to the way."""

from collections.abc import Mapping
from typing import Any

from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import candidates
from analyzer.horns.horn import Horn
from analyzer.pitch import HEARD_CENTS
from analyzer.plan.plan import PlannedNote
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner, allowed_choices
from analyzer.words import cents_text, shown

_ORDINALS = {1: "1st", 2: "2nd", 3: "3rd"}


def ways_of(horn: Horn, player: Player, midi: int) -> list[dict[str, Any]]:
    """Return every way to sound a pitch, with one line on each; `against` says why the plan itself leaves it out."""
    allowed = allowed_choices(horn, player, midi)
    return [
        {"label": one.label, "shown": shown(one.label), "detail": detail(one),
         "against": "" if one in allowed else _against(horn, player, one)}
        for one in candidates(horn, midi)
    ]


def detail(one: Candidate) -> str:
    """Return partial, place and tuning of a choice in a few words."""
    said = [f"{_ORDINALS.get(one.partial, f'{one.partial}th')} partial" + (" (pedal)" if one.partial == 1 else "")]
    if one.extension_mm is not None:
        said.append("slide all the way in" if one.extension_mm < 1 else f"slide {one.extension_mm / 10:.0f} cm out")
    cents = abs(one.off_cents)
    said.append("in tune" if cents <= HEARD_CENTS else
                cents_text(one.off_cents))
    return ", ".join(said)


def _against(horn: Horn, player: Player, one: Candidate) -> str:
    if (one.extension_mm or 0.0) > player.reach_on(horn):
        return "beyond this player's reach"
    if not player.knows(one.valves):
        return "valves not learned yet"
    return one.advice or "attachment above its ceiling"


def priced(planner: Planner, pins: Mapping[int, str], index: int, pinned: PlannedNote, cost: float,
           ) -> list[tuple[str, float]]:
    """Price the choices of a pinned note as if its own pin were not there: (label, extra cost), best first."""
    free = planner.plan({k: label for k, label in pins.items() if k != index})
    prices = dict(of_note(free.notes[index]))
    if pinned.choice is not None:
        prices.setdefault(pinned.choice.label, max(0.0, cost - free.cost))
    return sorted(prices.items(), key=lambda item: item[1])


def of_note(note: PlannedNote) -> list[tuple[str, float]]:
    """Return (label, extra cost) of the choices that the plan weighed, best first."""
    if note.choice is None:
        return []
    return [(note.choice.label, 0.0), *((other.choice.label, other.extra_cost) for other in note.alternatives)]
