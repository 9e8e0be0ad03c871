"""The line that one player plays, and how it is made: chords and voices divided, ties joined."""

from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from analyzer.assumption import Assumption
from analyzer.pitch import Pitch
from analyzer.problem import Problem
from analyzer.score.division import VoiceChord, players_of, shared_out
from analyzer.score.faults import Faults
from analyzer.score.timeline import Beat, Jump, Measure, Note, Part, Tempo, real


@dataclass(slots=True, kw_only=True, unsafe_hash=True)            # not frozen, as timeline.Note is not
class LineNote:
    """One attack of a line. `refs` are the ``<note>`` elements it covers (first the attack, then what is tied to it).

    `onset` and `duration` in quarter notes; a grace note has duration 0. `measure` is the number as printed,
    `measure_index` its place in the part.
    """

    refs: tuple[int, ...]
    measure: str
    measure_index: int
    onset: Fraction
    duration: Fraction
    written: Pitch
    sounding: Pitch
    midi: int
    grace: bool = False
    slur_after: bool = False
    gliss_after: bool = False
    staccato: bool = False
    tenuto: bool = False
    breath_after: bool = False
    fermata: bool = False
    optional: bool = False
    harmonic: bool = False
    given: str | None = None
    instrument: str | None = None
    clef: str = "bass"
    family: str | None = None          # of the horn that the player has taken up, None: that of the part
    free: bool = False                 # too short to be played in time: free time, as in a cadenza


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """What one player plays of a part on one horn. `number` counts from 1, `of` is how many lines the part has.

    Where a player changes horns, each horn has a line, and `player` is (number of the player, how many players).
    `jumps` are pairs of note indices (i, j): after note i playing may go on at note j (a repeat).
    """

    part_id: str
    part_name: str
    family: str                        # trombone, bass trombone, euphonium, baritone, other
    number: int
    of: int
    notes: tuple[LineNote, ...]
    measures: tuple[Measure, ...]
    tempi: tuple[Tempo, ...]
    jumps: tuple[tuple[int, int], ...] = ()
    player: tuple[int, int] | None = None
    assumptions: tuple[Assumption, ...] = ()

    def beat_at(self, onset: Fraction) -> Beat:
        """Return the beat that is printed at an onset: that of the metronome mark, else of the time signature.

        A metronome mark tells the beat until the time signature changes to another.
        """
        meter = self._meter_at(onset) or Beat()
        told = next((tempo for tempo in reversed(self.tempi) if tempo.onset <= onset), None)
        if told is None or told.beat is None:
            return meter
        return told.beat if (self._meter_at(told.onset) or meter) == meter else meter

    def _meter_at(self, onset: Fraction) -> Beat | None:
        """Return the beat of the time signature at an onset, None before the first measure."""
        before = bisect_right(self.measures, onset, key=lambda measure: measure.onset)
        return self.measures[before - 1].beat if before else None

    def __repr__(self) -> str:
        """Return one short line."""
        return f"Line({self.part_id} {self.part_name!r}, {self.number} of {self.of}, {len(self.notes)} notes)"

    @property
    def whose(self) -> str:
        """What tells the line from others of its part: ``player 2 of 3``, ``on euphonium``; empty for an only line."""
        number, of = self.player or (self.number, self.of)
        told = [f"player {number} of {of}"] if of > 1 else []
        if self.player is not None:
            told.append(f"on {self.family}")
        return ", ".join(told)

    def picked(self, kept: Sequence[int]) -> "Line":
        """Return the line with only the notes of these indices (in order), and the jumps between them."""
        place = {old: new for new, old in enumerate(kept)}
        return replace(self, notes=tuple(self.notes[k] for k in kept),
                       jumps=tuple((place[a], place[b]) for a, b in self.jumps if a in place and b in place))


_EQUAL = 1e-7
MOST_PLAYERS = 24
"""Lines of one staff at most; judged: no part is printed for more players, and a damaged file could ask for thousands.
Any limit from 12 to 100 leaves every score of the suites as it is."""
_FREE_S, _FREE_QUARTERS = 0.03, 1 / 16
"""Attacks that follow each other faster than this, and are written as 64ths or shorter, are free time: 33 notes a
second are more than twice what any player tongues, slurs or fingers. Judged."""
_NO_TEMPO_BPM = 100.0                   # as the plan supposes where the score tells none
_MOST_JUMPS, _MOST_TO_ONE = 100, 8
"""Leaps of a line that are planned, and those to one place; judged: twice what any score of the suites has. The time of
planning grows with their square."""


def lines_of(part: Part, family: str) -> tuple[tuple[Line, ...], tuple[Problem, ...]]:
    """Return one line per player of the part, upper staff and upper voice first.

    There are as many lines as notes sound together anywhere on a staff. A note that stands alone where the others have
    neither note nor printed rest is for all of them (unless a word such as "1." gives it to one); a chord goes to the
    lines from the top down; voices share the lines, the lower number above. Empty if the part has no notes.
    """
    faults = Faults(part.name)
    staves: dict[int, list[Note]] = defaultdict(list)
    for note in part.notes:
        if note.slash:
            faults.measure = part.measures[note.measure].number
            faults.add("note", "slash", "slash notation shows rhythm without pitches, so nothing is planned there", "")
        else:
            staves[note.staff].append(note)
    played: list[list[Note]] = []
    for staff in sorted(staves):
        if _one_by_one(staves[staff]):
            played.append(sorted(staves[staff], key=_order))
            continue
        groups = _groups(staves[staff])
        count = players_of(groups)
        if count > MOST_PLAYERS:
            faults.measure = ""
            faults.add("warning", "too-many-players", f"{count} notes sound together on one staff, more than one part "
                       f"can be for; {MOST_PLAYERS} of them are planned", "Check that part in the score.")
            count = MOST_PLAYERS
            voices = dict.fromkeys(list(dict.fromkeys(group.voice for group in groups))[:MOST_PLAYERS])
            groups = [group for group in groups if group.voice in voices]
        if count == 1:
            played.append(sorted(staves[staff], key=_order))
            continue
        rests = [rest for rest in part.rests if rest.staff == staff]
        words = [word for word in part.players if word.staff == staff]
        played.extend(sorted(notes, key=_order) for notes in shared_out(groups, rests, words, count))
    lines = [_line(part, family, number, len(played), notes, faults) for number, notes in enumerate(played, start=1)]
    if len(lines) > 1:
        shared = Assumption(about="players", value=f"{len(lines)} players", source="as many notes sound together; the "
                            "upper note is for the lower number")
        lines = [replace(line, assumptions=(*line.assumptions, shared)) for line in lines]
    if any(note.family is not None for note in part.notes):
        lines = [one for line in lines for one in _by_horn(line, faults)]
        lines = [replace(line, number=number, of=len(lines)) for number, line in enumerate(lines, start=1)]
    return tuple(lines), faults.problems()


def _by_horn(line: Line, faults: Faults) -> list[Line]:
    """Return one line a horn of a player who changes horns; what is for an instrument of no low brass is left out."""
    horns: dict[str, list[int]] = {}
    last = line.family
    for index, note in enumerate(line.notes):
        family = note.family or line.family
        faults.measure = note.measure
        if family == "other":
            faults.add("warning", "other-instrument", "the player takes up an instrument here that is not planned, and "
                       "its notes are left out", "Plan them with --part, from a score in which they are a part.")
        else:
            if family != last:
                faults.add("note", "horn-change", f"the player changes horns here, to {family}; the notes of each horn "
                           "are planned as a line of their own", "One player needs both horns.")
            last = family
        horns.setdefault(family, []).append(index)
    horns.pop("other", None)
    if list(horns) == [line.family]:
        return [line.picked(horns[line.family])]
    return [replace(line.picked(kept), family=family, player=(line.number, line.of)) for family, kept in horns.items()]


def _order(note: Note) -> tuple[float, bool, int]:
    return (real(note.onset), not note.grace, note.ref)         # fractions compare three times as slowly


def _one_by_one(notes: Sequence[Note]) -> bool:
    """Tell whether one voice has one note after another: one player plays them, and nothing is to be shared out."""
    before: tuple[int, int] | None = None
    for note in notes:
        onset = note.onset.as_integer_ratio()
        if onset == before or note.voice != notes[0].voice:
            return False
        before = onset
    return True


def _groups(notes: Sequence[Note]) -> list[VoiceChord]:
    """Return the chords of a staff: notes of one voice that begin together (graces stand alone, in their order)."""
    groups: list[VoiceChord] = []
    last: dict[str, tuple[VoiceChord, tuple[int, int]]] = {}
    for note in notes:
        onset = note.onset.as_integer_ratio()          # equal fractions have equal ones, sooner told
        before, at = last.get(note.voice, (None, None))
        if before is not None and before.measure == note.measure and at == onset \
                and before.grace == note.grace and (note.chord or not note.grace):
            before.notes.append(note)
            continue
        group = VoiceChord(voice=note.voice, measure=note.measure, onset=note.onset, grace=note.grace, notes=[note])
        last[note.voice] = group, onset
        groups.append(group)
    return groups


def _line(part: Part, family: str, number: int, of: int, notes: Sequence[Note], faults: Faults) -> Line:
    labels = [measure.number for measure in part.measures]
    result: list[LineNote] = []
    tied = False                       # the last entry goes on by a tie
    end = -1.0                         # of the last entry [quarter notes]; exact times differ by more than _EQUAL
    for note in notes:
        faults.measure = labels[note.measure]
        start = real(note.onset)
        if result and not note.grace and not result[-1].grace:
            last = result[-1]
            gap = start - end
            if tied and note.tie_stop and abs(gap) < _EQUAL and last.midi == note.sounding.midi:
                end = start + real(note.duration)
                result[-1] = replace(
                    last, refs=(*last.refs, note.ref), duration=last.duration + note.duration,
                    slur_after=note.slur_after,
                    gliss_after=note.gliss_after or last.gliss_after, staccato=note.staccato,
                    tenuto=last.tenuto or note.tenuto, breath_after=note.breath_after,
                    fermata=last.fermata or note.fermata, optional=last.optional)
                tied = note.tie_start
                continue
            if gap < -_EQUAL:
                if note.onset == last.onset:
                    faults.add("warning", "overlap", f"two notes begin together in line {number}, and one player plays "
                               f"one: {note.written.pretty} is left out", "Write them as a chord or in two voices.")
                    continue
                faults.add("warning", "overlap", f"two notes overlap in line {number}; the first is cut short",
                           "Write them in two voices if two players play them.")
                result[-1] = replace(last, duration=note.onset - last.onset)
        result.append(LineNote(
            refs=(note.ref,), measure=labels[note.measure], measure_index=note.measure, onset=note.onset,
            duration=note.duration, written=note.written, sounding=note.sounding, midi=note.sounding.midi,
            grace=note.grace, slur_after=note.slur_after, gliss_after=note.gliss_after, staccato=note.staccato,
            tenuto=note.tenuto, breath_after=note.breath_after, fermata=note.fermata, optional=note.optional,
            harmonic=note.harmonic, given=note.given, instrument=note.instrument, clef=note.clef, family=note.family))
        if not note.grace:
            tied = note.tie_start
            end = start + real(note.duration)
    _set_free(result, part, faults)
    return Line(part_id=part.id, part_name=part.name, family=family, number=number, of=of, notes=tuple(result),
                measures=part.measures, tempi=part.tempi, jumps=_note_jumps(result, part.jumps, part.measures, faults),
                assumptions=part.assumptions)


def _set_free(notes: list[LineNote], part: Part, faults: Faults) -> None:
    """Mark the attacks that are too short to be played in time: a cadenza written out is played freely."""
    if not any(real(note.duration) <= _FREE_QUARTERS for note in notes):
        return
    for k, note in enumerate(notes):
        if note.grace or real(note.duration) > _FREE_QUARTERS:
            continue
        following = next((other.onset for other in notes[k + 1:k + 9] if not other.grace), note.onset + note.duration)
        length = max(following - note.onset, Fraction(0))
        bpm = next((tempo.bpm for tempo in reversed(part.tempi) if tempo.onset <= note.onset), None) or (
            part.tempi[0].bpm if part.tempi else _NO_TEMPO_BPM)
        if length <= _FREE_QUARTERS and float(length) * 60 / bpm < _FREE_S:
            notes[k] = replace(note, free=True)
            faults.measure = note.measure
            faults.add("note", "free-time", "an attack is too short to be played in time, as in a written-out cadenza; "
                       "it is read as free time and sets no tempo", "Play it freely.")


def _note_jumps(notes: Sequence[LineNote], jumps: Sequence[Jump],
                measures: Sequence[Measure], faults: Faults) -> tuple[tuple[int, int], ...]:
    """Return the jumps as pairs of note indices: the last note before the leap, the first after it."""
    found: dict[tuple[int, int], None] = {}
    for jump in jumps:
        leave = max((index for index, note in enumerate(notes) if _before(note, jump, measures)), default=None)
        reach = next((index for index, note in enumerate(notes) if _reached(note, jump, measures)), None)
        if leave is None or reach is None:
            continue
        back = jump.to_measure <= jump.from_measure
        if reach <= leave if back else reach > leave + 1:
            found[leave, reach] = None
    to = Counter[int]()
    kept: list[tuple[int, int]] = []
    for leave, reach in found:
        to[reach] += 1
        if to[reach] <= _MOST_TO_ONE and len(kept) < _MOST_JUMPS:
            kept.append((leave, reach))
    if len(kept) < len(found):
        faults.measure = ""
        faults.add("note", "many-repeats", f"there are {len(found)} repeats and jumps; the moves over {len(kept)} of "
                   "them are planned", "")
    return tuple(kept)


def _before(note: LineNote, jump: Jump, measures: Sequence[Measure]) -> bool:
    """Tell whether a note stands before the place where playing leaves."""
    if note.measure_index != jump.from_measure or jump.from_offset is None:
        return note.measure_index <= jump.from_measure
    return note.onset < measures[jump.from_measure].onset + jump.from_offset


def _reached(note: LineNote, jump: Jump, measures: Sequence[Measure]) -> bool:
    """Tell whether a note stands at or after the place where playing goes on."""
    if note.measure_index != jump.to_measure:
        return note.measure_index > jump.to_measure
    return note.onset >= measures[jump.to_measure].onset + jump.to_offset
