"""What a written part must be, whatever score it came from; shared by the tests and by a run over whole corpora.

``python -m tests.writing.checks [FOLDER ...]`` writes every low-brass and bass-clef line of the suites for six readers
and prints what does not come back note for note.
"""

import sys
from collections.abc import Iterator
from pathlib import Path

from analyzer.horns.profiles import load_horn
from analyzer.problem import Unreadable
from analyzer.score.document import Document, open_document
from analyzer.score.lines import lines_of
from analyzer.score.parts import find_parts
from analyzer.score.reader import read_part
from analyzer.selection import Asked, asked_lines
from analyzer.writing.readers import Reader, clef_reader, horn_reader, instrument_reader, instruments
from analyzer.writing.write import Written, written_for
from tests.score.suites import suites


def readers() -> tuple[Reader, ...]:
    return (clef_reader("bass"), clef_reader("treble-b-flat"), clef_reader("tenor"), clef_reader("alto"),
            instrument_reader(instruments()["tenor-saxophone"]), horn_reader(load_horn("euphonium-4")))


def lines_in(document: Document, *, every_bass: bool = False) -> Iterator[Asked]:
    parts = [part for part in find_parts(document)[0] if part.low_brass or every_bass]
    for asked in asked_lines(document, parts)[0]:
        if asked.line.notes and (asked.part.low_brass or asked.line.notes[0].clef in ("bass", "tenor", "alto")):
            yield asked


def differences(written: Written) -> list[str]:
    """What is not as it was, after the written part has been read again: notes, times, slurs, measures."""
    part, _ = read_part(written.document, "P1")
    again, _ = lines_of(part, "trombone")
    if len(again) != 1:
        return [f"{len(again)} lines came back"]
    octaves = written.octaves
    before = [(note.measure, note.onset - written.line.measures[0].onset, note.duration,
               note.midi + 12 * octaves[index], note.grace) for index, note in enumerate(written.line.notes)]
    after = [(note.measure, note.onset, note.duration, note.midi, note.grace) for note in again[0].notes]
    wrong = [f"{old} became {new}" for old, new in zip(before, after, strict=False) if old != new]
    if len(before) != len(after):
        wrong.append(f"{len(before)} notes became {len(after)}")
    ours = [measure.duration for measure in written.line.measures]
    theirs = [measure.duration for measure in again[0].measures]
    if ours != theirs:
        nth = next((nth for nth, pair in enumerate(zip(ours, theirs, strict=False)) if pair[0] != pair[1]), -1)
        wrong.append(f"measure {written.line.measures[nth].number} lasts {theirs[nth:nth + 1]}, not {ours[nth]}")
    return wrong


def check(path: Path, *, every_bass: bool = False) -> tuple[int, list[str]]:
    """Return how many parts were written, and what was wrong."""
    try:
        document = open_document(path)
        found = list(lines_in(document, every_bass=every_bass))
    except Unreadable:
        return 0, []
    count, wrong = 0, []
    for asked in found:
        if asked.line.player is not None:
            continue
        for reader in readers():
            count += 1
            written = written_for(document, asked, reader)
            wrong += [f"{path.name} {asked.part.id} line {asked.line.number} for {reader.name}: {difference}"
                      for difference in differences(written)[:2]]
    return count, wrong


def main(folders: list[str]) -> None:
    total, bad = 0, []
    for suite in suites([Path(folder) for folder in folders]):
        for path in suite.files:
            if path.stat().st_size < 1_500_000:
                count, wrong = check(path, every_bass=True)
                total, bad = total + count, bad + wrong
    print("\n".join(bad[:60]))
    print(f"{total} parts written, {len(bad)} differences")


if __name__ == "__main__":
    main(sys.argv[1:])

