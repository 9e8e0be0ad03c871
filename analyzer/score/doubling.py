"""Where the player of a part takes up another horn: trombone to euphonium and back."""

import re
from fractions import Fraction

from lxml import etree

from analyzer.score.naming import PartFamily, read_name
from analyzer.score.parts import sound_family
from analyzer.score.vocabulary import folded, plain

# Words of changing in printed parts (common practice, no source): "to Euph.", "change to Bass Trombone",
# "muta in Eufonio", "Euphonium nehmen". A name alone is none: it may tell whose cue stands there.
_TAKE = re.compile(r"^\W*(?:(?:to|take|change to|change for|switch to|pick up|muta in|cambiar? a|prendre|prenez|"
                   r"changez? (?:en|pour)|nimmt?|wechselt? zu[mr]?)\s+(?P<after>.+)|(?P<before>.+)\s+nehmen)$")
_LONGEST_WORDS = 50                     # letters; longer words are a sentence, no change of horn. Judged
_SLIDES = ("trombone", "bass trombone")


def horn_word(text: str | None) -> PartFamily | None:
    """Return the family of instrument that words tell the player to take up (``other``: none of low brass).

    Examples
    --------
    >>> horn_word("to Euph."), horn_word("(change to Bass Trombone)"), horn_word("to Tuba")
    ('euphonium', 'bass trombone', 'other')
    >>> [horn_word(text) for text in ("Euphonium", "to Coda", "to the end", "to bass")]
    [None, None, None, None]
    """
    if text is None or len(text) > _LONGEST_WORDS:
        return None
    match = _TAKE.match(folded(plain(text)))
    if match is None:
        return None
    reading = read_name(match["after"] or match["before"])
    return reading.family if reading.firm >= (1.0 if reading.family == "other" else 0.7) else None


class Doubling:
    """What one part says of its player's horns. `own` is the family of the part."""

    def __init__(self, entry: etree._Element | None, own: PartFamily) -> None:
        self.own = own
        self._changes: list[tuple[Fraction, int, PartFamily]] = []           # onset, staff, family from there on
        told: dict[str, PartFamily] = {}
        for instrument in () if entry is None or own == "other" else entry.iterfind("score-instrument"):
            named = read_name(plain(instrument.findtext("instrument-name")))
            family = named.family if named.firm == 1.0 else _of_sound(instrument.findtext("instrument-sound"))
            if family is not None:
                told[instrument.get("id", "")] = family
        # Names that differ without naming another horn ("Trombone", "Trombone, muted") tell of no change.
        self._told = told if len(set(told.values())) > 1 else {}

    def change(self, family: PartFamily, at: Fraction, staff: int) -> None:
        """The player of a staff takes up a horn of this family at an onset."""
        if self.own != "other":
            self._changes.append((at, staff, family))

    def read_sound(self, sound: etree._Element, at: Fraction) -> None:
        """Take note of a ``<sound>`` at an onset, if it changes the instrument to another horn of low brass."""
        for change in sound.iterchildren("instrument-change"):
            family = _of_sound(change.findtext("instrument-sound"))
            if family is not None:
                self.change(family, at, 1)

    @property
    def any(self) -> bool:
        """True if the part names more than one horn."""
        return bool(self._told or self._changes)

    def family(self, instrument: str | None, onset: Fraction, staff: int) -> PartFamily | None:
        """Return the family in force for a note, None where it is that of the part."""
        found = self._told.get(instrument or "")
        if found is None:
            before = [change for change in self._changes if change[0] <= onset and change[1] == staff]
            found = max(before, key=lambda change: change[0])[2] if before else None
        # "To Tbn." in a bass trombone part means the bass trombone, unless the part has instruments of both kinds.
        back = found == "trombone" and self.own in _SLIDES and "bass trombone" not in self._told.values()
        return None if back or found == self.own else found


def _of_sound(sound: str | None) -> PartFamily | None:
    """Return the family of low brass that a standard sound names; a group or another instrument names none."""
    family = sound_family(plain(sound))
    return None if family == "other" else family
