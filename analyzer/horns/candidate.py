"""One way to sound one pitch on one horn."""

from dataclasses import dataclass, field

from analyzer.words import valves_text


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One way to sound one pitch: what is held, which partial, where the slide stands.

    `valves` is in playing order: ``T`` and ``S`` on a trombone, ``1`` to ``4`` on a valved horn, ``()`` when open.
    `position` counts in the scale of the valve state held, from 1; None on a horn without a slide.
    `shade` is ``#`` (a little in), ``b`` (a little out) or empty. `extension_mm` is how far the slide is out
    [mm, from 0]; None without a slide. `off_cents` is sounding minus equal temperament after the slide has done
    what it can [cents]. `label` is in ASCII: ``1``, ``2#``, ``T2``, ``TS1`` with a slide; ``0``, ``1-2`` with valves.
    `advice` says why a choice is possible but not recommended, else None.
    Where a chord asks for another place, that is `target_cents` above equal temperament: `off_cents` then counts from
    there, and the slide stands `shift_mm` from where it would stand (+ out) [mm].
    """

    midi: int
    valves: tuple[str, ...]
    partial: int
    position: int | None
    shade: str
    extension_mm: float | None
    off_cents: float
    advice: str | None = None
    target_cents: float = 0.0
    shift_mm: float = 0.0
    label: str = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        label = valves_text(self.valves) if self.position is None else (
            f"{''.join(self.valves)}{self.position}{self.shade}")
        object.__setattr__(self, "label", label)       # plans ask for it many times over
