"""What cents and mm of a horn rest on, said beside them: the harmonic series, or readings of one's own horn."""

from collections.abc import Sequence
from typing import Any

from analyzer.horns.horn import Horn
from analyzer.tuning.typical import measured, others_cents, place_measured, published_sevenths, seventh_mm, spreads

_ORDINALS = {5: "fifth", 6: "sixth"}
_KIND = {"slide": "trombones", "valves": "euphoniums"}


def basis(horn: Horn) -> str:
    """Return what cents beside its notes are of: ``your horn`` or ``harmonic series``."""
    return "your horn" if measured(horn) else "harmonic series"


def cents_json(horn: Horn) -> dict[str, Any]:
    """Return what cents rest on, and where real horns were found, by partial."""
    return {
        "from": basis(horn),
        "partials": [] if measured(horn) else [
            {"partial": one.partial, "low_cents": one.low, "high_cents": one.high, "sources": one.sources,
             "horns": one.horns or None, "stands_on": one.stands_on, **one.evidence.as_json()}
            for one in spreads(horn.family)],
        "others_cents": None if measured(horn) else others_cents(),
    }


def slide_json(horn: Horn) -> dict[str, Any] | None:
    """Return what places of the slide rest on; None without a slide."""
    if horn.family != "slide":
        return None
    place, published = seventh_mm(horn), published_sevenths(horn)
    return {"measured": place_measured(horn), "seventh_mm": None if place is None else round(place, 1),
            "published_mm": None if published is None else list(published)}


def cents_said(horns: Sequence[Horn]) -> str:
    """Say what the cents of these horns rest on, and how far real horns were found from it."""
    ideal = [horn for horn in horns if not measured(horn)]
    if not ideal:
        return "Cents are those of your horn, as it was read from a tuner."
    said = ["Cents are those of the harmonic series, not of a horn that was measured."]
    for family in dict.fromkeys(horn.family for horn in ideal):
        for one in spreads(family):
            said.append(f"On real {_KIND[family]} the {_ORDINALS[one.partial]} partial was found from "
                        f"{_cents(one.low)} to {_cents(one.high)} ({one.stands_on}).")
    said.append(f"Other partials may lie about {others_cents():.0f} cents off, judged. Your own: lowbrass tune sheet.")
    return " ".join(said)


def slide_said(horns: Sequence[Horn]) -> str:
    """Ask for one measured place where places of the slide are those of a profile; empty without such a slide."""
    said = next(filter(None, map(slide_supposed, horns)), "")
    return (f"{said}. Measure one place of your slide once and write it into the player file, such as "
            'measured = "C3 6 496mm".') if said else ""


def slide_supposed(horn: Horn) -> str:
    """Say where the slide is taken to be and where published ones are; empty without a slide, or one measured."""
    place, published = seventh_mm(horn), published_sevenths(horn)
    if place is None or published is None or place_measured(horn):
        return ""
    return (f"Slide: not measured; seventh position is taken at {place:.0f} mm, published ones lie from "
            f"{published[0]:.0f} to {published[1]:.0f}")


def _cents(cents: float) -> str:
    if not round(cents):
        return "in tune"
    return f"{abs(cents):.0f} cents {'sharp' if cents > 0 else 'flat'}"
