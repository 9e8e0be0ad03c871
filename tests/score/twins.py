"""The same music in two files, one of them in a form of its own: how many notes, ties and slurs differ, and why.

``python -m tests.score.twins FOLDER OTHER`` reads every file of a folder (.mscz, .mscx, .mei) beside the one in another
folder whose name is the same or begins with it (``a.mscz`` beside ``a.mscz.musicxml``, as a program exports it), and
prints one row each. Times are compared to a 24th of a quarter note: exports count 480 ticks and add up their rounding.
"""

import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from analyzer.problem import Unreadable
from analyzer.score.document import OWN_FORM_ENDINGS, Document, open_document
from analyzer.score.reader import read_part

KNOWN = {
    "orch-brahms-op-68-4": "the form's own program (3.2.3) imports tremolos of two notes of the strings as tuplets of "
                           "24 with rests between; what it exports of its own file equals our reading in all notes",
    "orch-d-un-matin-de-printemps": "one head of a chord is a cue; the form keeps a cue for a whole chord",
    "orch-dvorak9-mvt2": "the import loses the transposition of a clarinet that changes in mid-part: written pitches "
                         "differ, what sounds is the same",
    "bigband-preludius-maximus": "two notes of the drums without a pitch",
    **dict.fromkeys(("goldberg", "beams-7", "beams-8", "accidental-mirror"),
                    "two staves in different metres at once, which MusicXML cannot hold: the export makes one longer"),
    **dict.fromkeys(("copy-ref", "copy.", "delete."),
                    "after a change of instrument the export writes no transposition"),
    "layout_elements_tab": "a tablature under an 8va sign, which the export leaves out there",
    "dotted-tuplets": "the measure holds more than its metre; the export cuts the last note off",
    "tuplets": "nested tuplets, rounded to ticks by the export",
    "concertpitchbenchmark": "a file made while version 2 was in the making: pitch and spelling contradict",
    "accidentals": "tests of the program with accidentals set by hand against pitch and spelling",
    **dict.fromkeys(("slurs", "copypaste22"), "slurs from one staff to another are left out"),
}
"""How the name of a file begins (after a number) -> why the two differ. Seen in 1,940 files of the sources of versions
2.3.2 and 3.2.3 of the form's own program and in ten orchestral scores."""

_Note = tuple[int, str, int, bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class Twins:
    """What two readings of one piece amount to; the last three count what is not in both."""

    name: str
    notes: int
    notes_differ: int
    ties_differ: int
    slurs_differ: int


def compared(mine: Document, other: Document, name: str) -> Twins:
    """Compare two documents part by part, in order."""
    counts = [0, 0, 0, 0]
    for ours, theirs in zip(_parts(mine), _parts(other), strict=True):
        counts[0] += sum(map(len, theirs[0].values()))
        counts[1] += _unlike(ours[0], theirs[0])
        for place in (1, 2):
            gone, new = ours[place] - theirs[place], theirs[place] - ours[place]
            counts[place + 1] += max(gone.total(), new.total())
    return Twins(name=name, notes=counts[0], notes_differ=counts[1], ties_differ=counts[2], slurs_differ=counts[3])


_Reading = tuple[dict[_Note, list[tuple[float, float]]], Counter[object], Counter[object]]


def _parts(document: Document) -> Iterator[_Reading]:
    for part_id in document.part_ids:
        notes: dict[_Note, list[tuple[float, float]]] = {}
        ties: Counter[object] = Counter()
        slurs: Counter[object] = Counter()
        if document.part_measures(part_id):
            part, _ = read_part(document, part_id)
            for note in part.notes:
                at = float(note.onset - part.measures[note.measure].onset)
                key = note.measure, note.written.name, note.sounding.midi, note.grace
                notes.setdefault(key, []).append((at, float(note.duration)))
                ties[key, note.tie_start, note.tie_stop] += 1
                slurs[note.measure, note.sounding.midi, note.slur_after] += bool(note.slur_after)
        yield notes, ties, +slurs


def _unlike(ours: dict[_Note, list[tuple[float, float]]], theirs: dict[_Note, list[tuple[float, float]]]) -> int:
    """Count the notes without a fellow of the same measure, pitch and (nearly) place and length."""
    found = 0
    for key in ours.keys() | theirs.keys():
        left = list(theirs.get(key, ()))
        alone = 0
        for at, length in ours.get(key, ()):
            fellow = next((one for one in left if abs(one[0] - at) <= 1 / 24 and abs(one[1] - length) <= 1 / 24), None)
            if fellow is None:
                alone += 1
            else:
                left.remove(fellow)
        found += max(alone, len(left))
    return found


def why(name: str) -> str:
    """Return the known reason why a file differs from its twin; nothing where none is known."""
    plain = name.lstrip("0123456789-")
    return next((reason for begin, reason in KNOWN.items() if plain.startswith(begin)), "")


def main(folder: Path, other: Path) -> None:
    """Print a row for every pair that differs, and what all amount to."""
    total = Counter[str]()
    for path in sorted(folder.iterdir()):
        twin = next((one for one in sorted(other.glob(f"{path.stem}*")) if one.is_file()), None)
        if path.suffix not in OWN_FORM_ENDINGS or twin is None:
            continue
        try:
            found = compared(open_document(path), open_document(twin), path.name)
        except (Unreadable, ValueError) as error:
            print(f"{path.name}: {error}")
            continue
        total.update(files=1, notes=found.notes, differ=found.notes_differ, slurs=found.slurs_differ,
                     unexplained=0 if why(path.name) else found.notes_differ)
        if found.notes_differ or found.ties_differ or found.slurs_differ:
            print(f"{path.name}: of {found.notes} notes {found.notes_differ} differ, ties {found.ties_differ}, slurs "
                  f"{found.slurs_differ}. {why(path.name)}")
    print(", ".join(f"{what} {count:,}" for what, count in total.items()))


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
