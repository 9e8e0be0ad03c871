"""Words in the score that say how many players play."""

import re

from analyzer.score.vocabulary import folded, plain

_ALL = re.compile(r"^(?:a|zu|à)\s?(?:\d|due|tre|deux|trois|zwei|drei)\b.*$|^(?:unis|unison|unisono|tutti|alle|tous)\b")
_DIVIDED = re.compile(r"^(?:div|divisi|get|geteilt)\b")
_ONE = re.compile(r"^(?:solo\s+)?(\d|i{1,3}|iv)\s?[.ºo°]*(?:\s*solo)?$")
_MARKED = re.compile(r"[.º°]|solo")
_ROMAN = {"i": 1, "ii": 2, "iii": 3, "iv": 4}


def player_word(text: str) -> str | None:
    """Return ``all``, ``div`` or the number of the one player who plays, None if the words are about something else.

    Examples
    --------
    >>> player_word("a 2"), player_word("unis."), player_word("1."), player_word("II. Solo"), player_word("Solo")
    ('all', 'all', '1', '2', '1')
    >>> player_word("a tempo"), player_word("2") is None
    (None, True)
    """
    if len(text) > 40:
        return None
    raw = plain(text).lower()
    words = folded(raw)
    if _ALL.match(words):
        return "all"
    if _DIVIDED.match(words):
        return "div"
    if words.strip(" .") in ("solo", "solo 1", "1 solo"):
        return "1"
    match = _ONE.match(words.replace("°", "."))
    if match and _MARKED.search(raw):
        word = match.group(1)
        return str(_ROMAN.get(word, word))
    return None
