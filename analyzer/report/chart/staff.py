"""The chart of a horn on a staff: every note that it sounds, from low to high, with its choices under it."""

from analyzer.engrave.copy import Copy
from analyzer.engrave.options import PageOptions
from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import candidates, chart_choice, sounding_range
from analyzer.horns.horn import Horn
from analyzer.marking.mark import Mark
from analyzer.pitch import HEARD_CENTS, Pitch, pitch_of
from analyzer.words import shown, signed

_PART = "P1"
_TENOR_ABOVE = 65
"""A trombone's notes above F4 stand in tenor clef: from G4 on bass clef needs three ledger lines (common practice)."""
_ALTO_FROM = 38
"""A trombone whose first partial lies above D2 is an alto, read in alto clef (common practice). [MIDI]"""
_NOTES_A_MEASURE = 6                  # so that lines of music break evenly; no barline is drawn
_SIGNS = {-1: "flat", 0: "natural", 1: "sharp"}
_CLEFS = {"bass": ("F", 4), "tenor": ("C", 4), "alto": ("C", 3)}


def staff_pages(horn: Horn, options: PageOptions) -> tuple[str, ...]:
    """Engrave the chart on pages of paper, one SVG each."""
    from analyzer.engrave.engrave import engraved_pages

    return engraved_pages(staff_copy(horn), options)


def staff_systems(horn: Horn, options: PageOptions) -> tuple[tuple[str, ...], str]:
    """Engrave the chart for a web page: one SVG a line of music, and the style sheet with its faces."""
    from analyzer.engrave.engrave import engraved, faces_of, systems_with
    from analyzer.engrave.fonts import style_sheet

    copy = staff_copy(horn)
    engraving = engraved(copy, options)
    return systems_with(engraving, copy), style_sheet(faces_of(engraving, copy))


def staff_copy(horn: Horn) -> Copy:
    """Return the notes as music at sounding pitch, and their choices as rows of marks.

    Rows from the staff down: the note's name, the usual choice, on valved horns how far that lies off where an ear
    hears it [cents], then the other good choices, best first. A note between that no choice sounds is crossed out.
    """
    low, high = sounding_range(horn)
    notes = range(low, high + 1)
    marks: list[Mark] = []
    deepest = 0
    for ref, midi in enumerate(notes):
        rows = _rows(horn, midi)
        deepest = max(deepest, len(rows))
        marks += [Mark(part_id=_PART, ref=ref, line=line, text=text, playable=text != "×")
                  for line, text in enumerate(rows, 1) if text]
    tuned = ("cents",) if horn.family == "valves" else ()
    names = ("note", "usual", *tuned)
    return Copy(musicxml=_music(horn, notes), marks=tuple(marks), title=f"Chart of the {horn.description}",
                subtitle="Sounding pitch; the usual choice first, other good ones below it",
                row_names=(*names, *["or"] * (deepest - len(names))))


def _rows(horn: Horn, midi: int) -> list[str]:
    """Return what stands under one note, from the top; an empty text leaves a row free."""
    usual = chart_choice(horn, midi)
    name = pitch_of(midi).pretty
    if usual is None:
        return [name, "×"]
    others = [one for one in candidates(horn, midi) if one is not usual and one.advice is None]
    if horn.family == "slide":
        return [name, shown(usual.label), *(shown(one.label) for one in others)]
    return [name, shown(usual.label), _off(usual), *(shown(one.label) for one in others)]


def _off(choice: Candidate) -> str:
    cents = round(choice.off_cents)
    return signed(cents, "−") if abs(cents) > HEARD_CENTS else ""


def _music(horn: Horn, notes: range) -> str:
    before: Pitch | None = None
    clef = ""
    measures: list[str] = []
    for start in range(0, len(notes), _NOTES_A_MEASURE):
        inside = []
        for ref in range(start, min(start + _NOTES_A_MEASURE, len(notes))):
            wanted = _clef(horn, notes[ref])
            if wanted != clef:
                inside.append(_attributes(wanted, first=not clef))
                clef = wanted
            pitch = pitch_of(notes[ref])
            inside.append(_note(ref, pitch, before))
            before = pitch
        measures.append(f'<measure number="{len(measures) + 1}" implicit="yes" id="m{len(measures)}">{"".join(inside)}'
                        '<barline location="right"><bar-style>none</bar-style></barline></measure>')
    return (f'<score-partwise version="4.0"><part-list><score-part id="{_PART}"><part-name print-object="no"/>'
            f'</score-part></part-list><part id="{_PART}">{"".join(measures)}</part></score-partwise>')


def _clef(horn: Horn, midi: int) -> str:
    if horn.kind == "euphonium" or horn.family == "valves":
        return "bass"
    if horn.fundamental_midi > _ALTO_FROM:
        return "alto"
    return "tenor" if midi > _TENOR_ABOVE else "bass"


def _attributes(clef: str, *, first: bool) -> str:
    sign, line = _CLEFS[clef]
    timed = (f'<divisions>1</divisions><key><fifths>0</fifths></key><time print-object="no"><beats>{_NOTES_A_MEASURE}'
             "</beats><beat-type>4</beat-type></time>") if first else ""
    return f"<attributes>{timed}<clef><sign>{sign}</sign><line>{line}</line></clef></attributes>"


def _note(ref: int, pitch: Pitch, before: Pitch | None) -> str:
    # A natural only where the note before has the same place with another sign.
    signed = pitch.alter or (before is not None and (before.step, before.octave) == (pitch.step, pitch.octave))
    alter = f"<alter>{pitch.alter}</alter>" if pitch.alter else ""
    sign = f"<accidental>{_SIGNS[pitch.alter]}</accidental>" if signed else ""
    return (f'<note id="n{ref}"><pitch><step>{pitch.step}</step>{alter}<octave>{pitch.octave}</octave></pitch>'
            f"<duration>1</duration><voice>1</voice><type>quarter</type>{sign}<stem>none</stem></note>")
