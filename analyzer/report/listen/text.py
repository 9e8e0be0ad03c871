"""`lowbrass listen` as text: what went well, what to work on, and every note."""

from collections.abc import Sequence
from textwrap import fill

from analyzer.hearing.advice import advice_of, well_of
from analyzer.hearing.hear import HeardNote, Hearing
from analyzer.report.heading import supposed_text
from analyzer.report.listen.document import (
    NO_GRADE,
    NO_KEEPING,
    Student,
    cautions_of,
    median_off_cents,
    tempo_bpm,
    together_said,
)
from analyzer.words import cents_text, counted, measures_short, shown, signed

_OWN_CENTS = 15.0                      # less is no way of beginning that need be told
_WORTH_CENTS = 10.0                    # less is not written into a part


def listen_text(hearing: Hearing, cautions: Sequence[str], *, notes: bool = False, width: int = 100) -> str:
    """Return the answer first: how much was heard, what went well, what to work on; with `notes`, every note."""
    out = fill(heard_said(hearing), width).splitlines()
    out += fill(supposed_text(hearing.planned), width).splitlines()
    out += ["", "What went well"]
    out += [f"  {text}" for text in well_of(hearing)] or ["  It is recorded: that is a beginning."]
    advice = advice_of(hearing)
    out += ["", "To work on" if advice else "Nothing stands out that needs work."]
    for number, one in enumerate(advice, 1):
        out += fill(f"{number}. {one.what} ({measures_short(one.where, 8)})", width, initial_indent="  ",
                    subsequent_indent="     ").splitlines()
        out += fill(one.try_, width, initial_indent="     ", subsequent_indent="     ").splitlines()
    told = [note for note in hearing.notes if note.cause.what]
    if notes:
        out += ["", *_table(hearing)]
    elif told:
        out += ["", "Note by note (all of them: --notes)"]
        out += [f"  {place_of(hearing, note)}  {note.cause.what}" for note in told[:12]]
        if len(told) > 12:
            out.append(f"  and {len(told) - 12} more")
    out += ["", *(f"Caution: {text}" for text in cautions_of(hearing, cautions)[:3])]
    return "\n".join(out)


def heard_said(hearing: Hearing) -> str:
    """Say how much was heard, at what pitch and tempo, and which passes."""
    plan = hearing.planned.plan
    found = [note for note in hearing.notes if note.sound is not None and note.sound.midi is not None]
    line = plan.line
    name = line.part_name or line.part_id
    said = [f"{hearing.sound_name}: {name}{f', {line.whose}' if line.whose else ''}, {plan.horn.name}"
            f"{' (assumed)' if hearing.planned.assumed else ''}. "
            f"{len(found)} of {counted(len(plan.notes), 'note')} heard."]
    if found and found[0].index > 0:
        said.append(f"It begins in measure {plan.notes[found[0].index].note.measure}.")
    said.append(f"Tuned to A = {hearing.reference_hz:.1f} Hz ({'as told' if hearing.told else 'estimated'}).")
    own = hearing.own_attack
    if abs(own.flat_cents) >= _OWN_CENTS:
        said.append(f"Where the slide need not move, notes begin about {cents_text(own.flat_cents)} "
                    f"({counted(own.notes, 'note')}): that is supposed to be how this player's notes begin, "
                    "and what is late is told beside it.")
    tempo = tempo_bpm(hearing)
    if tempo is not None:
        said.append(f"Tempo: about {tempo:.0f} quarter notes a minute.")
    if len(hearing.passes) > 1:
        said.append(f"{len(hearing.passes)} tries over the music; for each note the last complete one counts.")
    if hearing.extra:
        said.append(f"{counted(hearing.extra, 'note')} too many.")
    return " ".join(said)


def place_of(hearing: Hearing, note: HeardNote) -> str:
    """Return measure, note and mark of a note, for a person."""
    wanted = hearing.planned.plan.notes[note.index]
    label = shown(wanted.choice.label) if wanted.choice else "×"
    return f"m. {wanted.note.measure} {wanted.note.written.pretty} ({label}):"


def short_finding(note: HeardNote) -> str:
    """Return in a word or two what was heard of a note, empty where all is well."""
    cause = note.cause
    if cause.kind == "missed":
        return "not heard"
    if cause.heard_as is not None:
        return f"heard {cause.heard_as.pretty}"
    said: list[str] = [] if cause.attack in ("clean", "unknown") else [cause.attack]
    if cause.off_cents is not None and abs(cause.off_cents) >= _WORTH_CENTS:
        if cause.slide_mm is not None and abs(cause.slide_mm) >= 5:
            said.append(f"{abs(cause.slide_mm):.0f} mm {'out' if cause.slide_mm > 0 else 'in'}")
        else:
            said.append(f"{cause.off_cents:+.0f} cents".replace("-", "−"))
    return ", ".join(said)


def _table(hearing: Hearing) -> list[str]:
    out = [f"{'measure':<8}{'note':<6}{'mark':<6}{'cents':>7}{'mm':>6}{'late ms':>9}  what"]
    for note in hearing.notes:
        wanted = hearing.planned.plan.notes[note.index]
        cause = note.cause
        cents = signed(cause.off_cents) if cause.off_cents is not None else "-"
        place = signed(cause.slide_mm) if cause.slide_mm is not None else "-"
        late = signed(1000 * note.late_s) if note.late_s is not None else "-"
        label = shown(wanted.choice.label) if wanted.choice else "×"
        out.append(f"{wanted.note.measure:<8}{wanted.note.written.pretty:<6}{label:<6}{cents:>7}{place:>6}{late:>9}  "
                   f"{cause.what or ''}".rstrip())
    return [*out, "cents: + is sharp of its target; mm: + is too far out; late: against the steady beat"]


def class_text(students: Sequence[Student], cautions: Sequence[str], width: int = 100) -> str:
    """Return the table for the teacher: a student a row, with the first thing to work on."""
    wide = min(32, max([len(one.file) for one in students], default=4) + 2)
    out = [f"{'recording':<{wide}}{'heard':>9}{'wrong':>7}{'cents':>7}  first thing to work on"]
    for one in sorted(students, key=lambda student: student.file):
        if one.hearing is None:
            out.append(f"{one.file:<{wide}}{one.problem.what if one.problem else ''}")
            continue
        notes = one.hearing.notes
        right = sum(note.cause.heard for note in notes)
        wrong = sum(note.cause.heard_as is not None for note in notes)
        middle = median_off_cents(one.hearing)
        advice = advice_of(one.hearing)
        cents = "-" if middle is None else f"{middle:.0f}"
        heard = f"{right}/{len(notes)}"
        out.append(f"{one.file:<{wide}}{heard:>9}{wrong:>7}{cents:>7}  "
                   f"{advice[0].what if advice else 'nothing stands out'}")
    if together := together_said(students):
        out += ["", *fill(together, width).splitlines()]
    return "\n".join([*out, "", f"Caution: {NO_GRADE}", f"Caution: {NO_KEEPING}",
                      *(f"Caution: {text}" for text in cautions[:1])])
