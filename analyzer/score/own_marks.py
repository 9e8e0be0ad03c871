"""Which fingerings and lyrics of a score are marks of this tool, and which are the user's own.

Three signs tell them, so that one is left whatever another program dropped when it saved the score:

* a processing instruction ``<?lowbrass?>`` inside the mark, which tells it whatever its text is;
* the name ``lowbrass`` of a row of lyrics;
* the record: one ``<miscellaneous-field name="lowbrass">`` in the score's identification, where programs keep what they
  do not know. It says under which note which label was written, and how often the same text stood there before.

Attributes of a fingering are no help: music21 keeps its place only, others not even that (measured).
"""

import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from lxml import etree

NAME = "lowbrass"
"""Target of the instruction in each of our marks; name of our row of lyrics, and of the record."""
SIGNED_AGAIN = f"{NAME}-again"
"""Target of the instruction in marks that the record knew; it stands in the tree only."""
_FIELD = f"identification/miscellaneous/miscellaneous-field[@name='{NAME}']"
_TOKEN = re.compile(r"(?P<onset>[\d.]+)=(?P<label>\S*?)(?:~(?P<own>\d+))?")
_NEAR = 0.02
"""Programs round onsets to their own divisions. [quarter notes] Judged: a third of the shortest usual note, a 64th."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkEntry:
    """One mark of the record: `onset` in its measure in quarter notes; `own` such texts stood at its note before."""

    onset: float
    label: str
    own: int = 0


def is_ours(element: etree._Element) -> bool:
    """Tell whether a fingering or a lyric was written by this tool."""
    return element.get("name") == NAME or any(
        getattr(child, "target", "") in (NAME, SIGNED_AGAIN) for child in element.iter(etree.ProcessingInstruction))


def record_text(parts: Mapping[str, tuple[int, Mapping[int, Sequence[MarkEntry]]]], made: int) -> str:
    """Return the text of a record.

    Parameters
    ----------
    parts : mapping
        From a part's id to its place among the parts that have music, and its marks by the index of their measure.
    made : int
        How many elements around the field are ours, too.
    """
    return json.dumps({"made": made, "parts": [
        {"id": part_id, "nth": nth, "measures": {str(index): " ".join(map(_token, entries))
                                                 for index, entries in sorted(measures.items())}}
        for part_id, (nth, measures) in parts.items()]}, ensure_ascii=False, separators=(",", ":"))


def _token(entry: MarkEntry) -> str:
    # Entries stand between blanks: those of a label ("4 out 8") are written as underscores, which no label has.
    label = entry.label.replace(" ", "_")
    return f"{entry.onset:.3f}".rstrip("0").rstrip(".") + f"={label}" + (f"~{entry.own}" if entry.own else "")


def sign(root: etree._Element) -> None:
    """Put the instruction into marks of a parsed score that only the record knows.

    Of equal texts at one note as many stay the user's own as there were before; a label that was changed since, or set
    elsewhere, is not ours any more.
    """
    found = root.find(_FIELD)
    if found is None:
        return
    known = parts_of(root)
    for part_id, nth, measures in _read(found.text or ""):
        music = known.get(part_id) or (list(known.values())[nth] if nth < len(known) else [])
        for index, onset, note in onsets(music, measures):
            _sign_note(note, onset, measures[index])


def _read(text: str) -> Iterator[tuple[str, int, dict[int, list[MarkEntry]]]]:
    """Yield id, place and marks of every part of a record; nothing of a damaged one."""
    try:
        for part in json.loads(text)["parts"]:
            yield str(part["id"]), int(part["nth"]), {int(index): _entries(tokens)
                                                      for index, tokens in part["measures"].items()}
    except (ValueError, KeyError, TypeError, AttributeError):
        return


def _entries(tokens: Any) -> list[MarkEntry]:
    read = (_TOKEN.fullmatch(token) for token in str(tokens).split())
    return [MarkEntry(onset=float(token["onset"]), label=token["label"].replace("_", " "), own=int(token["own"] or 0))
            for token in read if token is not None]


def parts_of(root: etree._Element) -> dict[str, list[etree._Element]]:
    """Return the music of every part that has some, measure by measure, in the order of the score."""
    parts: dict[str, list[etree._Element]] = {}
    if root.tag == "score-timewise":
        for part in root.iterfind("measure/part"):
            parts.setdefault(part.get("id", ""), []).append(part)
    else:
        for part in root.iterchildren("part"):
            parts.setdefault(part.get("id", ""), []).extend(part.iterchildren("measure"))
    return parts


def onsets(music: Sequence[etree._Element], wanted: Iterable[int]) -> Iterator[tuple[int, float, etree._Element]]:
    """Yield index of the measure, onset in it and element of every note of the measures wanted. [quarter notes]"""
    chosen = frozenset(wanted)
    divisions = 1.0
    for index, measure in enumerate(music):
        at = start = 0.0
        for child in measure:
            tag = child.tag
            if tag == "attributes":
                divisions = _number(child.findtext("divisions")) or divisions
            if index not in chosen:
                continue
            if tag == "note":
                chord, lasts = _lasts(child)
                if not chord:
                    start = at
                    at += lasts / divisions
                yield index, start, child
            elif tag == "forward":
                at += _number(child.findtext("duration")) / divisions
            elif tag == "backup":
                at = max(0.0, at - _number(child.findtext("duration")) / divisions)


def _lasts(note: etree._Element) -> tuple[bool, float]:
    """Return whether a note begins with the one before it, and how long it lasts [divisions], 0 for a grace note."""
    chord = grace = False
    duration: str | None = None
    for child in note:
        tag = child.tag
        if tag == "duration":
            duration = duration or child.text
        elif tag == "chord":
            chord = True
        elif tag == "grace":
            grace = True
    return chord, 0.0 if grace else _number(duration)


def _number(text: str | None) -> float:
    try:
        return max(0.0, float(text or 0))
    except ValueError:
        return 0.0


def _sign_note(note: etree._Element, onset: float, left: list[MarkEntry]) -> None:
    """Sign the marks of one note that are among those `left` in its measure, and take them out of these."""
    elements = [*note.iterfind("notations/technical/fingering"), *note.iterfind("lyric")]
    for entry in list(left):
        if not elements or abs(entry.onset - onset) > _NEAR:
            continue
        same = [element for element in elements if text_of(element) == entry.label]
        if len(same) > entry.own or any(map(is_ours, same)):
            left.remove(entry)
            ours = next((element for element in same if is_ours(element)), same[-1])
            elements.remove(ours)
            if not is_ours(ours):
                ours.append(etree.ProcessingInstruction(SIGNED_AGAIN))


def text_of(element: etree._Element) -> str:
    """Return the label of a fingering or a lyric."""
    return " ".join(((element.findtext("text") if element.tag == "lyric" else element.text) or "").split())
