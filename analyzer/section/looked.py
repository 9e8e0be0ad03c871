"""What a fit looked at for each player, what nobody told it, and what a director would object to first."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from analyzer.horns.horn import Horn
from analyzer.section.cover import is_cover
from analyzer.section.seating import Chair, leading
from analyzer.section.section import Member

About = Literal["horns", "horns and players"]
ReservationCode = Literal["no-bass-trombone", "bass-on-first", "not-its-kind", "cover"]
SPEEDS = ("max_speed_mm_s", "slide_acceleration_m_s2", "tongue_notes_s", "slur_notes_s", "valve_notes_s")
"""What a player may tell of how fast he or she is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """What was `checked` of one player on one horn, by name, and what the file did not tell."""

    checked: tuple[str, ...]
    not_told: tuple[str, ...]

    @property
    def hands(self) -> bool:
        """Whether anything of this player, and not of the horn alone, bounded which notes can be played."""
        return "range" in self.checked or "reach" in self.checked


@dataclass(frozen=True, slots=True, kw_only=True)
class Reservation:
    """Something that belongs to the verdict itself: a chair that is filled otherwise than the part asks."""

    code: ReservationCode
    chair: Chair
    player: str | None
    what: str


def looked_at(member: Member, horn: Horn | None) -> Looked:
    """Say what a seat's burden rested on: the horn (or instrument) always, the rest as far as the file told it."""
    player = member.player
    low = player.low is not None or member.extreme_low is not None
    high = player.high is not None or member.extreme_high is not None
    told = {"range": low or high}
    if horn is None:
        return _looked("instrument", {**told, "clefs": member.clefs is not None}, low=low, high=high)
    if horn.family == "slide":
        told["reach"] = player.reach_mm is not None or player.outermost_position is not None
    told["speed"] = any(getattr(player, name, None) is not None for name in SPEEDS)
    told["states"] = player.learned is not None or bool(player.cannot)
    told["clefs"] = member.clefs is not None
    told["endurance"] = member.endurance_s is not None
    return _looked("horn", told, low=low, high=high)


def _looked(first: str, told: Mapping[str, bool], *, low: bool, high: bool) -> Looked:
    half = () if low == high else ("lowest note",) if high else ("highest note",)
    return Looked(checked=(first, *(name for name, known in told.items() if known)),
                  not_told=(*(name for name, known in told.items() if not known), *half))


def about(seats: Sequence[Looked]) -> About:
    """Say whether a verdict speaks of players too: only where range or reach of everybody seated is told."""
    return "horns and players" if seats and all(seat.hands for seat in seats) else "horns"


def reservations(chairs: Sequence[Chair], seats: Sequence[tuple[Member, Horn | None] | None],
                 ) -> tuple[Reservation, ...]:
    """Return what a director would object to first, in the order of the chairs; `seats` as the chairs, None: empty.

    A seat without a horn is an instrument's.
    """
    found: list[Reservation] = []
    for i, (chair, seat) in enumerate(zip(chairs, seats, strict=True)):
        family = chair.line.family
        if seat is None:
            if family == "bass trombone" and chair.same_as is None:
                found.append(Reservation(code="no-bass-trombone", chair=chair, player=None,
                                         what=f"{chair.title}, a bass trombone part, has no player"))
            continue
        member, horn = seat
        if horn is None or is_cover(horn, family):
            played = horn.name if horn is not None else member.plays[0]
            found.append(Reservation(
                code="no-bass-trombone" if family == "bass trombone" else "cover", chair=chair, player=member.name,
                what=f"{member.name} covers {chair.title}, a {family} part, on {played}"))
        elif family == "bass trombone" and horn.kind != family:
            found.append(Reservation(
                code="no-bass-trombone", chair=chair, player=member.name,
                what=f"{chair.title} is a bass trombone part, and {member.name} plays it on {horn.name}"))
        elif family == "trombone" and leading(chairs, i) and (
                member.dedicated == "bass trombone" or horn.kind == "bass trombone"):
            found.append(Reservation(
                code="bass-on-first", chair=chair, player=member.name,
                what=f"{member.name}, a bass trombonist, plays the first part ({chair.title}) on {horn.name}"
                if member.dedicated == "bass trombone" else
                f"{member.name} plays the first part ({chair.title}) on a bass trombone ({horn.name})"))
        elif family != "other" and horn.kind != family:
            found.append(Reservation(
                code="not-its-kind", chair=chair, player=member.name,
                what=f"{chair.title} is a {family} part, and {member.name} plays it on a {horn.kind} ({horn.name})"))
    return tuple(found)
