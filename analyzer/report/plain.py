"""Sentences for readers who use no terminal and open no file by hand: options, file keys and horn names in plain words.

The sentences themselves are written once, where what they tell is found out; most readers of those sit at a terminal.
"""

import re
from functools import lru_cache

from analyzer.horns.profiles import horn_names, load_horn
from analyzer.problem import Problem

FIELD_NAMES = {
    "outermost_position": "farthest position", "reach_mm": "reach", "attachment_ceiling": "attachment up to",
    "max_slide_speed_mm_s": "slide speed", "slide_acceleration_m_s2": "slide acceleration",
    "tongue_notes_s": "tongued notes a second", "slur_notes_s": "lip-slurred notes a second",
    "valve_notes_s": "valve changes a second", "low": "lowest note", "high": "highest note", "height_cm": "height",
    "learned": "learned valves", "name": "name", "secure": "secure moves", "level": "level",
    "cannot": "valves that cannot be pressed", "attachment_in_tune": "note in tune on the attachment in first",
    "extreme_low": "lowest for a note or two", "extreme_high": "highest for a note or two",
    "endurance_minutes": "minutes until tired", "keeps": "stays on parts for", "clefs": "clefs read",
    "instrument": "instrument", "absent": "absent",
    "just_strength": "share of just intonation", "just_from_s": "just intonation from",
    "stave": "how large music is printed",
    "measured": "measured place of the slide",
    "left_hand": "left hand", "second_percent": "second loops",
}
"""The keys of a player or section file, by the names that the page's forms have for them."""
_KEY = re.compile(r"\b[a-z]+(?:_[a-z0-9]+)+\b")
_INSTEAD = [(re.compile(pattern), words) for pattern, words in (
    # What a part, its clef or its tempo is taken for.
    (r"as you said with --reads", "as you chose"),
    (r"say --reads treble-b-flat if a written C sounds B flat, --reads concert if it sounds C\.",
     "choose under Treble clef: in B♭ if a written C sounds B♭, at concert pitch if it sounds C."),
    (r"Mend it in the score, or say with --reads how the part is read\.",
     "Correct it in the score, or choose under Treble clef how the part is read."),
    (r"\btreble-b-flat\b", "treble clef in B♭"),
    (r"choose another with --horn", "choose another under Horn"),
    (r"named with --part and --horn: ", "as you chose: "),
    (r"(?:Say|Give) --tempo to plan", "Move the tempo to plan"),
    (r"check the clef, and name the part with --part", "check the clef, and choose the part"),
    (r"Plan them with --part, from a score in which they are a part\.",
     "Open a score in which they are a part of their own."),
    (r"Name it with --part if", "Choose it under Part if"),
    (r"Name a part with --part: ", "Choose a part: "),
    (r"Name a part with --part to plan it all the same\.", "Choose a part below to plan it all the same."),
    (r"`lowbrass parts` lists the parts\.", "Choose another part."),
    (r"Name other horns, or a part with --part\.", "Choose other horns or another part."),
    (r"Take one of .*, or the path of a \.toml file\.", "Choose one of the list."),
    # What to do about a note.
    (r" \(lowbrass review\)", ""),
    (r"lowbrass map says what each note lacks", "the marks say what each note lacks"),
    (r", and pin the choice with --pin\.", ", then click the note and take that choice."),
    (r"; pin them with --pin\.", "; click each note to choose it."),
    (r"Raise attachment_ceiling in the player file", "Raise “Attachment up to” under “What the player can do”"),
    (r"Without -o, --ossia lists every change and its place\.", "Tick one of the changes again."),
    # Files of players, sections and pins.
    (r" in \[player\]", ""),
    (r"Add horns = .*; lowbrass horns lists them\.", "Choose a horn."),
    (r"write keeps = \"([^\"]+)\" in the section file; lowbrass ready helps to look at a change of horn\.",
     r"choose \1 under “Stays on parts for”."),
    (r"Write at least one \[\[player\]\] with its horns; lowbrass section new FILE shows how\.",
     "Add at least one player with a horn."),
    (r"Write \[\[.*\]\], with two brackets on each side, above each\.",
     "Save a section from this page to see how such a file is written."),
    (r"lowbrass section check .* shows (.*)\.", r"It has \1."),
    (r"A section file has \[\[player\]\] tables, and spare above them\.", "Check that it is a section file."),
    (r"A player file has one table, \[player\]\.", "Check that it is a player file."),
    (r"copy that player's lines below \[player\] into a file of their own",
     "open it under Section, or copy that player into a file of its own"),
    (r"Write (.*) below a line \[\[?\w+\]\]?\.", r"Write \1 below a player."),
    (r"Write \[player\] on a line of its own\.", "Save a player from this page to see how such a file is written."),
    (r"Write each under a heading \[\[.*\]\]\.", "Write each under a heading of its own."),
    (r", or name its part with --part\.", "."),
    (r"it has no \[\[part\]\] with pins", "there are no choices in it"),
    (r"Take the pin away, or", "Let the plan choose that note again, or take"),
    (r"the score that the pins were made for", "the score that the choices were made for"),
    (r"Save the pins again from the page\.", "Save the choices again."),
    (r"it has more than ([0-9]+) pins", r"it has more than \1 choices"),
    (r"Name a part with --part, or take other horns\.", "Open another score, or choose other horns."),
    (r"put a lower `low` into the file", "give the player a lower lowest note"),
    # A practice sheet.
    (r"Choose another horn with --horn, or", "Choose another horn under Horn, or"),
    (r"lowbrass map tells why, note by note; lowbrass review tells what to do\.",
     "My passage tells why, note by note; A bass part tells what to do."),
    (r"Name one of them with --part to drill it", "Choose one of them under Part to drill it"),
    (r"Play the alternations of lowbrass tune moves --sheet", "Play the pairs that are listed"),
    # A recording.
    (r" ?A sheet: lowbrass drill SCORE --horn \S+ --measures (\S+)\.",
     r" A practice sheet: choose measures \1, and look under Practice."),
    (r"see lowbrass tune pull\b", "look at the tuning slides"),
    (r"Check part, measures and clef \(--part, --line, --measures, --reads\), or the recording\.",
     "Check part, player, measures and clef, or the recording."),
    # A folder of scores.
    (r": see lowbrass fit\.", ": open the piece and look under My section."),
    (r"\bsee lowbrass fit\b", "open it and look under My section"),
    (r"Name parts with --part, or give", "Tick “Every part in bass clef”, or give"),
    (r"; add --foreign to read it\.", "; such a file can be opened by itself."),
    (r"Read it too with --foreign\.", "Open it by itself."),
    (r"Give more with --(?:memory|time)-limit, or export only", "Export only"),
    # A horn read from a tuner.
    (r"; lowbrass tune sheet lists them\.", "; the table lists them."),
    (r"the section file gives neither range nor reach for", "range and reach are not given for"),
    # What is not there.
    (r"Install the extra: pip install 'lowbrass\[(.*)\]'\.", r"Ask whoever installed lowbrass for its extra “\1”."),
    (r"Write an annotated \.musicxml with -o and print that", "Save the marked score and print that"),
)]


@lru_cache(maxsize=4096)           # the same reason stands at hundreds of notes
def plain(text: str) -> str:
    """Return a sentence without options, commands, keys of files and names of horns as files have them.

    Examples
    --------
    >>> plain("Raise attachment_ceiling in the player file if the teacher agrees.")
    'Raise “Attachment up to” under “What the player can do” if the teacher agrees.'
    >>> plain("Better on: bass-single.")
    'Better on: bass trombone with F attachment.'
    >>> plain("reach_mm is 3")
    'reach is 3'
    """
    for pattern, words in _INSTEAD:
        text = pattern.sub(words, text)
    text = _names().sub(lambda found: horn_said(found[0]), text)
    return _KEY.sub(lambda found: FIELD_NAMES.get(found[0], found[0].replace("_", " ")), text)


def of_field(key: str, what: str) -> str:
    """Say what is wrong with a field that is named beside it.

    Examples
    --------
    >>> of_field("low", "low is 'H2'")
    "it is 'H2'"
    """
    return plain(f"it{what.removeprefix(key)}" if key and re.match(rf"{key}\b", what) else what)


def plain_line(problem: Problem) -> str:
    """Return a problem as one plain line: where, what, and what to try."""
    shown = problem.as_json()
    what = plain(shown["what"])
    what = what if what.endswith((".", "!", "?")) else f"{what}."
    return f"{shown['where']}: {what} {plain(shown['try'])}".strip()


@lru_cache(maxsize=64)
def horn_said(name: str) -> str:
    """Say a horn in a few words within a sentence: what it is, without its pitch and the particulars of its valves.

    Examples
    --------
    >>> horn_said("tenor-f")
    'tenor trombone with F attachment'
    """
    if name not in horn_names():
        return name
    said = in_short(load_horn(name).description)
    return said[:1].lower() + said[1:]


def in_short(description: str) -> str:
    """Say a horn so briefly that a list on a phone has room for it.

    Examples
    --------
    >>> in_short("Bass trombone in B flat with two independent valves (F and G flat; both together give D)")
    'Bass trombone with two independent valves'
    """
    whole = re.sub(r" in [BE] flat", "", description)
    return re.split(r", | \(", whole)[0] if len(whole) > 45 else whole


@lru_cache(maxsize=1)
def _names() -> re.Pattern[str]:
    """Find names of horns that are no plain words; `tenor` and `alto` are."""
    names = sorted((name for name in horn_names() if "-" in name), key=len, reverse=True)
    return re.compile(rf"(?<![\w-])(?:{'|'.join(map(re.escape, names))})(?![\w-])")
