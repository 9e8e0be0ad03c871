"""Which parts of a score are low brass, and why we think so."""

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import cast

from lxml import etree

from analyzer.problem import Problem
from analyzer.score.document import Document
from analyzer.score.naming import (
    NameReading,
    PartFamily,
    first_of_two,
    has_valves,
    is_brass,
    is_open,
    is_vocal,
    read_name,
    says_bass,
    tenor_horn,
)
from analyzer.score.vocabulary import (
    GENERAL_MIDI_TROMBONE,
    GENERAL_MIDI_UNTOLD,
    GENERAL_MIDI_VOICES,
    SOUND_FAMILIES,
    plain,
)

UNTOLD = ("nothing names low brass",)
"""The evidence of a part that tells nothing."""

HORN_OF_FAMILY: dict[str, str] = {
    "bass trombone": "bass-independent",
    "trombone": "tenor-f",
    "euphonium": "euphonium-4-compensating",
    "baritone": "baritone-3",
}
"""The horn that is assumed for a family unless the user names one."""

# Judged weights. What is printed for the player (name, group) outweighs what only playback reads (sound, program);
# any weights with name > group >= instrument name > sound > abbreviation > program give the same answers on real files.
# Program and clef together stay below what is enough: real files carry program 58 on singers and flutes.
_NAME, _GROUP, _INSTRUMENT, _SOUND, _ABBREVIATION, _PROGRAM, _CLEF = 6.0, 3.0, 2.8, 2.5, 2.0, 1.0, 0.9
_ORDINAL, _LYRICS, _VOCAL_NEIGHBOUR, _BRASS_NEIGHBOUR = 2.4, 5.0, 2.2, 2.2
_ENOUGH = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PartInfo:
    """What one part is. `horn` is the name of the horn assumed for it, None where it is not low brass.

    `horn_reason` says why where that is not the usual horn of a plain name.

    `name` is the part name on one line; `full_name` has the group before it where the name alone is only a number.
    """

    id: str
    name: str
    full_name: str
    family: PartFamily
    low_brass: bool
    evidence: tuple[str, ...]
    horn: str | None
    horn_reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Told:
    """What the part list tells of one part, as plain text."""

    id: str
    name: str
    abbreviation: str
    instruments: tuple[str, ...]
    sounds: tuple[str, ...]
    programs: tuple[int, ...]
    groups: tuple[str, ...]            # innermost first
    in_list: bool = True

    @property
    def bare(self) -> bool:
        """True if the name is empty or only numbers (``1 2``, ``III``)."""
        return not self.name or all(
            word.strip(".,&/+-()").isdigit() or not word.strip(".,&/+-()IVivº°ª") for word in self.name.split())


def find_parts(document: Document) -> tuple[tuple[PartInfo, ...], tuple[Problem, ...]]:
    """Say of every part of the score, in score order, whether it is low brass, with the evidence.

    Only the part list and the first measure of each part are read (and, for parts that may be singers, whether they
    have words).
    """
    known: tuple[tuple[PartInfo, ...], tuple[Problem, ...]] | None = document.memo.get("parts")
    if known is not None:
        return known
    told = _told(document)
    heads = _heads(document)
    problems = list(document.problems)
    parts: list[PartInfo] = []
    for index, entry in enumerate(told):
        parts.append(_judged(document, entry, told, index, parts, heads.get(entry.id)))
        if entry.id not in heads:
            problems.append(Problem(severity="warning", code="no-music", where=f"{document.name}: {parts[-1].name}",
                                    what=f"the part list names part {entry.id}, and the score has no music for it",
                                    try_="Export the score again if that part should play."))
        if not entry.in_list:
            problems.append(Problem(severity="warning", code="unlisted-part", where=f"{document.name}: part {entry.id}",
                                    what="this part has music and no entry in the part list",
                                    try_="Name it with --part if it is a low-brass part."))
    result = (_told_apart(parts), tuple(problems))
    document.memo["parts"] = result
    return result


def _told_apart(parts: Sequence[PartInfo]) -> tuple[PartInfo, ...]:
    """Number the parts of one name: ``Trombone (2nd of 3)``."""
    of = Counter(part.full_name for part in parts)
    seen = Counter[str]()
    result = []
    for part in parts:
        if of[part.full_name] > 1:
            seen[part.full_name] += 1
            count = seen[part.full_name]
            ending = "th" if 11 <= count % 100 <= 13 else {1: "st", 2: "nd", 3: "rd"}.get(count % 10, "th")
            part = replace(part, full_name=f"{part.full_name} ({count}{ending} of {of[part.full_name]})")
        result.append(part)
    return tuple(result)


def part_name(document: Document, part_id: str) -> str:
    """Return the name of a part on one line, told apart from others (its id if it has none)."""
    for part in find_parts(document)[0]:
        if part.id == part_id:
            return part.full_name
    return part_id


def _told(document: Document) -> list[_Told]:
    result: list[_Told] = []
    open_groups: list[tuple[str, str]] = []
    part_list = document.root.find("part-list")
    for element in () if part_list is None else part_list.iterchildren("part-group", "score-part"):
        if element.tag == "part-group":
            number = element.get("number", "1")
            if element.get("type") == "stop":
                for place in range(len(open_groups) - 1, -1, -1):
                    if open_groups[place][0] == number:
                        del open_groups[place]
                        break
            else:
                name = _display(element, "group-name-display") or plain(element.findtext("group-name")) \
                    or plain(element.findtext("group-abbreviation"))
                open_groups.append((number, name))
            continue
        part_id = element.get("id", "")
        if any(entry.id == part_id for entry in result):
            continue
        name = plain(element.findtext("part-name"))
        shown = _display(element, "part-name-display")
        if shown and read_name(name).family is None:
            name = shown if not name or read_name(shown).family is not None else name
        programs = [plain(each.text) for each in element.iterfind("midi-instrument/midi-program")]
        result.append(_Told(
            id=part_id, name=name,
            abbreviation=plain(element.findtext("part-abbreviation")) or _display(element, "part-abbreviation-display"),
            instruments=_unique(plain(each.text) for each in element.iterfind("score-instrument/instrument-name")),
            sounds=_unique(plain(each.text) for each in element.iterfind("score-instrument/instrument-sound")),
            programs=tuple(dict.fromkeys(int(text) for text in programs if text.isdecimal())),
            groups=tuple(name for _, name in reversed(open_groups) if name),
        ))
    listed = {entry.id for entry in result}
    result.extend(_Told(id=part_id, name="", abbreviation="", instruments=(), sounds=(), programs=(), groups=(),
                        in_list=False) for part_id in document.part_ids if part_id not in listed)
    return result


def _unique(texts: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(text for text in texts if text))


def _display(element: etree._Element, tag: str) -> str:
    """Return the text of a name-display element, accidentals as signs."""
    found = element.find(tag)
    if found is None or found.get("print-object") == "no":
        return ""
    signs = {"flat": "♭", "sharp": "♯", "natural": "♮"}
    texts = [signs.get(plain(child.text), "") if child.tag == "accidental-text" else child.text or ""
             for child in found.iterchildren("display-text", "accidental-text")]
    return plain("".join(texts))


def _heads(document: Document) -> dict[str, etree._Element]:
    """Return the first measure (or timewise part) of each part."""
    heads: dict[str, etree._Element] = {}
    if document.timewise:
        for part in document.root.iterfind("measure/part"):
            heads.setdefault(part.get("id", ""), part)
    else:
        for part in document.root.iterchildren("part"):
            first = next(part.iterchildren("measure"), None)
            if first is not None:
                heads.setdefault(part.get("id", ""), first)
    return heads


def _judged(document: Document, entry: _Told, told: Sequence[_Told], index: int, before: Sequence[PartInfo],
            head: etree._Element | None) -> PartInfo:
    votes: dict[str, float] = {}
    evidence: list[tuple[str, str | None]] = []
    bass = high = 0.0

    def vote(family: str | None, weight: float, text: str) -> None:
        nonlocal bass
        if family is None:
            return
        if family == "bass trombone":
            bass += weight
        key = "trombone" if family == "bass trombone" else family
        votes[key] = votes.get(key, 0.0) + weight
        evidence.append((text, key))

    named = _keyed(read_name(entry.name), entry.name, head)
    group = next((name for name in entry.groups if read_name(name).family is not None), "")
    # Where the name of the part says little, that of its group is printed for the player in its stead.
    for what, texts, weight in (
        ("part name", (entry.name,), _NAME), ("group name", (group,), _NAME if named.firm < 0.5 else _GROUP),
        ("instrument name", entry.instruments[:3], _INSTRUMENT), ("abbreviation", (entry.abbreviation,), _ABBREVIATION),
    ):
        for text in texts:
            reading = named if what == "part name" else read_name(text)
            vote(reading.family, weight * reading.firm / len(texts), f"{what} '{text}'")
            high += weight / len(texts) if reading.high else 0.0
    for sound in entry.sounds[:3]:
        vote(sound_family(sound), _SOUND / min(3, len(entry.sounds)), f"sound '{sound}'")
        high += _SOUND if sound in ("brass.trombone.tenor", "brass.trombone.alto") else 0.0
    for program in entry.programs[:1]:
        family_told = "trombone" if program == GENERAL_MIDI_TROMBONE else (
            None if program in GENERAL_MIDI_UNTOLD else "other")
        vote(family_told, _SOUND if program in GENERAL_MIDI_VOICES else _PROGRAM, f"MIDI program {program}")
    if entry.bare and before and told[index - 1].groups == entry.groups and _ordinal(entry) > 1:
        vote(before[-1].family, _ORDINAL, f"numbered on from '{before[-1].name}'")
    clef = head.findtext("attributes/clef/sign") if head is not None else None
    if clef is not None and plain(clef) in ("F", "C") and votes.get("trombone"):
        vote("trombone", _CLEF, f"{plain(clef)} clef")
    ours = {family: weight for family, weight in votes.items() if family != "other"}
    best = max(ours, key=lambda family: ours[family], default=None)
    if best is not None and named.firm < 1.0:
        _vote_singers(document, entry, told, index, vote)
        ours = {family: weight for family, weight in votes.items() if family != "other"}
    family: PartFamily = "other"
    if named.firm == 1.0 and named.family is not None:
        best = "trombone" if named.family == "bass trombone" else named.family
    elif ours.get(best or "", 0.0) < _ENOUGH or ours.get(best or "", 0.0) <= votes.get("other", 0.0):
        best = None
    if best is not None and best != "other":
        family = _refined(best, entry, bass, high)
    said = tuple(text for text, key in evidence if key == ("trombone" if family == "bass trombone" else family))
    against = tuple(f"against it: {text} (says {key})" for text, key in evidence
                    if key != ("trombone" if family == "bass trombone" else family))
    name = entry.name or entry.abbreviation or (entry.instruments[0] if entry.instruments else "") or f"part {entry.id}"
    full_name = f"{entry.groups[0]} {name}" if entry.bare and entry.name and entry.groups else name
    horn, reason = _horn_of(family, entry, name)
    return PartInfo(id=entry.id, name=name, full_name=full_name, family=family, low_brass=family != "other",
                    evidence=said + against if family != "other" or against else said or UNTOLD,
                    horn=horn, horn_reason=reason)


def _horn_of(family: PartFamily, entry: _Told, name: str) -> tuple[str | None, str]:
    """Return the horn that is assumed, and why where the name leaves it open or tells valves."""
    horn = HORN_OF_FAMILY.get(family)
    if family in ("trombone", "bass trombone") and has_valves(entry.name):
        return HORN_OF_FAMILY["baritone"], f"'{name}' has no slide; its valves are those of a baritone"
    if horn is None:
        return None, ""
    if first_of_two(entry.name) is not None:
        return horn, f"'{name}' names two instruments, and the first is taken"
    if is_open(entry.name):
        return horn, f"'{name}' names no instrument; any low brass may play it"
    if tenor_horn(entry.name) is not None:
        return horn, f"'{name}' is read as the tenor horn in B flat, which is a baritone"
    return horn, ""


def _keyed(reading: NameReading, name: str, head: etree._Element | None) -> NameReading:
    """Let the transposition in the music tell the tenor horn in E flat (a sixth down) from that in B flat."""
    if tenor_horn(name) is None or head is None:
        return reading
    down = {plain(text.text) for text in head.iterfind("attributes/transpose/chromatic")}
    if "-9" in down or "3" in down:
        return NameReading("other")
    return NameReading("baritone") if down & {"-14", "-2"} else reading


def _refined(family: str, entry: _Told, bass: float, high: float) -> PartFamily:
    """Tell a bass trombone from the others: the printed name decides, then what the rest says."""
    if family != "trombone":
        return cast(PartFamily, family)
    reading = read_name(entry.name)
    if reading.family == "bass trombone" or (reading.family != "trombone" and says_bass(entry.name)):
        return "bass trombone"
    if reading.family == "trombone" and reading.high:
        return "trombone"
    return "bass trombone" if bass >= _ENOUGH and bass > high else "trombone"


def _vote_singers(document: Document, entry: _Told, told: Sequence[_Told], index: int,
                  vote: Callable[[str | None, float, str], None]) -> None:
    """Add what speaks for a singer (words under the notes, singers beside the part), or for a baritone among brass."""
    beside = [told[place] for place in (index - 1, index + 1) if 0 <= place < len(told)]
    if any(read_name(name).family not in (None, "other") for name in entry.groups[:1]):
        beside = []                    # "Alto", "Tenor", "Bass" under a group of trombones
    for other in beside:
        if is_brass(other.name):
            vote("baritone" if read_name(entry.name).family == "baritone" else None, _BRASS_NEIGHBOUR,
                 f"stands beside '{other.name}'")
        elif is_vocal(other.name):
            vote("other", _VOCAL_NEIGHBOUR, f"stands beside '{other.name}'")
    if any(next(music.iter("lyric"), None) is not None for music in document.part_measures(entry.id)):
        vote("other", _LYRICS, "has words to sing")


def sound_family(sound: str) -> PartFamily:
    """Return the family of a MusicXML standard sound such as ``brass.trombone.bass``."""
    for prefix, family in SOUND_FAMILIES:
        if sound == prefix or sound.startswith(f"{prefix}."):
            return cast(PartFamily, family)
    return "other"


def _ordinal(entry: _Told) -> int:
    digits = [int(word) for word in "".join(sign if sign.isdigit() else " " for sign in entry.name).split()]
    if digits:
        return digits[0]
    return {"I": 1, "II": 2, "III": 3, "IV": 4}.get(entry.name.strip(" ."), 0)
