"""Files that two libraries read differently, or that nobody can read: why, and what decides it.

The words in quotation marks stand in the documentation of the MusicXML 4.0 schema (W3C Music Notation Community Group,
2021); a test looks them up there.
"""

from typing import NamedTuple


class Known(NamedTuple):
    """A difference: the reason, the element or type of MusicXML 4.0 that decides it, and its words."""

    why: str
    element: str
    says: str


_CUE = Known("cue notes; music21 tells a cue only by the size of its type", "cue",
             "a cue note is a silent note with no playback")
_LISTED = Known("the part list and the music do not agree; we list what either has", "part-list",
                "Each part has an ID that is used later within the musical data")

DIFFERENT = {
    "02e-Rests-NoType.xml": Known(
        "music21 gives a note without <staff> to both staves; it stands on the first", "staff",
        "Staff values are numbers, with 1 referring to the top-most staff in a part"),
    "21f-Chord-ElementInBetween.xml": Known(
        "a chord belongs to the note before it, whatever stands between", "chord",
        "indicates that this note is an additional chord tone with the preceding note"),
    "Lindenbaum.xml": Known(
        "a note of a chord keeps its own duration; music21 takes that of the note it leans on", "chord",
        "it can be shorter in situations such as multiple stops"),
    "41g-PartNoId.xml": _LISTED,
    "41h-TooManyParts.xml": _LISTED,
    "Dvorak_Symphony_9_mov_4.mxl": _CUE,
    "orch-d-un-matin-de-printemps.mxl": _CUE,
    "testTab.xml": Known(
        "notes of a tablature that have neither pitch nor duration; music21 makes them C4", "full-note",
        "pitch, chord, and rest information"),
}
"""File name -> why the two readings differ."""

UNREADABLE = dict.fromkeys(
    ("wip_23a_tuplets.xml", "test_cautionary_signs_repetition_traditional.xml"),
    "the file ends after its document type: there is no score in it")
"""File name -> why it cannot be read by anybody."""
