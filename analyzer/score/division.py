"""Who plays which note where players share a staff, and the words in the score that say so."""

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from analyzer.score.timeline import Direction, Note, Rest
from analyzer.score.vocabulary import folded, plain


@dataclass(slots=True, kw_only=True)
class VoiceChord:
    """Notes of one voice that begin together."""

    voice: str
    measure: int
    onset: Fraction
    grace: bool
    notes: list[Note]

    @property
    def end(self) -> Fraction:
        """When the first of the notes stops. [quarter notes]"""
        return self.onset + min(note.duration for note in self.notes)


def players_of(groups: Sequence[VoiceChord]) -> int:
    """Return how many players the notes of a staff need: the most that sound together.

    A voice that overlaps itself is a fault of the file and does not count twice.
    """
    voices: dict[str, list[VoiceChord]] = defaultdict(list)
    for group in groups:
        if not group.grace:
            voices[group.voice].append(group)
    most = max((len(group.notes) for group in groups), default=1)
    if len(voices) < 2:
        return most
    events: list[tuple[Fraction, int]] = []
    for own in voices.values():
        own.sort(key=lambda group: group.onset)
        for group, after in zip(own, [*own[1:], None], strict=True):
            end = group.end if after is None else min(group.end, after.onset)
            if end > group.onset:
                events += [(group.onset, len(group.notes)), (end, -len(group.notes))]
    now = 0
    for _, change in sorted(events):
        now += change
        most = max(most, now)
    return most


def shared_out(groups: Sequence[VoiceChord], rests: Sequence[Rest], words: Sequence[Direction],
               count: int) -> list[list[Note]]:
    """Return the notes of each of `count` players (at least 2)."""
    sharing = _Sharing(groups, rests, words, count)
    ordered = sorted(groups, key=lambda group: (group.onset, not group.grace, _voice_key(group.voice)))
    graces: dict[str, list[VoiceChord]] = defaultdict(list)
    for group in ordered:
        if group.grace:
            graces[group.voice].append(group)
            continue
        lines = sharing.give(group)
        for grace in graces.pop(group.voice, ()):      # graces belong to whoever plays the note they lean on
            sharing.spread(grace, sorted({line for own in lines for line in own}))
    for left in graces.values():
        for grace in left:
            sharing.spread(grace, list(range(count)))
    return sharing.played


class _Sharing:
    def __init__(self, groups: Sequence[VoiceChord], rests: Sequence[Rest], words: Sequence[Direction],
                 count: int) -> None:
        self.count = count
        self.words = sorted(words, key=lambda word: word.onset)
        self.played: list[list[Note]] = [[] for _ in range(count)]
        self.widest: dict[tuple[int, str], int] = {}                 # (measure, voice) -> notes of the widest chord
        self.widest_at_all: dict[str, int] = {}
        # measure -> voice -> stretches with a note or a printed rest
        self.busy: dict[int, dict[str, list[tuple[Fraction, Fraction]]]] = defaultdict(lambda: defaultdict(list))
        self.measures: dict[int, list[VoiceChord]] = defaultdict(list)
        for group in groups:
            if not group.grace:
                self.measures[group.measure].append(group)
                key = (group.measure, group.voice)
                self.widest[key] = max(self.widest.get(key, 0), len(group.notes))
                self.widest_at_all[group.voice] = max(self.widest_at_all.get(group.voice, 0), len(group.notes))
                self.busy[group.measure][group.voice].append((group.onset, group.end))
        for rest in rests:
            self.busy[rest.measure][rest.voice].append((rest.onset, rest.onset + rest.duration))
        self.divided_at = Fraction(-1)

    def give(self, group: VoiceChord) -> list[list[int]]:
        """Give the notes of a group to lines; return the lines of each note, from the highest note down."""
        here = self.busy[group.measure]
        active = [group.voice] if len(here) == 1 else sorted(
            (voice for voice, stretches in here.items()
             if voice == group.voice or any(start < group.end and group.onset < end for start, end in stretches)),
            key=_voice_key)
        everyone = list(range(self.count))
        if len(active) > 1:
            self.divided_at = group.onset
            return self.spread(group, self._share(group, active))
        if len(group.notes) > 1:
            self.divided_at = group.onset
            return self.spread(group, everyone)
        note = group.notes[0]
        if note.tie_stop:
            held = [line for line in everyone if self._holds(line, note)]
            if held:
                return self.spread(group, held)
        word = next((word for word in reversed(self.words) if word.onset <= group.onset), None)
        if word is not None and word.onset >= self.divided_at and word.word.isdecimal() \
                and 1 <= int(word.word) <= self.count:
            return self.spread(group, [int(word.word) - 1])
        return self.spread(group, everyone)

    def spread(self, group: VoiceChord, lines: Sequence[int]) -> list[list[int]]:
        """Give the notes of a chord to lines from the top down; a line between two notes takes the nearer one."""
        notes = sorted(group.notes, key=lambda note: (-note.sounding.midi, note.ref))
        if len(notes) > len(lines):
            lines = range(self.count)
        result: list[list[int]] = [[] for _ in notes]
        at = 0
        for place, line in enumerate(lines):
            least = len(notes) - (len(lines) - place)            # the lines that are left must reach the last note
            choices = [index for index in (at, at + 1) if max(0, least) <= index < len(notes)] if place else [0]
            before = self.played[line][-1].sounding.midi if self.played[line] else None
            at = min(choices or [min(at + 1, len(notes) - 1)],
                     key=lambda index: (0 if before is None else abs(notes[index].sounding.midi - before), index))
            line = self._free(line, group)
            self.played[line].append(notes[at])
            result[at].append(line)
        return result

    def _free(self, line: int, group: VoiceChord) -> int:
        """Return the line, or the nearest that is free where its player still holds a note of another voice."""
        if group.grace:
            return line
        free = [other for other in range(self.count)
                if not self.played[other] or self.played[other][-1].grace
                or self.played[other][-1].onset + self.played[other][-1].duration <= group.onset
                or (self.played[other][-1].voice == group.voice and self.played[other][-1].onset < group.onset)]
        return min(free, key=lambda other: (abs(other - line), other), default=line)

    def _share(self, group: VoiceChord, active: Sequence[str]) -> Sequence[int]:
        """Return the lines of a voice among those that are active beside it."""
        sizes = [min(self.count, max(1, self.widest_at_all.get(voice, 1))) for voice in active]
        if sum(sizes) > self.count:
            sizes = [max(1, self.widest.get((group.measure, voice), 1)) for voice in active]
        if sum(sizes) > self.count:
            sizes = [self._beside(group, voice) for voice in active]
        sizes[0] += max(0, self.count - sum(sizes))              # spare players double the upper voice
        place = active.index(group.voice)
        first = sum(sizes[:place])
        if place == len(active) - 1:
            first = min(first, self.count - sizes[place])
            return range(max(0, first), self.count)
        return range(min(first, self.count - 1), min(first + sizes[place], self.count))

    def _beside(self, group: VoiceChord, voice: str) -> int:
        """Return how many notes of a voice sound together somewhere along the group."""
        if voice == group.voice:
            return len(group.notes)
        return max((len(other.notes) for other in self.measures[group.measure]
                    if other.voice == voice and other.onset < group.end and group.onset < other.end), default=1)

    def _holds(self, line: int, note: Note) -> bool:
        """Tell whether the line is holding the pitch by a tie that leads to this note."""
        if not self.played[line]:
            return False
        last = self.played[line][-1]
        return last.tie_start and last.sounding.midi == note.sounding.midi and last.onset + last.duration == note.onset


def _voice_key(voice: str) -> tuple[int, int, str]:
    return (0, int(voice), "") if voice.isdecimal() and len(voice) < 9 else (1, 0, voice)


_ALL = re.compile(r"^(?:a|zu|à)\s?(?:\d|due|tre|deux|trois|zwei|drei)\b.*$|^(?:unis|unison|unisono|tutti|alle|tous)\b")
_DIVIDED = re.compile(r"^(?:div|divisi|get|geteilt)\b")
_ONE = re.compile(r"^(?:solo\s+)?(\d|i{1,3}|iv)\s?[.ºo°]*(?:\s*solo)?$")
_MARKED = re.compile(r"[.º°]|solo")
_ROMAN = {"i": 1, "ii": 2, "iii": 3, "iv": 4}


def player_word(text: str) -> str | None:
    """Return ``all``, ``div`` or the number of the one player who plays, None if the words are about something else.

    Examples
    --------
    >>> player_word("a 2"), player_word("unis."), player_word("1."), player_word("II. Solo"), player_word("Solo")
    ('all', 'all', '1', '2', '1')
    >>> player_word("a tempo"), player_word("2") is None
    (None, True)
    """
    if len(text) > 40:
        return None
    raw = plain(text).lower()
    words = folded(raw)
    if _ALL.match(words):
        return "all"
    if _DIVIDED.match(words):
        return "div"
    if words.strip(" .") in ("solo", "solo 1", "1 solo"):
        return "1"
    match = _ONE.match(words.replace("°", "."))
    if match and _MARKED.search(raw):
        word = match.group(1)
        return str(_ROMAN.get(word, word))
    return None
