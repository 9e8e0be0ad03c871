"""Numbers, tuning, labels, measures and lists, as a sentence says them: each in this one place."""

from collections.abc import Sequence


def counted(number: int, noun: str) -> str:
    """Return a number with its noun, in the plural but for one.

    Examples
    --------
    >>> counted(1, "mark"), counted(4, "mark")
    ('1 mark', '4 marks')
    """
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


def first_few(words: Sequence[str], most: int, *, mark: str = ", ") -> str:
    """Return the first `most` words with commas (or another mark), and how many are left.

    Examples
    --------
    >>> first_few(["a", "b"], 2)
    'a, b'
    >>> first_few(["a", "b", "c"], 2)
    'a, b and 1 more'
    """
    more = f" and {len(words) - most} more" if len(words) > most else ""
    return mark.join(words[:most]) + more


def measures_named(places: Sequence[str], most: int = 8) -> str:
    """Return measures in words, each once, the first `most` by name; empty where there are none.

    Examples
    --------
    >>> measures_named(["41a", "41a"])
    'measure 41a'
    >>> measures_named(["3", "5", "3", "9"], 2)
    'measures 3, 5 and 1 more'
    """
    different = list(dict.fromkeys(places))
    return f"measure{'s' if len(different) > 1 else ''} {first_few(different, most)}" if different else ""


def measures_short(places: Sequence[str], most: int = 12) -> str:
    """Return measures as an edition names them, each once; how often one comes stands in brackets.

    Examples
    --------
    >>> measures_short(["3"]), measures_short(["3", "5", "3"])
    ('m. 3', 'mm. 3 (2x), 5')
    """
    different = list(dict.fromkeys(places))
    times = [f"{place} ({places.count(place)}x)" if places.count(place) > 1 else place for place in different]
    return f"{'m.' if len(different) == 1 else 'mm.'} {first_few(times, most)}"


def listed(words: Sequence[str], last: str = "and") -> str:
    """Return words as a list in a sentence.

    Examples
    --------
    >>> listed(["a"]), listed(["a", "b"]), listed(["a", "b", "c"], "or")
    ('a', 'a and b', 'a, b or c')
    """
    return f" {last} ".join(filter(None, (", ".join(words[:-1]), *words[-1:])))


def agreeing(number: int, verb: str) -> str:
    """Return a verb as its number wants it: one note needs, two notes need.

    Examples
    --------
    >>> agreeing(1, "need"), agreeing(2, "need"), agreeing(1, "have")
    ('needs', 'need', 'has')
    """
    return ({"have": "has", "are": "is"}.get(verb) or f"{verb}s") if number == 1 else verb


def shown(label: str) -> str:
    """Return a label or a note's name as print shows it: ``2#`` as ``2♯``, ``Bb3`` as ``B♭3``."""
    return label.replace("#", "♯").replace("b", "♭")


def valves_text(valves: Sequence[str], none: str = "0") -> str:
    """Return valves held together, or `none` where none is held.

    Examples
    --------
    >>> valves_text(("1", "3")), valves_text(()), valves_text((), "open")
    ('1-3', '0', 'open')
    """
    return "-".join(valves) or none


def side(cents: float) -> str:
    """Return to which side of in tune a deviation lies."""
    return "sharp" if cents > 0 else "flat"


def cents_text(cents: float) -> str:
    """Return a deviation in whole cents with its side.

    Examples
    --------
    >>> cents_text(12.4), cents_text(-3)
    ('12 cents sharp', '3 cents flat')
    """
    return f"{abs(cents):.0f} cents {side(cents)}"


def signed(number: float, minus: str = "-") -> str:
    """Return a whole number with its sign, and 0 without one.

    Examples
    --------
    >>> signed(3.2), signed(-2.6, "−"), signed(-0.2)
    ('+3', '−3', '0')
    """
    return f"{round(number):+d}".replace("-", minus) if round(number) else "0"
