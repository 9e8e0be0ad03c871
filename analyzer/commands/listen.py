"""``lowbrass listen``: a recording, or a folder of them, held against the plan."""

import sys
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path

import click

from analyzer.analysis import Analysis, Planned, Request, analyse, with_notes
from analyzer.commands.options import (
    format_option,
    missing,
    print_json,
    request_options,
    say,
    score_argument,
    write_file,
)
from analyzer.commands.pinning import with_pins_file
from analyzer.commands.progress import alone
from analyzer.files import read_file
from analyzer.hearing.hear import Hearing, hear
from analyzer.hearing.sound import ENDINGS, PHONE_ENDINGS, read_sound
from analyzer.plan.heard import KEY, heard_of, trend, with_heard
from analyzer.problem import Unreadable, unreadable
from analyzer.report.listen.document import Student, class_document, heard_once, listen_document
from analyzer.report.listen.text import class_text, listen_text
from analyzer.score.document import Document, open_document
from analyzer.toml_file import MOST_BYTES, read_table

_OUTPUTS = (".html", ".pdf", ".musicxml", ".xml", ".mxl")
_MOST_RECORDINGS = 400
_LONG_S, _SHARE = 60.0, 0.03           # from when a word is said; seconds of work to one of sound, measured
_EXTRAS = {"numpy": "listen", "soundfile": "listen", "tomlkit": "progress"}


@click.command("listen")
@score_argument
@click.argument("recording", type=click.Path(path_type=Path))
@request_options(intonation=True)
@click.option("--line", type=click.IntRange(1, 99), metavar="N",
              help="Which player's line, where several share the part.")
@click.option("--pins", type=click.Path(path_type=Path), metavar="FILE.toml",
              help="Choices saved on the page, or by hand: the plan keeps them.")
@click.option("--reference", type=click.FloatRange(380, 480), metavar="HZ",
              help="The A that was tuned to. Default: estimated from the recording.")
@click.option("-o", "--output", "outputs", type=click.Path(path_type=Path), multiple=True, metavar="FILE",
              help="Write the part with what was heard under its notes: .html, .pdf, or .musicxml (the findings as "
                   "words). May be repeated; for a class, one page a student in one file.")
@click.option("--keep", is_flag=True,
              help="Keep what this recording came to (numbers and the day, no sound) in the file of --player.")
@click.option("--notes", is_flag=True, help="Print every note.")
@format_option("text", "json")
def command(score: Path, recording: Path, request: Request, line: int | None, pins: Path | None,
            reference: float | None, outputs: tuple[Path, ...], keep: bool, notes: bool, form: str) -> None:
    """Hear what was played in RECORDING, held against the plan of one line of SCORE.

    For each note: whether it was played, how far off, on a slide by how many mm and which way, and how it began; then
    the two or three things to practice. RECORDING is WAV, FLAC, Ogg or MP3; a folder of recordings is a class. The
    recording stays where it is: nothing is kept or sent. It informs player and teacher; it is not a grade.
    """
    for path in outputs:
        if path.suffix.lower() not in _OUTPUTS:
            raise click.BadParameter(f"'{path.name}' has an unknown file ending; use .html, .pdf or .musicxml.",
                                     param_hint="-o")
    player_file: Path | None = click.get_current_context().params.get("player") if keep else None
    if keep and (player_file is None or recording.is_dir()):
        raise click.UsageError("--keep is for one recording, and for the file named with --player FILE.toml.")
    document = open_document(score)
    if pins is not None:
        request, unfit = with_pins_file(document, request, pins)
        say(unfit)
    analysis = with_notes(analyse(document, request))
    planned = _line(analysis, line)
    say(analysis.problems)
    try:
        if recording.is_dir():
            _class(document, analysis, planned, recording, reference, outputs, form)
        else:
            _one(document, analysis, planned, recording, reference, outputs, player_file, notes, form)
    except ImportError as error:
        name = error.name or "a package"
        raise missing(name, _EXTRAS.get(name, "engrave")) from error


def _line(analysis: Analysis, number: int | None) -> Planned:
    """Return the line that is asked for; one must be clear where there are several."""
    lines = analysis.lines
    if number is not None:
        found = [one for one in lines if one.plan.line.number == number]
        if not found:
            raise unreadable("no-line", where=analysis.document.name, what=f"there is no line {number}",
                             try_="Lines of a part are numbered from 1.")
        lines = tuple(found)
    if len(lines) > 1:
        names = ", ".join(f"{one.part.id} {one.part.full_name or one.part.name} line {one.plan.line.number}"
                          for one in lines[:8])
        raise unreadable("which-line", where=analysis.document.name,
                         what=f"there are {len(lines)} lines, and a recording is of one",
                         try_=f"Name it with --part (and --line): {names}.")
    return lines[0]


def _one(document: Document, analysis: Analysis, planned: Planned, recording: Path, reference: float | None,
         outputs: Sequence[Path], player_file: Path | None, notes: bool, form: str) -> None:
    sound = read_sound(recording)
    if sound.seconds > _LONG_S:
        click.echo(f"Listening to {sound.seconds / 60:.0f} min of sound; this takes about "
                   f"{max(1, sound.seconds * _SHARE):.0f} s.", err=True)
    hearing = hear(sound, planned, reference_hz=reference, told_share=_shown(sound.seconds))
    say(hearing.problems)
    _write(document, analysis, [Student(file=hearing.sound_name, hearing=hearing, problem=None)], outputs)
    if form == "json":
        print_json(listen_document(hearing, analysis.cautions, analysis.problems))
    else:
        click.echo(listen_text(hearing, analysis.cautions, notes=notes))
    if player_file is not None:
        new = heard_once(hearing, document.title or document.name, date.today().isoformat())
        with alone(player_file):
            text = with_heard(read_file(player_file, MOST_BYTES).decode("utf-8"), new)
            write_file(player_file.resolve(), text.encode())
        click.echo(f"Kept in {player_file}.", err=True)
        said = trend(heard_of(read_table(player_file).data.get(KEY), new.passage))
        if said:
            click.echo(said, err=True)


def _shown(seconds: float) -> Callable[[float], None] | None:
    """Return what shows how far a long recording is heard: on one line of a terminal, else at each quarter."""
    if seconds <= _LONG_S:
        return None
    terminal = sys.stderr.isatty()
    step = 1 if terminal else 25
    last = 0

    def told(share: float) -> None:
        nonlocal last
        done = int(100 * share) // step * step
        if done <= last:
            return
        last = done
        if terminal:
            click.echo(f"\rHeard: {done} %{' ' * 4 if done < 100 else chr(10)}", err=True, nl=False)
        else:
            click.echo(f"Heard: {done} %", err=True)

    return told


def _class(document: Document, analysis: Analysis, planned: Planned, folder: Path, reference: float | None,
           outputs: Sequence[Path], form: str) -> None:
    files = sorted(path for path in folder.iterdir()
                   if path.is_file() and path.suffix.lower() in (*ENDINGS, *PHONE_ENDINGS))
    if not files:
        raise unreadable("no-recordings", where=str(folder), what="there is no recording in this folder",
                         try_="Put one WAV, FLAC, Ogg or MP3 file a student into it.")
    if len(files) > _MOST_RECORDINGS:
        raise unreadable("many-recordings", where=str(folder), what=f"there are {len(files)} recordings in it",
                         try_=f"Up to {_MOST_RECORDINGS} are heard at once.")
    students = []
    for number, path in enumerate(files, 1):
        click.echo(f"{number} of {len(files)}: {path.name}", err=True)
        students.append(_student(path, lambda sound_path: hear(read_sound(sound_path), planned,
                                                               reference_hz=reference)))
    _write(document, analysis, students, outputs)
    if form == "json":
        print_json(class_document(students, analysis.cautions))
    else:
        click.echo(class_text(students, analysis.cautions))


def _student(path: Path, heard: Callable[[Path], Hearing]) -> Student:
    try:
        return Student(file=path.name, hearing=heard(path), problem=None)
    except Unreadable as error:
        return Student(file=path.name, hearing=None, problem=error.problem)


def _write(document: Document, analysis: Analysis, students: Sequence[Student], outputs: Sequence[Path]) -> None:
    """Make every file before the first is written, so that one that cannot be made leaves none half done."""
    if not outputs:
        return
    from analyzer.report.listen.files import listen_file

    files = [(path, listen_file(document, analysis, students, path)) for path in outputs]
    for path, content in files:
        write_file(path, content)
        click.echo(f"Wrote {path}.", err=True)
