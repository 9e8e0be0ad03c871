"""The door for programmers: the functions and results that ``import analyzer`` offers.

Each function asks what the command of its name asks, and each result gives the same document (`to_dict`) and the same
text (``print(result)``). A score, player, section or horn that cannot be read raises `Unreadable`, whose text says
where, what was found and what to try.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cached_property
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, cast, get_args

from analyzer import analysis as planning
from analyzer.files import write_file
from analyzer.horns.profiles import load_horn
from analyzer.intonation.targets import Intonation
from analyzer.plan.player import Player, player_of, read_player
from analyzer.problem import Problem, Unreadable
from analyzer.schemas import schema
from analyzer.score.document import Document, open_document
from analyzer.score.transposing import Reads
from analyzer.words import counted, shown

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Analysis", "Answer", "Comparison", "Drill", "Fit", "Horn", "LinePlan", "Ready", "Review", "Score", "Survey",
           "Unreadable", "compare", "drill", "fit", "horn", "plan", "read", "ready", "review", "schema", "survey"]

PathLike = str | Path
Document_ = dict[str, Any]
Measures = str | int | tuple[str | int, str | int]
Pins = Mapping[str, str] | Iterable[str]
_TEMPI_BPM = (10, 600)
_INTEGERS = ("index", "midi", "position", "partial")
_SHOWN_MEASURES = 40


class Answer:
    """What was found: `to_dict` gives the JSON document of the command, ``print`` its text, `problems` what was odd."""

    def __init__(self, said: str, document: Callable[[], Document_], text: Callable[[], str],
                 problems: Sequence[Problem] = ()) -> None:
        """Take the words of the short form and the functions that make the long ones when they are asked for."""
        self._said, self._document, self._text = said, document, text
        self.problems = tuple(problems)

    def to_dict(self) -> Document_:
        """Return the document of the command, in plain values that `json` writes; a new one at each call."""
        return self._document()

    def __str__(self) -> str:
        """Return what the command prints."""
        return self._text().strip("\n")

    def __repr__(self) -> str:
        """Return one short line."""
        return f"<{type(self).__name__}: {self._said}>"

    def _repr_html_(self) -> str:
        """Return the command's text, for a notebook."""
        return f"<pre>{escape(str(self))}</pre>"


class Score(Answer):
    """A score that was read; `to_dict` is the document of ``lowbrass parts``."""

    def __init__(self, document: Document) -> None:
        """Take a parsed score."""
        from analyzer.report.parts import parts_document, parts_of, parts_text

        self.document = document
        self._parts_of = parts_of
        super().__init__(f"{document.name}{f', {document.title}' if document.title else ''}",
                         lambda: parts_document(document, *self._found),
                         lambda: parts_text(document, self._found[0]), document.problems)

    @cached_property
    def _found(self) -> Any:
        return self._parts_of(self.document)

    @property
    def title(self) -> str:
        """Title of the work or movement; empty where the score has none."""
        return self.document.title

    @property
    def parts(self) -> list[Document_]:
        """Every part with its family, clefs, range and evidence, in score order."""
        return cast(list[Document_], self.to_dict()["parts"])


class Horn(Answer):
    """A horn and every way to sound each of its notes; `to_dict` is the document of ``lowbrass chart``."""

    def __init__(self, name: str) -> None:
        """Load a horn by name or TOML file."""
        from analyzer.report.chart.document import chart_document
        from analyzer.report.chart.text import chart_text

        model = load_horn(name)
        self.name, self.family, self.description = model.name, model.family, model.description
        self.source = name
        super().__init__(f"{model.name}, {model.description}", lambda: chart_document(model),
                         lambda: chart_text(model))


class LinePlan:
    """The plan of one line: what one player plays of a part.

    `notes` are the notes of the ``lowbrass map`` document, one for each attack; `totals` its sums.
    """

    def __init__(self, line: planning.Planned) -> None:
        """Take a planned line."""
        self.part_id, self.part = line.part.id, line.part.full_name or line.part.name or line.part.id
        self.number, self.of = line.plan.line.number, line.plan.line.of
        self.horn, self.horn_assumed = line.plan.horn.name, line.assumed
        self._line = line

    @cached_property
    def _document(self) -> Document_:
        return self.to_dict()

    def to_dict(self) -> Document_:
        """Return the line as it stands in the ``lowbrass map`` document; a new one at each call."""
        from analyzer.report.map.document import line_json

        return line_json(self._line)

    @property
    def notes(self) -> list[Document_]:
        """The notes, in playing order as printed."""
        return cast(list[Document_], self._document["notes"])

    @property
    def totals(self) -> Document_:
        """Sums over the line: travel [mm], valve changes, the tempo ceiling [quarter notes a minute] and others."""
        return cast(Document_, self._document["totals"])

    @property
    def labels(self) -> list[str | None]:
        """The label of each note, such as ``"4"``, ``"T2"`` or ``"1-3"``; None where the horn has no choice."""
        return [note["label"] for note in self.notes]

    def __repr__(self) -> str:
        """Return one short line."""
        plan = self._line.plan
        left = sum(note.changed for note in plan.notes)
        return (f"<LinePlan: {self.part}, line {self.number} of {self.of}, {self.horn}: {len(plan.notes)} notes, "
                f"{left} off the usual chart>")


class Analysis(Answer):
    """The plan of every line that was asked for; `to_dict` is the document of ``lowbrass map``."""

    def __init__(self, found: planning.Analysis) -> None:
        """Take what the analysis found."""
        from analyzer.report.map.document import map_document
        from analyzer.report.map.text import map_text

        self._found = found
        self.lines = tuple(LinePlan(line) for line in found.lines)
        self.cautions = found.cautions
        notes = sum(len(line.plan.notes) for line in found.lines)
        lines = f"{len(self.lines)} line{'' if len(self.lines) == 1 else 's'}"
        super().__init__(f"{found.document.name}, {lines}, {notes} notes", lambda: map_document(found),
                         lambda: map_text(found), found.problems)

    def to_frame(self) -> "pd.DataFrame":
        """Return a pandas table, one row for each note, its columns the fields of a note.

        The rows are indexed by part (its id) and line (from 1); ``reset_index()`` makes columns of them.

        Raises
        ------
        ModuleNotFoundError
            If pandas is not installed.
        """
        import pandas as pd

        notes = [note for line in self.lines for note in line.notes]
        places = [(line.part_id, line.number) for line in self.lines for _ in line.notes]
        frame = pd.DataFrame(notes, columns=None if notes else schema("map")["$defs"]["note"]["required"],
                             index=pd.MultiIndex.from_tuples(places, names=["part", "line"]))
        return frame.astype(dict.fromkeys(_INTEGERS, "Int64"))

    def write(self, path: PathLike, *, paper: Literal["a4", "letter"] = "a4", large: bool = False,
              pictures: Literal["hard", "all", "none"] = "hard") -> Path:
        """Write the marked score or a page of it, whole or not at all, and return its path.

        Parameters
        ----------
        path : str or Path
            The ending says what: ``.musicxml``, ``.xml`` or ``.mxl`` a marked score, ``.svg``, ``.pdf`` or ``.html``
            a page.
        paper, large
            Paper of a ``.pdf`` and of a printed ``.html``; large print.
        pictures
            Behind a part in a ``.pdf``: one sheet of its hardest spots, all slide or valve pictures too, or nothing.

        Raises
        ------
        ValueError
            If the ending is not one of these.
        Unreadable
            If the file cannot be written.
        """
        from analyzer.report.map.file import ENDINGS, map_file

        target = _target(path, ENDINGS)
        write_file(target, map_file(self._found, target, paper=paper, large=large, pictures=pictures))
        return target

    def _repr_html_(self) -> str:
        """Return a table for a notebook: measures, written notes over their labels."""
        return "".join(_line_html(line) for line in self.lines) + "".join(
            f"<p><small>{escape(caution)}</small></p>" for caution in self.cautions)


class Review(Answer):
    """What a review found; `to_dict` is the document of ``lowbrass review``."""

    findings: list[Document_]


class Comparison(Answer):
    """The same lines on several horns; `to_dict` is the document of ``lowbrass compare``."""


class Fit(Answer):
    """Who plays what in a section; `verdict` and the document of ``lowbrass fit``."""

    verdict: str


class Ready(Answer):
    """What a change of horn asks of a student; `to_dict` is the document of ``lowbrass ready``."""


class Drill(Answer):
    """A practice sheet; `to_dict` is the document of ``lowbrass drill``."""

    _content: Callable[[str, Literal["a4", "letter"]], bytes]

    def write(self, path: PathLike, *, paper: Literal["a4", "letter"] = "a4") -> Path:
        """Write the sheet as a score (``.musicxml``, ``.xml``) or a page (``.pdf``, ``.svg``, ``.html``).

        Raises
        ------
        ValueError
            If the ending is not one of these.
        Unreadable
            If the file cannot be written.
        """
        from analyzer.report.drill.file import ENDINGS

        target = _target(path, ENDINGS)
        write_file(target, self._content(target.suffix.lower(), paper))
        return target


class Survey(Answer):
    """What the scores of a folder ask for; `to_dict` is the document of ``lowbrass survey``."""

    _frame: Callable[[], Any]

    def to_frame(self) -> "pd.DataFrame":
        """Return a pandas table, one row for each line on each horn."""
        return cast("pd.DataFrame", self._frame())


def read(path: PathLike) -> Score:
    """Read a score: MusicXML, .mscz, .mscx or MEI; ABC, Humdrum and MIDI where music21 is installed.

    Raises
    ------
    Unreadable
        If there is no such file or it is no score.
    """
    return Score(open_document(Path(path)))


def horn(name_or_file: PathLike) -> Horn:
    """Return a horn by its name (``"tenor-f"``) or from a TOML file.

    Raises
    ------
    Unreadable
        If there is no such horn, or the file is no horn.
    """
    return Horn(str(name_or_file))


def plan(score: Score | PathLike, *, horn: Horn | PathLike | Sequence[Horn | PathLike] | None = None,
         part: str | Sequence[str] | None = None, tempo_bpm: float | None = None,
         player: Player | PathLike | Mapping[str, Any] | None = None, measures: Measures | None = None,
         pins: Pins | None = None, reads: str | None = None, intonation: str = "equal") -> Analysis:
    """Plan the low-brass lines of a score: the least-cost choice for every note, and why.

    Parameters
    ----------
    score : Score, str or Path
        What `read` returned, or a file.
    horn : str, Path, Horn, or a list of them
        Each holds for the lines of its kind (slide or valves); a line without one keeps the horn of its part.
    part : str or list of str
        Ids or names; by default every low-brass part.
    tempo_bpm : float
        Quarter notes a minute, 10 to 600, instead of the score's tempo.
    player : str, Path, or dict
        A player file, or its keys.
    measures : str, int, or pair
        Measures as printed: ``"5-12"``, ``(5, 12)``, ``7``.
    pins : dict or list
        Choices to keep: ``{"12:3": "T1"}`` is the third attack of measure 12; with several lines ``"12:2.3"``.
    reads : "concert" or "treble-b-flat"
        How a treble-clef low-brass part is to be read where the score leaves a doubt.
    intonation : "equal" or "just"
        Where long notes stand: in equal temperament, or at their pure place in the chord of the whole score.

    Raises
    ------
    Unreadable
        If a part, horn, measure, player or pin is not there, or the score has no low brass.
    ValueError
        If a value has the wrong form.
    """
    document = _document(score)
    request = _request(horn=horn, part=part, tempo_bpm=tempo_bpm, player=player, measures=measures, pins=pins,
                       reads=reads, intonation=intonation)
    return Analysis(planning.analyse(document, request))


def review(score: Score | PathLike, *, horn: Horn | PathLike | Sequence[Horn | PathLike] | None = None,
           part: str | Sequence[str] | None = None, tempo_bpm: float | None = None,
           player: Player | PathLike | Mapping[str, Any] | None = None, measures: Measures | None = None,
           reads: str | None = None) -> Review:
    """Review a score on a horn note by note: what is beyond it, where to take care, what to do. Options as in `plan`.

    Raises
    ------
    Unreadable, ValueError
        As `plan`.
    """
    from analyzer.report.review import review_document, review_text
    from analyzer.review.line import review as reviewed

    document = _document(score)
    request = _request(horn=horn, part=part, tempo_bpm=tempo_bpm, player=player, measures=measures, reads=reads)
    found = planning.analyse(document, request)
    lines = reviewed(found)
    findings = [finding for line in lines for finding in line.findings]
    stops = sum(finding.severity == "stop" for finding in findings)
    answer = Review(f"{document.name}, {len(findings)} findings, {stops} of them stop the player",
                    lambda: review_document(found, lines), lambda: review_text(found, lines), found.problems)
    answer.findings = answer.to_dict()["findings"]
    return answer


def compare(score: Score | PathLike, *, horns: Sequence[Horn | PathLike], part: str | Sequence[str] | None = None,
            tempo_bpm: float | None = None, player: Player | PathLike | Mapping[str, Any] | None = None,
            measures: Measures | None = None, reads: str | None = None) -> Comparison:
    """Compare two horns or more on the same lines. Options as in `plan`.

    Raises
    ------
    Unreadable
        As `plan`.
    ValueError
        If fewer than two horns are named, or a value has the wrong form.
    """
    from analyzer.report.compare import compare_document, compare_text
    from analyzer.review.compare import compare as compared

    names = list(dict.fromkeys(_names(horns)))
    if len(names) < 2:
        raise ValueError(f"horns is {list(names)}; name two horns or more, such as ['tenor', 'tenor-f'].")
    document = _document(score)
    request = _request(part=part, tempo_bpm=tempo_bpm, player=player, measures=measures, reads=reads)
    found = compared(document, [load_horn(name) for name in names], request)
    return Comparison(f"{document.name} on {', '.join(one.name for one in found.horns)}",
                      lambda: compare_document(found), lambda: compare_text(found), found.problems)


def fit(score: Score | PathLike, *, section: PathLike | Mapping[str, Any], part: str | Sequence[str] | None = None,
        measures: Measures | None = None, tempo_bpm: float | None = None, reads: str | None = None) -> Fit:
    """Seat a section for a score and judge whether the piece suits it.

    `section` is a section file, or its content: ``{"player": [{"name": ..., "horns": [...]}]}``.

    Raises
    ------
    Unreadable
        If the section has a mistake, or as `plan`.
    """
    from analyzer.report.fit.document import fit_document
    from analyzer.report.fit.text import fit_text
    from analyzer.section.fit import fit as fitted
    from analyzer.section.section import read_section, section_of

    if isinstance(section, Mapping):
        players, problems = section_of(section)
        if players is None:
            raise Unreadable(problems[0])
    else:
        players = read_section(Path(section))
    document = _document(score)
    found = fitted(document, players, parts=_texts(part), measures=_span(measures), tempo_bpm=_tempo(tempo_bpm),
                   reads=_reads(reads))
    answer = Fit(f"{document.name} {found.verdict}", lambda: fit_document(found), lambda: fit_text(found),
                 found.problems)
    answer.verdict = found.verdict
    return answer


def ready(score: Score | PathLike | Sequence[Score | PathLike], *,
          player: Player | PathLike | Mapping[str, Any] | None = None, from_horn: Horn | PathLike,
          to_horn: Horn | PathLike, part: str | Sequence[str] | None = None, reads: str | None = None) -> Ready:
    """Set two horns side by side for a player and the music at hand, for a teacher to weigh.

    `score` may be several scores.

    Raises
    ------
    Unreadable
        As `plan`.
    ValueError
        If both horns are the same.
    """
    from analyzer.report.ready import ready_document, ready_text
    from analyzer.section.ready import ready as compared

    before, after = (load_horn(name) for name in _names([from_horn, to_horn]))
    if before == after:
        raise ValueError(f"from_horn and to_horn are both {before.name}; name two horns.")
    scores = [score] if isinstance(score, Score | str | Path) else list(score)
    found = compared([_document(each) for each in scores], before, after, _player(player), parts=_texts(part),
                     reads=_reads(reads))
    return Ready(f"from {before.name} to {after.name}, {', '.join(each.name for each in found.documents)}",
                 lambda: ready_document(found), lambda: ready_text(found), found.problems)


def drill(score: Score | PathLike, *, horn: Horn | PathLike | Sequence[Horn | PathLike] | None = None,
          part: str | Sequence[str] | None = None, tempo_bpm: float | None = None,
          player: Player | PathLike | Mapping[str, Any] | None = None, measures: Measures | None = None,
          reads: str | None = None, intonation: str = "equal", seed: int = 1, weeks: int | None = None) -> Drill:
    """Make a practice sheet from the moves of a score that are new, far, fast or out of tune. Options as in `plan`.

    `seed` draws other patterns; `weeks` (1 to 12) spreads the exercises.

    Raises
    ------
    Unreadable
        As `plan`, or if nothing of it can be played.
    ValueError
        If a value has the wrong form.
    """
    from analyzer.practice.drills import drills_for
    from analyzer.practice.weeks import practice_days
    from analyzer.report.drill.document import drill_document
    from analyzer.report.drill.file import sheet_content
    from analyzer.report.drill.text import drill_text

    if weeks is not None and not 1 <= weeks <= 12:
        raise ValueError(f"weeks is {weeks}; give 1 to 12.")
    document = _document(score)
    request = _request(horn=horn, part=part, tempo_bpm=tempo_bpm, player=player, measures=measures, reads=reads,
                       intonation=intonation)
    drills = drills_for(document, request, seed=seed)
    days = practice_days(drills, weeks) if weeks else ()
    planned = drills.planned
    answer = Drill(f"{document.name}, {planned.part.full_name or planned.part.name or planned.part.id}, "
                   f"{planned.plan.horn.name}, {len(drills.exercises)} exercises",
                   lambda: drill_document(drills, days), lambda: drill_text(drills, days), drills.problems)
    answer._content = lambda ending, paper: sheet_content(drills, days, ending, paper)
    return answer


def survey(folder: PathLike, *, horn: Horn | PathLike | Sequence[Horn | PathLike] | None = None,
           part: str | Sequence[str] | None = None, tempo_bpm: float | None = None,
           player: Player | PathLike | Mapping[str, Any] | None = None, bass_clef: bool = False,
           foreign: bool = False) -> Survey:
    """Plan every low-brass line of a folder of scores, one file after the other, and sum up.

    For thousands of files take the command: it works in parallel, under limits, and resumes after a stop.

    Parameters
    ----------
    folder : str or Path
        A folder, a zip archive, or one file.
    horn, part, tempo_bpm, player
        As in `plan`; without `horn` each line is planned on two horns of its kind.
    bass_clef : bool
        Plan every part that begins in bass clef, too.
    foreign : bool
        Read ABC, Humdrum and MIDI, too.

    Raises
    ------
    Unreadable
        If there is no such folder; a file that cannot be read is named in the document, and the others go on.
    """
    from analyzer.library.survey import Options, survey_folder
    from analyzer.report.survey.document import survey_document
    from analyzer.report.survey.table import survey_frame
    from analyzer.report.survey.text import survey_text

    if bass_clef and part:
        raise ValueError("bass_clef takes every part in that clef; leave part out.")
    options = Options(horns=tuple(load_horn(name) for name in _names(horn)), parts=_texts(part), bass_clef=bass_clef,
                      player=_player(player), tempo_bpm=_tempo(tempo_bpm))
    found = survey_folder(Path(folder), options, foreign=foreign)
    document = survey_document(found)
    lines = document["summary"]["lines"]
    answer = Survey(f"{found.folder}, {len(found.files)} files, {counted(lines, 'line')}",
                    lambda: survey_document(found), lambda: survey_text(found),
                    [Problem(**{("try_" if key == "try" else key): text for key, text in one.items()})
                     for one in document["problems"]])
    answer._frame = lambda: survey_frame(found)
    return answer


# --- what is asked, in the words of a programmer ----------------------------------------------------------------------


def _document(score: Score | PathLike) -> Document:
    return score.document if isinstance(score, Score) else open_document(Path(score))


def _request(*, horn: Horn | PathLike | Sequence[Horn | PathLike] | None = None,
             part: str | Sequence[str] | None = None, tempo_bpm: float | None = None,
             player: Player | PathLike | Mapping[str, Any] | None = None, measures: Measures | None = None,
             pins: Pins | None = None, reads: str | None = None, intonation: str = "equal") -> planning.Request:
    if intonation not in get_args(Intonation):
        raise ValueError(f"intonation is {intonation!r}; give one of {', '.join(get_args(Intonation))}.")
    return planning.Request(parts=_texts(part), horns=tuple(_names(horn)), measures=_span(measures), pins=_pins(pins),
                            player=_player(player), tempo_bpm=_tempo(tempo_bpm), reads=_reads(reads),
                            intonation=cast(Intonation, intonation))


def _reads(given: str | None) -> Reads | None:
    if given is not None and given not in get_args(Reads):
        raise ValueError(f"reads is {given!r}; give one of {', '.join(get_args(Reads))}.")
    return cast(Reads | None, given)


def _texts(given: str | Sequence[str] | None) -> tuple[str, ...]:
    return () if given is None else (given,) if isinstance(given, str) else tuple(given)


def _names(given: Horn | PathLike | Sequence[Horn | PathLike] | None) -> list[str]:
    """Return horns as names or files."""
    if given is None:
        return []
    horns = [given] if isinstance(given, Horn | str | Path) else list(given)
    return [each.source if isinstance(each, Horn) else str(each) for each in horns]


def _span(measures: Measures | None) -> tuple[str, str] | None:
    if measures is None:
        return None
    if isinstance(measures, tuple):
        first, last = (str(each).strip() for each in measures)
    else:
        first, dash, last = (each.strip() for each in str(measures).partition("-"))
        last = last if dash else first
    if not first or not last:
        raise ValueError(f"measures is {measures!r}; give for instance '5-12', (5, 12) or 7.")
    return first, last


def _tempo(tempo_bpm: float | None) -> float | None:
    low, high = _TEMPI_BPM
    if tempo_bpm is not None and not low <= tempo_bpm <= high:
        raise ValueError(f"tempo_bpm is {tempo_bpm:g}; give quarter notes a minute, {low} to {high}.")
    return tempo_bpm


def _player(given: Player | PathLike | Mapping[str, Any] | None) -> Player:
    if given is None or isinstance(given, Player):
        return given or Player()
    if isinstance(given, Mapping):
        return player_of(given)
    return read_player(Path(given))


def _pins(given: Pins | None) -> dict[tuple[int | None, str, int], str]:
    from analyzer.marking.pins import read_pin

    texts = [f"{place}={label}" for place, label in given.items()] if isinstance(given, Mapping) else list(given or ())
    pins = {}
    for text in texts:
        pin = read_pin(text)
        if pin is None:
            raise ValueError(f"{text!r} is no pin; write MEASURE:NTH=LABEL, for instance '12:3=T1'.")
        pins[pin.line, pin.measure, pin.nth] = pin.label
    return pins


def _target(path: PathLike, endings: Sequence[str]) -> Path:
    target = Path(path)
    if target.suffix.lower() not in endings:
        raise ValueError(f"'{target.name}' has an unknown file ending; use one of {', '.join(endings)}.")
    return target


def _line_html(line: LinePlan) -> str:
    """Return the line measure by measure, each note over its label; what is off the usual chart is bold."""
    measures: dict[str, list[Document_]] = {}
    for note in line.notes:
        measures.setdefault(note["measure"], []).append(note)
    tables = []
    for number, notes in list(measures.items())[:_SHOWN_MEASURES]:
        cells = []
        for note in notes:
            label = escape(shown(note["label"] or "×"))
            usual = note["label"] == note["chart_label"]
            cells.append(f"<td>{escape(shown(note['written']))}<br>{label if usual else f'<b>{label}</b>'}</td>")
        tables.append('<table style="display:inline-table;margin-right:1em;vertical-align:top"><tr>'
                      f"<th>m. {escape(number)}</th>{''.join(cells)}</tr></table>")
    more = len(measures) - len(tables)
    rest = f"<p>and {more} more measures</p>" if more > 0 else ""
    head = f"{line.part}, line {line.number} of {line.of}, {line.horn}"
    return f"<p><b>{escape(head)}</b></p><div>{''.join(tables)}</div>{rest}"
