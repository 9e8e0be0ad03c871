"""Lists as a sentence says them."""

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
