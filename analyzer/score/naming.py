"""Which low-brass family a printed name speaks of."""

from functools import cache
from itertools import pairwise
from typing import Literal, NamedTuple

from analyzer.score import vocabulary as v

PartFamily = Literal["trombone", "bass trombone", "euphonium", "baritone", "other"]


class NameReading(NamedTuple):
    """What a name says: `family` (None if nothing), how firmly (0 to 1), and whether it says bass, or tenor or alto."""

    family: PartFamily | None
    firm: float = 1.0
    high: bool = False


_NOTHING = NameReading(None, 0.0)


@cache
def read_name(text: str) -> NameReading:
    """Return what a part, group or instrument name (or an abbreviation) says.

    Examples
    --------
    >>> read_name("Bassposaune").family, read_name("B. Tbn.").family, read_name("Bar. Sax.").family
    ('bass trombone', 'bass trombone', 'other')
    >>> read_name("Trombe in C").family, read_name("1 2").family
    ('other', None)
    """
    words = _words(text)
    if not words:
        return _NOTHING
    if _tenor_tuba(words):
        return NameReading("euphonium")
    if tenor_horn(text) == "b-flat" or ("flicorno" in words and "tenore" in words):
        return NameReading("baritone")
    either = first_of_two(text)
    if either == "euphonium":
        return NameReading("euphonium")
    for index, word in enumerate(words):
        if word in v.BASS_TROMBONE_WORDS:
            return NameReading("bass trombone")
        if word in v.TROMBONE_WORDS or _has(word, _TROMBONE_STEMS):
            return _trombone(words, index)
    if any(word in v.EUPHONIUM_WORDS or _has(word, _EUPHONIUM_STEMS) for word in words):
        return NameReading("euphonium")
    if "saxhorn" in words or "flicorno" in words:
        if any(_has(word, _BARITONE_STEMS) for word in words):
            return NameReading("baritone")
        if any(word in v.BASS_WORDS for word in words):
            return NameReading("euphonium", 0.7)
    if any(word in _NOT_BRASS or _has(word, _SAX_STEMS) for word in words):
        return NameReading("other")
    full = any(_has(word, _BARITONE_STEMS) for word in words)
    if full or any(word in v.BARITONE_WORDS for word in words):
        helped = any(word in v.BRASS_HELPERS for word in words)
        sung = any(word in v.VOCAL_WORDS and len(word) > 1 for word in words)        # "Solo Baritone & Bass"
        return NameReading("baritone", 1.0 if helped else 0.7 if full and not sung else 0.35)
    if any(word in v.OTHER_WORDS or _has(word, _OTHER_STEMS) for word in words):
        return NameReading("other")
    if is_open(text):
        return NameReading("trombone", 0.7)
    if any(word in v.AMBIGUOUS for word in words):
        return NameReading("other", 0.45)
    return _NOTHING


def _tenor_tuba(words: tuple[str, ...]) -> bool:
    """Tell a tenor tuba, played on euphonium, from Wagner tubas: those are named so, or come in twos."""
    return not any(word.startswith("wagner") for word in words) and (
        "tenortuba" in words or ("tuba" in words and any(word in ("tenor", "tenore") for word in words)))


@cache
def tenor_horn(text: str) -> Literal["b-flat", "e-flat"] | None:
    """Return the key of a tenor horn by its name, None if it is none.

    One word is the German Tenorhorn in B flat, a baritone; two are the British tenor horn in E flat (common practice,
    no source), unless the name tells another key.
    """
    words = _words(text)
    one, two = any(word.startswith("tenorhorn") for word in words), "tenor" in words and "horn" in words
    if not one and not two:
        return None
    pairs = set(pairwise(words))
    if "eb" in words or "es" in words or "mib" in words or ("e", "flat") in pairs:
        return "e-flat"
    if "bb" in words or "sib" in words or ("b", "flat") in pairs or ("in", "b") in pairs:
        return "b-flat"
    return "b-flat" if one else "e-flat"


@cache
def first_of_two(text: str) -> PartFamily | None:
    """Return the first named of two, where a name leaves open whether trombone or euphonium plays; else None."""
    places: dict[PartFamily, int] = {}
    for index, word in enumerate(_words(text)):
        if word in v.TROMBONE_WORDS or _has(word, _TROMBONE_STEMS):
            places.setdefault("trombone", index)
        elif word in v.EUPHONIUM_WORDS or _has(word, _EUPHONIUM_STEMS):
            places.setdefault("euphonium", index)
    return next(iter(places)) if len(places) == 2 else None


@cache
def is_open(text: str) -> bool:
    """Tell whether a name is for any low brass: ``Low Brass``, or a flexible part in bass clef."""
    words = _words(text)
    pairs = set(pairwise(words))
    clef = "bc" in words or ("b", "c") in pairs or ("bass", "clef") in pairs
    return {"low", "brass"} <= set(words) or (clef and any(word in v.FLEXIBLE_WORDS for word in words))


@cache
def has_valves(text: str) -> bool:
    """Tell whether the name of a trombone says that it has valves."""
    return any(word in v.VALVE_WORDS or _has(word, v.VALVE_STEMS) for word in _words(text))


@cache
def is_brass(text: str) -> bool:
    """Tell whether a name is that of a brass instrument."""
    return any(word in v.BRASS_WORDS or _has(word, v.BRASS_STEMS) for word in _words(text))


@cache
def is_vocal(text: str) -> bool:
    """Tell whether a name is that of a singer or a choir."""
    words = _words(text)
    reading = read_name(text)
    return any(word in v.SINGERS for word in words) or (
        any(word in v.VOCAL_WORDS for word in words) and reading.family in (None, "other") and reading.firm < 1)


@cache
def says_bass(text: str) -> bool:
    """Tell whether a name without an instrument says bass (``Bass`` under a group of trombones)."""
    return any(word in _BASS_WORDS for word in _words(text))


def _trombone(words: tuple[str, ...], index: int) -> NameReading:
    word = words[index]
    high = any(other in _HIGH_WORDS for other in words) or (
        len(word) > 6 and word.startswith(_HIGH_STEMS))
    bass = any(other in _BASS_WORDS for other in words) or (
        len(word) > 6 and (word.startswith(_BASS_STEMS) or "kontrabass" in word or "contrabass" in word)
        and not word.startswith(("basun", "basuu"))) or "低音" in word
    # A single B before the word is "bass"; B flat (and the German B, which stands after it) is the key.
    if index > 0 and words[index - 1] in ("b", "bs") and (index < 2 or words[index - 2] != "in"):
        bass = True
    if index > 0 and words[index - 1] in ("a", "t"):
        high = True
    if "tenorbass" in word or (high and bass and "contrabass" not in words):
        return NameReading("trombone", high=True)     # a tenor-bass is a tenor with the wide bore and the attachment
    if bass:
        return NameReading("bass trombone")
    return NameReading("trombone", high=high)


def _words(text: str) -> tuple[str, ...]:
    return v.tokens(v.folded(text).replace("♭", " flat "))


def _has(word: str, stems: tuple[str, ...]) -> bool:
    return any(stem in word for stem in stems)


def _fold(words: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(v.folded(word) for word in words)


_TROMBONE_STEMS = _fold(v.TROMBONE_STEMS)
_EUPHONIUM_STEMS = _fold(v.EUPHONIUM_STEMS)
_BARITONE_STEMS = _fold(v.BARITONE_STEMS)
_SAX_STEMS = _fold(v.SAX_STEMS)
_OTHER_STEMS = _fold(v.OTHER_STEMS)
_BASS_STEMS = _fold(v.BASS_STEMS)
_HIGH_STEMS = _fold(v.HIGH_STEMS)
_BASS_WORDS = frozenset(_fold(tuple(v.BASS_WORDS)))
_HIGH_WORDS = frozenset(_fold(tuple(v.HIGH_WORDS)))
_NOT_BRASS = frozenset(_fold(tuple(v.NOT_BRASS_WORDS)))
