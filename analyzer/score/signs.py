"""Signs that hold for all parts and stand in any of them: tempo, and where playing jumps."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction

from lxml import etree

from analyzer.score.document import Document
from analyzer.score.timeline import LENGTHS, Beat
from analyzer.score.vocabulary import folded, plain

_NUMBER = re.compile(r"\d+(?:[.,]\d+)?")
_RAMP = re.compile(r"\b(?:rit|ritard|ritardando|rall|rallent|rallentando|accel|accelerando|stringendo|allarg|"
                   r"allargando|slentando|affrettando|ritenuto|riten|cedez)\b")
_BACK = re.compile(r"\b(?:a tempo|tempo primo|tempo i|tempo 1|im tempo|au mouvement|in tempo)\b")
# Judged: quarter notes a minute for tempo words without a number, from the usual markings of metronome dials
# (common practice, no source). Only passages that lie near the limit of slide speed change with it; --tempo overrides.
_WORDS = (
    ("prestissimo", 200.0), ("presto", 176.0), ("vivacissimo", 168.0), ("vivace", 152.0), ("allegretto", 112.0),
    ("allegro", 132.0), ("moderato", 104.0), ("andantino", 84.0), ("andante", 76.0), ("adagietto", 70.0),
    ("adagio", 60.0), ("larghetto", 60.0), ("largo", 50.0), ("lento", 54.0), ("grave", 44.0),
)
_TEMPO_WORD = re.compile(r"\b(?:" + "|".join(word for word, _ in _WORDS) + r")\b")
# Common practice, no source: how jazz parts ask for swung eighths, and how they take it back.
_SWING = re.compile(r"\b(?:swing|swung|shuffle|triplet feel)\b")
_NO_SWING = re.compile(r"\b(?:no swing|not swung|straight|even|don't swing)\b")
_DC = re.compile(r"\bd\s?\.?\s?c\b\.?|\bda capo\b")
_DS = re.compile(r"\bd\s?\.?\s?s\b\.?|\bdal? segno\b")
_TO_CODA = re.compile(r"\bto coda\b|\bal coda$")
_SLOWEST_BPM, _FASTEST_BPM = 4.0, 1000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TempoSign:
    """A tempo at an offset inside a measure [quarter notes]. `bpm` counts quarter notes; `guessed` from a word.

    `playback`: the file plays it so, and nothing printed tells it. `beat` is the value that a printed number counts.
    """

    measure: int
    offset: Fraction
    bpm: float
    ramp: bool = False
    guessed: str = ""
    playback: bool = False
    beat: Beat | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Signpost:
    """A sign that sends playing elsewhere.

    ``dacapo``, ``dalsegno``, ``tocoda``, ``segno``, ``coda``; ``forward`` where a repeat begins without a printed sign.
    ``swing`` sends nowhere: from there on eighths are swung, `name` says in what words.
    """

    measure: int
    offset: Fraction
    kind: str
    name: str = ""


@dataclass(slots=True)
class _Found:
    rank: int                          # 0 printed number, 1 sound, 2 relation, 3 ramp or return, 4 word
    measure: int
    offset: Fraction
    bpm: float = 0.0
    ratio: Fraction | None = None
    kind: str = ""
    word: str = ""
    beat: Beat | None = None


def score_signs(document: Document) -> tuple[tuple[TempoSign, ...], tuple[Signpost, ...]]:
    """Return the tempo signs and signposts of the whole score, each in order of place.

    A printed metronome number outweighs the playback tempo at the same place; the first part that has a sign wins.
    """
    known: tuple[tuple[TempoSign, ...], tuple[Signpost, ...]] | None = document.memo.get("signs")
    if known is not None:
        return known
    found: list[_Found] = []
    posts: dict[tuple[str, int], Signpost] = {}
    places = _Places(document)
    for holder in _holders(document):
        alone = holder.tag == "sound" and not len(holder)
        signs = (holder,) if alone else holder.iter("sound", "swing", "metronome", "words", "segno", "coda")
        for element in signs:
            _READERS.get(str(element.tag), _mark)(element, places, found, posts)
    result = (_tempi(found), tuple(sorted(posts.values(), key=lambda post: (post.measure, post.offset))))
    document.memo["signs"] = result
    return result


class _Places:
    """Says where in the music an element stands. Divisions and measures are looked up per part, when first needed."""

    def __init__(self, document: Document) -> None:
        self._timewise = document.timewise
        self._root = document.root
        self._measures: dict[etree._Element, dict[etree._Element, int]] = {}
        self._divisions: dict[str, list[tuple[int, Fraction]]] = {}
        self._holder: etree._Element | None = None         # the measure asked for last, and the walk through it
        self._walk = _walk(())
        self._passed: dict[etree._Element, tuple[Fraction, Fraction | None]] = {}

    def find(self, element: etree._Element) -> tuple[int, Fraction]:
        """Return the index of the measure, and how far into it the element stands [quarter notes]."""
        child = element
        parent = child.getparent()
        while parent is not None and parent.tag not in ("measure", "part"):
            child, parent = parent, parent.getparent()
        if parent is None:
            return 0, Fraction(0)
        measure = parent if not self._timewise else parent.getparent()
        owner = measure.getparent() if measure is not None else None
        if measure is None or owner is None:
            return 0, Fraction(0)
        if owner not in self._measures:
            self._measures[owner] = {one: index for index, one in enumerate(owner.iterchildren("measure"))}
        index = self._measures[owner].get(measure, 0)
        part = parent if self._timewise else owner
        return index, self._offset(child, part, index)

    def _offset(self, child: etree._Element, part: etree._Element, index: int) -> Fraction:
        holder = child.getparent()
        if holder is None:
            return Fraction(0)
        if holder is not self._holder:
            self._holder, self._walk, self._passed = holder, _walk(holder), {}
        while child not in self._passed:
            sign, place = next(self._walk)
            self._passed[sign] = place
        ticks, divisions = self._passed[child]
        ticks += _fraction(child.findtext("offset")) or 0
        if ticks <= 0:
            return Fraction(0)
        return ticks / (divisions or self._divisions_at(part, index))

    def _divisions_at(self, part: etree._Element, index: int) -> Fraction:
        part_id = part.get("id", "")
        if part_id not in self._divisions:
            path = f"measure/part[@id={_quoted(part_id)}]" if self._timewise else "measure"
            music = self._root.iterfind(path) if self._timewise else part.iterchildren("measure")
            self._divisions[part_id] = [
                (place, value) for place, one in enumerate(music) for text in one.iterfind("attributes/divisions")
                if (value := _fraction(text.text))]
        held = [value for place, value in self._divisions[part_id] if place <= index]
        return held[-1] if held else Fraction(1)


def _walk(holder: Iterable[etree._Element]) -> Iterator[tuple[etree._Element, tuple[Fraction, Fraction | None]]]:
    """Yield each sign of a measure with how far it stands in it [divisions], and the divisions told there before it."""
    ticks = Fraction(0)
    divisions: Fraction | None = None
    for child in holder:
        tag = child.tag
        if tag == "note":
            if child.find("chord") is None and child.find("grace") is None:
                ticks += _fraction(child.findtext("duration")) or 0
        elif tag == "forward":
            ticks += _fraction(child.findtext("duration")) or 0
        elif tag == "backup":
            ticks -= _fraction(child.findtext("duration")) or 0
        elif tag == "attributes":
            divisions = _fraction(child.findtext("divisions")) or divisions
        else:
            yield child, (ticks, divisions)


def _quoted(text: str) -> str:
    return f"'{text}'" if "'" not in text else f'"{text}"'


def _holders(document: Document) -> list[etree._Element]:
    """Return the elements of the music that can hold a sign, in document order.

    Going by the children of measures leaves out the notes, and with them most of a score.
    """
    path = "measure/part" if document.timewise else "part/measure"
    # Signs on bar lines are looked for in the upper part alone: they hold for the system.
    upper = "measure/part[1]" if document.timewise else "part[1]/measure"
    query = f"{path}/direction|{path}/sound|{upper}/barline[segno or coda]"
    found = document.root.xpath(query)
    return [one for one in found if isinstance(one, etree._Element)] if isinstance(found, list) else []


def _mark(element: etree._Element, places: _Places, found: list[_Found],
          posts: dict[tuple[str, int], Signpost]) -> None:
    _post(posts, str(element.tag), *places.find(element), element.get("id", ""))


def _tempi(found: list[_Found]) -> tuple[TempoSign, ...]:
    places: dict[tuple[int, Fraction], dict[int, _Found]] = {}
    for one in found:
        places.setdefault((one.measure, one.offset), {}).setdefault(one.rank, one)
    signs: list[TempoSign] = []
    now: float | None = None           # the tempo that holds, ramps aside
    first: float | None = None
    beat: Beat | None = None           # the value that the number in force counts
    for (measure, offset), here in sorted(places.items(), key=lambda item: item[0]):
        ramp = False
        guessed = ""
        playback = False
        change = here.get(3)
        if 0 in here or 1 in here:
            bpm: float | None = (here.get(0) or here[1]).bpm
            playback = 0 not in here
            beat = None if playback else here[0].beat
        elif 2 in here and now is not None and here[2].ratio is not None:
            bpm, beat = now * float(here[2].ratio), here[2].beat
        elif change is not None and change.kind == "first":
            bpm = first
        elif change is not None and now is not None:
            bpm = now
        elif 4 in here:
            bpm, guessed, beat = here[4].bpm, here[4].word, None
        else:
            bpm = None
        if bpm is None or not _SLOWEST_BPM <= bpm <= _FASTEST_BPM:
            continue
        if change is not None and change.kind == "ramp":
            ramp = True
        now = bpm
        first = bpm if first is None else first
        last = signs[-1] if signs else None
        if last is None or last.bpm != bpm or last.ramp or ramp or (beat is not None and last.beat != beat):
            signs.append(TempoSign(measure=measure, offset=offset, bpm=bpm, ramp=ramp, guessed=guessed,
                                   playback=playback, beat=beat))
    return tuple(signs)


def _sound(element: etree._Element, places: _Places, found: list[_Found],
           posts: dict[tuple[str, int], Signpost]) -> None:
    if not element.attrib:
        return
    tempo = element.get("tempo")
    if tempo is not None:
        bpm = _float(tempo)
        if bpm is not None:
            found.append(_Found(1, *places.find(element), bpm))
    for kind in ("dacapo", "dalsegno", "tocoda", "segno", "coda"):
        name = element.get(kind)
        if name is not None and name != "no":
            _post(posts, kind, *places.find(element), name)
    if element.get("forward-repeat") == "yes":
        _post(posts, "forward", *places.find(element), "")


def _swing(element: etree._Element, places: _Places, found: list[_Found],
           posts: dict[tuple[str, int], Signpost]) -> None:
    if element.find("straight") is None and (element.find("first") is not None):
        _post(posts, "swing", *places.find(element), plain(element.findtext("swing-style")) or "Swing")


def _words(element: etree._Element, places: _Places, found: list[_Found],
           posts: dict[tuple[str, int], Signpost]) -> None:
    text = folded(plain(element.text))
    if len(text) < 3 or len(text) > 80:
        return
    if _SWING.search(text) and not _NO_SWING.search(text):
        _post(posts, "swing", *places.find(element), plain(element.text))
    if _RAMP.search(text):
        found.append(_Found(3, *places.find(element), kind="ramp"))
    elif _BACK.search(text):
        kind = "first" if "primo" in text or text.endswith((" i", " 1")) or "tempo i." in text else "back"
        found.append(_Found(3, *places.find(element), kind=kind))
    else:
        word = _TEMPO_WORD.search(text)
        if word:
            found.append(_Found(4, *places.find(element), dict(_WORDS)[word.group()],
                                word=plain(element.text)))
    for kind, pattern in (("dacapo", _DC), ("dalsegno", _DS), ("tocoda", _TO_CODA)):
        if pattern.search(text) and not (kind == "tocoda" and text.startswith("d")):
            _post(posts, kind, *places.find(element), "")


def _metronome(element: etree._Element, places: _Places, found: list[_Found],
               posts: dict[tuple[str, int], Signpost]) -> None:
    if element.find("metronome-note") is not None:       # notes on both sides: two eighths as a triplet, swung
        if element.find("metronome-note/metronome-tuplet") is not None:
            _post(posts, "swing", *places.find(element), "the sign for swung eighths")
        return
    units: list[Fraction] = []
    beat = Beat()
    dots = 0
    number: float | None = None
    for child in element.iterchildren("beat-unit", "beat-unit-dot", "per-minute"):
        if child.tag == "beat-unit":
            _dot(units, dots)
            dots = 0
            unit = LENGTHS.get(plain(child.text))
            if unit is None:
                return
            units.append(unit)
            beat = Beat(plain(child.text))
        elif child.tag == "beat-unit-dot":
            dots += 1
            beat = Beat(beat.unit, min(dots, 8))
        else:
            match = _NUMBER.search(child.text or "")
            number = float(match.group().replace(",", ".")) if match else None
    _dot(units, dots)
    if len(units) == 1 and number:
        found.append(_Found(0, *places.find(element), number * float(units[0]), beat=beat))
    elif len(units) == 2:              # old unit = new unit: the new one takes the time of the old one
        found.append(_Found(2, *places.find(element), ratio=units[1] / units[0], beat=beat))


def _dot(units: list[Fraction], dots: int) -> None:
    if units and dots:
        units[-1] *= 2 - Fraction(1, 2 ** min(dots, 8))


def _post(posts: dict[tuple[str, int], Signpost], kind: str, measure: int, offset: Fraction, name: str) -> None:
    posts.setdefault((kind, measure), Signpost(measure=measure, offset=offset, kind=kind, name=name))


def _fraction(text: str | None) -> Fraction | None:
    text = (text or "").strip()
    if not text or len(text) > 20:
        return None
    try:
        return Fraction(text)
    except (ValueError, ZeroDivisionError):
        return None


def _float(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if value == value else None


_READERS = {"sound": _sound, "swing": _swing, "words": _words, "metronome": _metronome}
