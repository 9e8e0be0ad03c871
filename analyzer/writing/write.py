"""A line of a score written for a reader: the pure work, from what is asked to a score in bytes."""

from dataclasses import dataclass

from lxml import etree

from analyzer.engrave.context import Attributes
from analyzer.problem import Problem, unreadable
from analyzer.score.document import Document, read_document
from analyzer.score.lines import Line
from analyzer.score.reader import read_part
from analyzer.score.timeline import Part
from analyzer.score.transposing import Reads
from analyzer.selection import Asked, asked_lines, chosen_parts
from analyzer.writing.alone import finished, line_alone
from analyzer.writing.notation import notated
from analyzer.writing.phrases import Phrase, phrases_of, section_breaks, settled
from analyzer.writing.readers import Reader


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """A line as a reader reads it. `document` is the new score, of one part ``P1``; `line` the line of the source."""

    asked: Asked
    line: Line
    reader: Reader
    phrases: tuple[Phrase, ...]
    document: Document
    problems: tuple[Problem, ...] = ()

    @property
    def outside(self) -> tuple[int, ...]:
        """Indices of the notes that stay outside the reader's range."""
        return tuple(index for phrase in self.phrases for index in phrase.outside)

    @property
    def octaves(self) -> dict[int, int]:
        """Octaves by which each note was moved, by index."""
        return {index: phrase.octaves for phrase in self.phrases for index in range(phrase.first, phrase.last + 1)}


def line_of_part(document: Document, part: str, number: int | None, *, measures: tuple[str, str] | None = None,
                 reads: Reads | None = None) -> tuple[Asked, list[Problem]]:
    """Return one line of one part.

    Raises
    ------
    Unreadable
        If the part, the line or the measures are not there, or the part has several lines and none is named.
    """
    parts, problems = chosen_parts(document, (part,))
    if len(parts) > 1:
        raise unreadable("several-parts", where=document.name, what=f"{len(parts)} parts are called '{part}'",
                         try_=f"Name one by its id: {', '.join(found.id for found in parts)}.")
    asked, found = asked_lines(document, parts, measures=measures, reads=reads)
    problems += found
    numbers = ", ".join(f"{nth} ({one.line.whose})" if one.line.whose else str(nth)
                        for nth, one in enumerate(asked, 1))
    if not asked or not any(one.line.notes for one in asked):
        raise unreadable("no-notes", where=f"{document.name}, {parts[0].full_name or part}",
                         what="there are no notes to write", try_="Name another part or other measures.")
    if number is None and len(asked) > 1:
        raise unreadable("several-lines", where=f"{document.name}, {parts[0].full_name or part}",
                         what=f"{len(asked)} players share this part",
                         try_=f"Say whose line is wanted with --line: {numbers}.")
    if number is not None and not 1 <= number <= len(asked):
        raise unreadable("no-such-line", where=f"{document.name}, {parts[0].full_name or part}",
                         what=f"there is no line {number}", try_=f"Lines of this part: {numbers}.")
    return asked[(number or 1) - 1], problems


def written_for(document: Document, asked: Asked, reader: Reader, *, reads: Reads | None = None,
                name: str = "", glides: bool = True) -> Written:
    """Write a line for a reader.

    Parameters
    ----------
    document : Document
        The score; it is not changed.
    asked : Asked
        The line, perhaps cut to some measures.
    reader : Reader
        Who reads it.
    reads : str, optional
        How treble-clef parts are read, where that was asked for.
    name : str
        Printed name of the part; that of the source where left out.
    glides : bool
        Whether glissandi stay; without them their notes are played one by one.
    """
    part, _ = read_part(document, asked.part.id, reads=reads)
    line = asked.line
    phrases = tuple(settled(line, phrases_of(line, section_breaks(document, part.id)), reader))
    root = line_alone(document, part, line, name=name or asked.part.full_name or asked.part.name)
    notated(root, line, phrases, reader)
    if not glides:
        _without_glides(root)
    _cut(root, part, line)
    return Written(asked=asked, line=line, reader=reader, phrases=phrases,
                   document=read_document(finished(root), f"{_stem(document.name)}.musicxml"))


def _without_glides(root: etree._Element) -> None:
    """Take glissandi and slides out, and the words that ask for them; their notes stay."""
    for direction in list(root.iter("direction")):
        said = [(words.text or "").strip().lower() for words in direction.iterfind("direction-type/words")]
        if said and all(word.startswith(("gliss", "port.")) for word in said) and (
                len(direction.findall("direction-type/*")) == len(said)) and (
                measure := direction.getparent()) is not None:
            measure.remove(direction)
    for notations in list(root.iter("notations")):
        for tag in ("glissando", "slide"):
            for sign in notations.findall(tag):
                notations.remove(sign)
        if not len(notations) and (note := notations.getparent()) is not None:
            note.remove(notations)


def _stem(name: str) -> str:
    return name.rsplit(".", 1)[0] if "." in name else name


def _cut(root: etree._Element, part: Part, line: Line) -> None:
    """Keep the measures of the line, the first of them with clef, key and time in force."""
    if not line.measures or len(line.measures) == len(part.measures):
        return
    first, last = line.measures[0].index, line.measures[-1].index
    music = root.find("part")
    assert music is not None, "a line alone has one part"
    measures = music.findall("measure")
    in_force = Attributes()
    for measure in measures[:first]:
        for attributes in measure.iterchildren("attributes"):
            in_force.take(attributes)
        music.remove(measure)
    in_force.open_with(measures[first])
    for measure in measures[last + 1:]:
        music.remove(measure)

