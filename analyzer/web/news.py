"""What is new since the last answer, so that a pin sends and draws a few notes and not the whole part."""

from time import perf_counter
from typing import Any

from analyzer.marking.mark import Mark
from analyzer.web.asked import Asked, Standing
from analyzer.web.sessions import Session
from analyzer.web.work import Pinned, Told, answer, marks_of, pinned_for


def answer_since(session: Session, asked: Asked, standing: Standing) -> tuple[dict[str, Any], str]:
    """Return the answer to a question less what stands on the page already, and how long its pieces took.

    Over `answer` it has ``name``, by which the page says what stands. Where the answer that stands is of the same line,
    horn and player, ``notes`` and ``ways`` are left out, and ``news`` has the notes that differ, by index. ``groups``
    are those of `new_layers` for the picture that stands, each to go in the place of the one with its id; None where
    there is no such picture or the marks do not fit into it, so that it must be engraved anew.

    The times are the value of a Server-Timing header: ``solve`` and ``marks``. [ms]

    Raises
    ------
    Unreadable
        As for `pinned_for`.
    """
    start_s = perf_counter()
    pinned = pinned_for(session, asked)
    before = _told(session, standing.answer, pinned)
    found = answer(session, asked, before)
    told = Told(pinned=pinned, notes=found["notes"], ways=found["ways"])
    if before:
        del found["notes"], found["ways"]
        found["news"] = {k: note for k, (note, old) in enumerate(zip(told.notes, before.notes, strict=True))
                         if note is not old and note != old}
    solved_s = perf_counter()
    groups = _groups(session, pinned, standing)
    times = f"solve;dur={1000 * (solved_s - start_s):.1f}, marks;dur={1000 * (perf_counter() - solved_s):.1f}"
    return {**found, "name": session.answered(told), "groups": groups}, times


def _told(session: Session, name: str, pinned: Pinned) -> Told | None:
    """Return a former answer where it is of the same notes, horn and player."""
    before = session.answers.get(name)
    return before if isinstance(before, Told) and before.pinned.one.planner is pinned.one.planner else None


def _groups(session: Session, pinned: Pinned, standing: Standing) -> tuple[str, ...] | None:
    places = session.pictures.get(standing.picture)
    if places is None:
        return None
    from analyzer.engrave.engrave import new_layers

    shown = session.answers.get(standing.marks)
    before: tuple[Mark, ...] | None = marks_of(shown.pinned) if isinstance(shown, Told) else None
    return new_layers(places, marks_of(pinned), before)
