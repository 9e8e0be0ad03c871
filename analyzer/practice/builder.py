"""What every exercise is built with: the notes of a sheet, the player it is for, and proof that it can be played."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from random import Random

from analyzer.horns.candidate import Candidate
from analyzer.horns.horn import Horn
from analyzer.pitch import Pitch, Transposition, pitch_of
from analyzer.plan.plan import Plan
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner
from analyzer.practice.grammar import Grammar, Measure
from analyzer.score.lines import Line, LineNote
from analyzer.score.timeline import Measure as LineMeasure
from analyzer.score.timeline import Tempo

# The numbers on a metronome of the usual make; common practice, no source.
METRONOME = (40, 42, 44, 46, 48, 50, 52, 54, 56, 58, 60, 63, 66, 69, 72, 76, 80, 84, 88, 92, 96, 100, 104, 108, 112,
             116, 120, 126, 132, 138, 144, 152, 160, 168, 176, 184, 192, 200, 208)
BEATS = {Fraction(1, 8): "32nd", Fraction(1, 4): "sixteenth", Fraction(1, 2): "eighth", Fraction(3, 4): "dotted eighth",
         Fraction(1): "quarter", Fraction(3, 2): "dotted quarter", Fraction(2): "half", Fraction(3): "dotted half",
         Fraction(4): "whole"}
"""What a metronome counts [quarter notes], in words."""
_STEPS = "CDEFGAB"
_SHARPS = "FCGDAEB"


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillNote:
    """One note of a sheet, or a rest (`choice` and `written` None). `duration` in quarter notes, 0 for a grace note.

    `tied` continues the note before; `text` stands above it.
    """

    duration: Fraction
    choice: Candidate | None = None
    written: Pitch | None = None
    text: str = ""
    tied: bool = False
    slur_after: bool = False
    staccato: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Exercise:
    """One exercise: notes by measure, with what to do (`task`) and how to go up the metronome's steps (`climb`).

    `tempo_bpm` is where to begin, `steps` the metronome numbers up to the goal (empty where no speed is asked for);
    both count beats of `beat` quarter notes. `covers` names the moves or choices that it trains. `beats` over
    `beat_type` is its meter.
    """

    kind: str
    title: str
    task: str
    tempo_bpm: int
    steps: tuple[int, ...]
    measures: tuple[tuple[DrillNote, ...], ...]
    covers: tuple[str, ...]
    beats: str = "4"
    beat_type: str = "4"
    beat: Fraction = Fraction(1)
    climb: str = ""

    @property
    def words(self) -> str:
        """The task, and the metronome's numbers where there are some."""
        return self.told(" – ".join(str(step) for step in self.steps))

    def told(self, ladder: str) -> str:
        """Return the task with `ladder` in the place of the metronome's numbers."""
        return f"{self.task} Metronome {ladder}{self.climb}".strip() if self.steps else self.task

    @property
    def goal_bpm(self) -> int:
        """The fastest number that the exercise asks for. [beats a minute]"""
        return self.steps[-1] if self.steps else self.tempo_bpm


@dataclass(frozen=True, slots=True)
class PairEnd:
    """One end of a pair: a choice and what stands above it the first time."""

    choice: Candidate
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kit:
    """Everything that the makers of exercises share.

    `learner` is the player as the file tells, `player` the same with the valve states of this music learned: a drill
    teaches them. `low` and `high` [MIDI] bound every note.
    """

    planner: Planner
    plan: Plan
    learner: Player
    player: Player
    grammar: Grammar
    chance: Random
    fifths: int                        # key signature as printed
    transposition: Transposition
    clef: str
    low: int
    high: int
    spelled: Mapping[int, Pitch] = field(default_factory=dict)     # sounding MIDI -> written, as the music has it

    @property
    def horn(self) -> Horn:
        """The horn."""
        return self.planner.horn

    def can(self, choice: Candidate | None) -> bool:
        """Tell whether this player may be asked for a choice: in range, in reach, and known after the drill."""
        return (choice is not None and self.low <= choice.midi <= self.high and self.player.knows(choice.valves)
                and choice.out_mm <= self.player.reach_on(self.horn))

    def written(self, midi: int) -> Pitch:
        """Return the printed pitch of a sounding one: as in the music, else as its key has it."""
        return self.spelled.get(midi) or in_key(self.transposition.written(pitch_of(midi)), self.fifths)

    def note(self, choice: Candidate, duration: Fraction, text: str = "") -> DrillNote:
        """Return a note of a sheet."""
        return DrillNote(duration=duration, choice=choice, written=self.written(choice.midi), text=text)

    def pair(self, measures: Iterable[Measure], a: PairEnd, b: PairEnd) -> tuple[tuple[DrillNote, ...], ...]:
        """Fill the roles a and b; the text of each stands once."""
        ways = {"a": a, "b": b}
        said: set[str] = set()
        result = []
        for measure in measures:
            notes = []
            for token in measure:
                way = ways.get(token.role)
                if way is None:
                    notes.append(DrillNote(duration=token.length))
                    continue
                notes.append(self.note(way.choice, token.length, "" if token.role in said else way.text))
                said.add(token.role)
            result.append(tuple(notes))
        return tuple(result)

    def row(self, kind: str, ways: Sequence[PairEnd]) -> tuple[tuple[DrillNote, ...], ...]:
        """Fill the role n with a row of notes."""
        left = iter(ways)
        result = []
        for measure in self.grammar.row(kind, len(ways), self.chance):
            notes = []
            for token in measure:
                if token.role == "n":
                    way = next(left)
                    notes.append(self.note(way.choice, token.length, way.text))
                else:
                    notes.append(DrillNote(duration=token.length))
            result.append(tuple(notes))
        return tuple(result)


def in_key(pitch: Pitch, fifths: int) -> Pitch:
    """Return the spelling of a pitch that its key signature has, else the given one.

    Examples
    --------
    >>> in_key(Pitch("F", 1, 2), -6).name, in_key(Pitch("E", -1, 3), 2).name
    ('Gb2', 'Eb3')
    """
    for index, step in enumerate(_STEPS):
        place = _SHARPS.index(step)
        alter = 1 if place < fifths else -1 if 6 - place < -fifths else 0
        for octave in (pitch.octave - 1, pitch.octave, pitch.octave + 1):
            spelled = Pitch(_STEPS[index], alter, octave)
            if spelled.midi == pitch.midi:
                return spelled
    return pitch


def transposition_of(line: Line) -> Transposition:
    """Return the transposition that most notes of a line have."""
    found = Counter(
        (note.sounding.octave * 7 + _STEPS.index(note.sounding.step)
         - note.written.octave * 7 - _STEPS.index(note.written.step), note.sounding.midi - note.written.midi)
        for note in line.notes)
    if not found:
        return Transposition()
    diatonic, chromatic = found.most_common(1)[0][0]
    return Transposition(diatonic, chromatic)


def metronome(bpm: float) -> int:
    """Return the nearest number on a metronome."""
    return min(METRONOME, key=lambda number: (abs(number - bpm), number))


def steps_to(goal_bpm: float) -> tuple[int, ...]:
    """Return metronome numbers from three fifths of the goal up to it, about four.

    Examples
    --------
    >>> steps_to(120)
    (72, 88, 104, 120)
    """
    return tuple(dict.fromkeys(metronome(goal_bpm * share) for share in (0.6, 0.73, 0.87, 1.0)))


def exercise_line(exercise: Exercise, transposition: Transposition, bpm: int | None = None) -> Line:
    """Return an exercise as a line, as the planner wants it, at a metronome number (its fastest where none is given).
    """
    notes: list[LineNote] = []
    measures = []
    onset = Fraction(0)
    for index, row in enumerate(exercise.measures):
        start = onset
        for one in row:
            if one.tied and notes:
                last = notes[-1]
                notes[-1] = _lengthened(last, one.duration)
            elif one.written is not None and one.choice is not None:
                notes.append(LineNote(
                    refs=(len(notes),), measure=str(index + 1), measure_index=index, onset=onset,
                    duration=one.duration, written=one.written, sounding=transposition.sounding(one.written),
                    midi=one.choice.midi, grace=one.duration == 0, slur_after=one.slur_after, staccato=one.staccato))
            onset += one.duration
        measures.append(LineMeasure(index=index, number=str(index + 1), onset=start, duration=onset - start))
    goal = exercise.goal_bpm if bpm is None else bpm
    return Line(part_id="P1", part_name=exercise.title, family="other", number=1, of=1, notes=tuple(notes),
                measures=tuple(measures), tempi=(Tempo(onset=Fraction(0), bpm=float(goal * exercise.beat)),))


def _lengthened(note: LineNote, by: Fraction) -> LineNote:
    return LineNote(refs=note.refs, measure=note.measure, measure_index=note.measure_index, onset=note.onset,
                    duration=note.duration + by, written=note.written, sounding=note.sounding, midi=note.midi,
                    grace=note.grace, slur_after=note.slur_after, staccato=note.staccato)


def paced(exercise: Exercise, kit: Kit) -> Exercise | None:
    """Return an exercise that asks for no tempo above its own ceiling: as it is, or slower.

    The ceiling is the planner's (`Totals.tempo_ceiling_bpm`), with the exercise's own choices at every note. None where
    the metronome's slowest number is still too fast for this player.
    """
    ceiling = float("inf")
    for number in reversed([one for one in METRONOME if one <= exercise.goal_bpm]):
        if number * exercise.beat > ceiling:
            continue
        ceiling = _ceiling_bpm(exercise, kit, number)
        if number * exercise.beat <= ceiling:
            if number == exercise.goal_bpm:
                return exercise
            steps = steps_to(number) if exercise.steps else ()
            return replace(exercise, steps=steps, tempo_bpm=steps[0] if steps else number)
    return None


def _ceiling_bpm(exercise: Exercise, kit: Kit, bpm: int) -> float:
    """Return the ceiling of an exercise played at a metronome number [quarter notes a minute]; below it if too fast.

    Grace notes and breaths do not stretch with the tempo, so the ceiling is asked anew at each number.
    """
    totals = _planned(exercise, kit, bpm).totals
    told_mm_s = kit.player.max_speed_mm_s
    if told_mm_s is not None and (totals.peak_speed_mm_s or 0.0) > told_mm_s:
        return float(bpm * exercise.beat) * (1 - 1e-6)
    return float("inf") if totals.tempo_ceiling_bpm is None else totals.tempo_ceiling_bpm


def _planned(exercise: Exercise, kit: Kit, bpm: int | None = None) -> Plan:
    """Plan an exercise, the choices of its notes being settled."""
    line = exercise_line(exercise, kit.transposition, bpm)
    settled = [(one.choice,) for row in exercise.measures for one in row if one.choice is not None and not one.tied]
    return Planner(line, kit.horn, kit.player, weights=kit.planner.weights, choices=settled).outline()


def verified(exercise: Exercise, kit: Kit) -> Plan:
    """Plan an exercise with its labels at its fastest tempo; return the plan.

    Raises
    ------
    ValueError
        If a note cannot be played by this player on this horn, its label sounds another pitch, or a printed tempo is
        above the exercise's ceiling.
    """
    plan = _planned(exercise, kit)
    for one in plan.notes:
        if one.choice is None or not kit.can(one.choice) or one.note.sounding.midi != one.choice.midi:
            raise ValueError(f"{exercise.title}: {one.note.sounding.name} is not for this player")
    if exercise.goal_bpm * exercise.beat > _ceiling_bpm(exercise, kit, exercise.goal_bpm):
        raise ValueError(f"{exercise.title}: {exercise.goal_bpm} is above what this player can do")
    return plan
