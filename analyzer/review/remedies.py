"""Ways out of a finding, each computed and checked on the horn before it is offered."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from math import floor

from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import candidates
from analyzer.horns.horn import Horn, Loop
from analyzer.horns.profiles import horn_names, load_horn
from analyzer.horns.tubing import loop_share
from analyzer.pitch import Pitch, Transposition
from analyzer.plan.costs import keeps_gliss
from analyzer.plan.loads import TOO_MUCH, Load
from analyzer.plan.plan import Plan
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner, allowed_choices
from analyzer.review.findings import Remedy, RemedyKind
from analyzer.review.harmony import Harmony
from analyzer.review.limits import at_ease, outside_range, room_mm
from analyzer.score.lines import Line
from analyzer.words import shown

OCTAVE = 12
MOST_PULL_CENTS = 150
"""How far an attachment's tuning slide is taken to come out: to E (a semitone), on many horns a little more. [cents]
Common practice, no source; from 125 to 200 the same notes are offered (B1)."""
SLOWEST_BPM = 20
"""No slower tempo is offered. [quarter notes a minute] Judged: practice marks end there."""
CHORD_SHARE = 0.55
"""A pitch of the key that sounds for this share of a note's time belongs to the chord there. Judged: more than half, so
that neither a passing note nor a suspension of half its length does. A director who hears a wrong note would change
our mind."""
FOREIGN_SHARE = 0.75
"""As `CHORD_SHARE`, for a pitch outside the key: it must carry the chord (a secondary dominant), not pass. Judged."""
AROUND = 8
"""Notes on each side of a move that are planned anew when a tempo or a horn is tried. Judged: a plan forgets what lies
further off within four notes in every test."""

_BETTER = "Better on"
_HAVING = "Use a horn that has it"


class Remedies:
    """Computes remedies for one planned line.

    `harmony` is asked only for chord tones (None: none are offered); `horns` are the other horns to try, by default
    those that come with the project, of the same family. `tried` are the notes for whose moves tempos and horns are
    tried, each by planning anew (None: all).
    """

    def __init__(self, plan: Plan, planner: Planner, harmony: Harmony | None = None,
                 horns: Sequence[Horn] | None = None, tried: Collection[int] | None = None, *,
                 tempos: bool = True) -> None:
        self._tried, self._tempos = tried, tempos
        self.plan, self.planner, self.harmony = plan, planner, harmony
        self.line, self.horn, self.player = plan.line, plan.horn, plan.player
        offered = [load_horn(name) for name in horn_names()] if horns is None else horns
        self.horns = tuple(one for one in offered if one.family == self.horn.family and one.name != self.horn.name)
        self._plans: dict[object, bool] = {}
        self._wholes: dict[str, tuple[Load, ...]] = {}
        self._tunings: dict[int, tuple[Remedy, ...]] = {}
        self._others: dict[int, tuple[tuple[str, ...], tuple[str, ...]]] = {}
        # The nearest playable notes on each side, so that a run of bad notes is led by what stands firm.
        self._anchors = _anchors([bool(one) for one in planner.choices])

    # --- other pitches -------------------------------------------------------------------------------------------

    def pitches(self, k: int) -> tuple[Remedy, ...]:
        """Return the octave that fits the line, and the nearest chord tone that sounds in the score."""
        note = self.line.notes[k]
        remedies = []
        octaves = [Pitch(note.sounding.step, note.sounding.alter, note.sounding.octave + by) for by in (1, -1, 2, -2)]
        fitting = [pitch for pitch in octaves if self.fits(k, pitch.midi)]
        if fitting:
            best = min(fitting, key=lambda pitch: (self._pedal(k, pitch), abs(pitch.midi - note.midi) > OCTAVE,
                                                   self._last(pitch), self._leaps(k, pitch.midi)))
            by = (best.midi - note.midi) // OCTAVE
            how = f"{'an octave' if abs(by) == 1 else 'two octaves'} {'up' if by > 0 else 'down'}"
            remedies.append(self._pitch_remedy("octave", k, best, f"Play it {how}, {{}}."))
        if self.harmony is not None:
            tones = self.chord_tones(k)
            if tones:
                best = min(tones, key=lambda pitch: (self._pedal(k, pitch), *tones[pitch], self._last(pitch),
                                                     abs(pitch.midi - note.midi), self._leaps(k, pitch.midi)))
                remedies.append(self._pitch_remedy("chord-tone", k, best, "Play {}, which sounds in the chord there."))
        return tuple(remedies)

    def chord_tones(self, k: int) -> dict[Pitch, tuple[bool, float]]:
        """Return the pitches within an octave and a half that keep the harmony, of another letter, and fit.

        Each with what it is chosen by, least first: whether it lies outside the key, and the share of the note's time
        in which nobody sounds it, to a quarter.
        """
        assert self.harmony is not None
        note = self.line.notes[k]
        tones: dict[Pitch, tuple[bool, float]] = {}
        for (step, alter), share in sorted(self.harmony.held(self.line, k).items()):
            for octave in range(note.sounding.octave - 2, note.sounding.octave + 3):
                pitch = Pitch(step, alter, octave)
                if not (pitch.midi - note.midi) % OCTAVE or abs(pitch.midi - note.midi) > 18:
                    continue
                foreign = not self._in_key(k, pitch)
                if share >= (FOREIGN_SHARE if foreign else CHORD_SHARE) and self.fits(k, pitch.midi):
                    tones[pitch] = (foreign, 1 - round(4 * share) / 4)
        return tones

    def _in_key(self, k: int, sounding: Pitch) -> bool:
        assert self.harmony is not None
        note = self.line.notes[k]
        written = transposition(note.written, note.sounding).written(sounding)
        return self.harmony.signature(self.line, k).get(written.step, 0) == written.alter

    def keeps_harmony(self, k: int, sounding: Pitch) -> bool:
        """Whether a pitch in the place of a note belongs to its chord; where nothing else sounds, to the key."""
        if self.harmony is None:
            return True
        held = self.harmony.held(self.line, k)
        if not held:
            return self._in_key(k, sounding)
        share = held.get((sounding.step, sounding.alter), 0.0)
        return share >= (CHORD_SHARE if self._in_key(k, sounding) else FOREIGN_SHARE)

    def _pedal(self, k: int, pitch: Pitch) -> bool:
        # A pedal is a help only in place of another.
        return pitch.midi <= self.horn.fundamental_midi < self.line.notes[k].midi

    def _last(self, pitch: Pitch) -> bool:
        # Where there is a choice, the arm is spared.
        return room_mm(self.horn, allowed_choices(self.horn, self.player, pitch.midi)) is not None

    def _pitch_remedy(self, kind: RemedyKind, k: int, sounding: Pitch, text: str) -> Remedy:
        note = self.line.notes[k]
        written = transposition(note.written, note.sounding).written(sounding)
        name = written.pretty if written == sounding else f"{written.pretty} (sounding {sounding.pretty})"
        return Remedy(kind=kind, text=text.format(name), sounding=sounding, written=written)

    def fits(self, k: int, midi: int) -> bool:
        """Whether another pitch is at ease on the horn and can be reached from, and left for, the neighbours."""
        choices = allowed_choices(self.horn, self.player, midi)
        if not at_ease(self.horn, self.player, midi, choices):
            return False
        most = max(OCTAVE, *(abs(self.line.notes[j].midi - self.line.notes[k].midi) for j in self._anchors[k]), 0)
        if any(abs(self.line.notes[j].midi - midi) > most for j in self._anchors[k]):
            return False
        before = k == 0 or self._joins(k - 1, self.planner.choices[k - 1], choices)
        after = k + 1 == len(self.line.notes) or self._joins(k, choices, self.planner.choices[k + 1])
        return before and after

    def _leaps(self, k: int, midi: int) -> int:
        return sum(abs(self.line.notes[j].midi - midi) for j in self._anchors[k])

    def _joins(self, move: int, before: Sequence[Candidate], after: Sequence[Candidate]) -> bool:
        if not before or not after:
            return True
        if self.line.notes[move].gliss_after:
            return any(keeps_gliss(a, b) for a in before for b in after)
        if self.horn.family != "slide":
            return True
        return min(max(self.planner.loads.hand(move, a, b)) for a in before for b in after) <= TOO_MUCH

    # --- other horns, another tuning -----------------------------------------------------------------------------

    def _willing(self) -> Player:
        # Another horn's valves would have to be learned in any case.
        return replace(self.player, learned=None)

    def other_horns(self, k: int, *, better: bool = False) -> tuple[Remedy, ...]:
        """Return the horns on which the note is in tune and within reach.

        Those that have it only in the last position come behind the others, and say so; with `better` the horn at hand
        has the note too, only far out or out of tune, and they are no help.
        """
        midi = self.line.notes[k].midi
        if midi not in self._others:
            having = [(horn, choices) for horn in self.horns for choices in [self._sounding(horn, midi)] if choices]
            easy = tuple(horn.name for horn, choices in having if room_mm(horn, choices) is None)
            far = tuple(horn.name for horn, _ in having if horn.name not in easy)
            self._others[midi] = easy, far
        easy, far = self._others[midi]
        if better or not far:
            return _horn_remedy(easy, _BETTER if better else _HAVING)
        last = f"at the end of the slide: {', '.join(far)}"
        text = f"{_HAVING}: {', '.join(easy)}; only {last}." if easy else f"{_HAVING}, only {last}."
        return (Remedy(kind="horn", text=text, horns=(*easy, *far)),)

    def _sounding(self, horn: Horn, midi: int) -> list[Candidate]:
        """Return the ways to sound a pitch in tune on another horn, none where they are no help."""
        choices = [one for one in allowed_choices(horn, self._willing(), midi) if one.advice is None]
        # A horn in another key that would have it only as a pedal is no help.
        foreign = horn.fundamental_midi != self.horn.fundamental_midi and all(one.partial == 1 for one in choices)
        return [] if foreign else choices

    def tune(self, k: int) -> tuple[Remedy, ...]:
        """Return by how many cents an attachment must be tuned flatter so that the note comes within the slide."""
        midi = self.line.notes[k].midi
        if midi not in self._tunings:
            self._tunings[midi] = self._tuned(midi)
        return self._tunings[midi]

    def _tuned(self, midi: int) -> tuple[Remedy, ...]:
        found = least_pull(self.horn, midi)
        if found is None:
            return ()
        loop, high, out_mm = found
        other = tuned(self.horn, loop, high)
        lost = sorted({note.midi: note.sounding.pretty for note in self.line.notes
                       if candidates(self.horn, note.midi) and not candidates(other, note.midi)}.items())
        label = shown(min(candidates(other, midi), key=lambda one: one.out_mm).label)
        cost = f"; {', '.join(name for _, name in lost)} would then be missing" if lost else ""
        far = ", past E; check that yours is long enough" if high > 100 else ""
        return (Remedy(
            kind="tune", cents=float(high), label=label,
            text=f"Or pull the {loop.name} slide {high} cents flatter (about {out_mm:.0f} mm{far}); "
                 f"then it is {label}{cost}."),)

    def in_tune(self, k: int) -> tuple[Remedy, ...]:
        """Return the nearest choice that is in tune on this horn, where the plan may take one."""
        better = [one for one in self.planner.choices[k] if one.advice is None]
        if not better:
            return ()
        best = min(better, key=lambda one: (round(abs(one.off_cents)), one.out_mm))
        return (Remedy(kind="choice", text=f"Use {shown(best.label)} where there is time: it is in tune.",
                       label=best.label),)

    def learn(self, k: int) -> tuple[Remedy, ...]:
        """Return the nearest choice within reach whose valve state this player has yet to learn."""
        new = [one for one in allowed_choices(self.horn, self._willing(), self.line.notes[k].midi)
               if not self.player.knows(one.valves) and one.advice is None]
        if not new:
            return ()
        best = min(new, key=lambda one: (len(one.valves), one.out_mm))
        return (Remedy(kind="choice", label=best.label, text=f"Teach {shown(best.label)}, which has it within reach."),)

    # --- time ----------------------------------------------------------------------------------------------------

    def tempo(self, k: int) -> tuple[Remedy, ...]:
        """Return the tempo, rounded down, up to which the move after note `k` can be played; planned and checked."""
        if not self._may_try(k):
            return ()
        start, line = self._around(k)
        now = self.planner.times[k].bpm

        def goes(bpm: int) -> bool:
            planner = Planner(line, self.horn, self.player, tempo_bpm=bpm, weights=self.planner.weights)
            return planner.loads_of(planner.outline())[k - start].most <= TOO_MUCH

        low, high = SLOWEST_BPM, floor(now)
        if not goes(low):
            return ()
        if not self._tempos:
            return (Remedy(kind="tempo", bpm=float(low), text="Playable more slowly."),)
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if goes(middle) else (low, middle)
        return (Remedy(kind="tempo", bpm=float(low),
                       text=f"Playable up to quarter note = {low} (now {now:.0f})."),)

    def quicker_horns(self, k: int) -> tuple[Remedy, ...]:
        """Return the horns on which the move after note `k` keeps within what the player can do at this tempo."""
        if not self._may_try(k):
            return ()
        start, line = self._around(k)
        names = []
        for horn in self.horns:
            if horn.fundamental_midi != self.horn.fundamental_midi:
                continue
            key = (horn.name, k - start, tuple((note.midi, note.gliss_after, note.slur_after) for note in line.notes),
                   tuple(time.next_s for time in self.planner.times[start:start + len(line.notes)]))
            if key not in self._plans:
                planner = Planner(line, horn, self._willing(), tempo_bpm=self.planner.times[k].bpm,
                                  weights=self.planner.weights)
                plan = planner.plan()
                near = plan.notes[k - start:k - start + 2]
                self._plans[key] = all(one.choice is not None for one in near) and all(
                    step.most <= TOO_MUCH for step in planner.loads_of(plan))
            if self._plans[key] and self._lies_well(horn, k):
                names.append(horn.name)
        return _horn_remedy(names, _BETTER)

    def _lies_well(self, horn: Horn, k: int) -> bool:
        """Whether the move after note `k` is within the limit on a horn once the whole line is planned."""
        if horn.name not in self._wholes:
            whole = Planner(self.line, horn, self._willing(), weights=self.planner.weights, times=self.planner.times)
            self._wholes[horn.name] = whole.loads_of(whole.outline())
        return self._wholes[horn.name][k].most <= TOO_MUCH

    def _may_try(self, k: int) -> bool:
        return self._tried is None or k in self._tried

    def _around(self, k: int) -> tuple[int, Line]:
        start, stop = max(0, k - AROUND), k + AROUND + 2
        return start, replace(self.line, notes=self.line.notes[start:stop], jumps=())

    # --- glissandi -----------------------------------------------------------------------------------------------

    def gliss(self, k: int) -> tuple[Remedy, ...]:
        """Return the start nearest to the written one from which the end is reached, no glide, horns that hold it."""
        a, b = self.line.notes[k], self.line.notes[k + 1]
        remedies: list[Remedy] = []
        step = 1 if b.midi > a.midi else -1
        start = next((pitch for midi in range(a.midi + step, b.midi, step) if self._begins(k, midi)
                      for pitch in _spellings(a.sounding, midi) if self.keeps_harmony(k, pitch)), None)
        if start is not None:
            remedies.append(self._pitch_remedy("shorten", k, start,
                                               "Start the glissando on {}: from there it stays on one partial."))
        remedies.append(Remedy(kind="straight", text="Play the two notes without the glissando."))
        names = [horn.name for horn in self.horns if any(
            keeps_gliss(x, y) for x in allowed_choices(horn, self._willing(), a.midi)
            for y in allowed_choices(horn, self._willing(), b.midi))]
        return (*remedies, *_horn_remedy(names, "Use a horn that holds it on one partial"))

    def _begins(self, k: int, midi: int) -> bool:
        """Whether the glissando of note `k` could begin on another pitch and leave what comes before it as it is."""
        starts = allowed_choices(self.horn, self.player, midi)
        return (any(keeps_gliss(x, y) for x in starts for y in self.planner.choices[k + 1])
                and not outside_range(self.player, midi)
                and (k == 0 or self._joins(k - 1, self.planner.choices[k - 1], starts)))


def _anchors(playable: Sequence[bool]) -> list[tuple[int, ...]]:
    """Return for each note the nearest playable notes before and after it, where there are any."""
    def nearest(order: Iterable[int]) -> dict[int, int]:
        found: dict[int, int] = {}
        last: int | None = None
        for k in order:
            if last is not None:
                found[k] = last
            if playable[k]:
                last = k
        return found

    places = range(len(playable))
    before, after = nearest(places), nearest(reversed(places))
    return [tuple(side[k] for side in (before, after) if k in side) for k in places]


def _horn_remedy(names: Iterable[str], text: str) -> tuple[Remedy, ...]:
    found = tuple(names)
    return (Remedy(kind="horn", text=f"{text}: {', '.join(found)}.", horns=found),) if found else ()


def _spellings(like: Pitch, midi: int) -> list[Pitch]:
    """Spell `midi` in every way with at most one sign: the fewest signs first, flats where `like` has a flat."""
    spellings = [Pitch(step, alter, octave) for octave in (midi // 12 - 2, midi // 12 - 1, midi // 12)
                 for step in "CDEFGAB" for alter in (-1, 0, 1) if Pitch(step, alter, octave).midi == midi]
    return sorted(spellings, key=lambda one: (abs(one.alter), one.alter * (like.alter or -1) < 0, one.name))


def transposition(written: Pitch, sounding: Pitch) -> Transposition:
    """Return the transposition that leads from a written pitch to a sounding one.

    Examples
    --------
    >>> transposition(Pitch("C", 0, 5), Pitch("B", -1, 3))
    Transposition(diatonic=-8, chromatic=-14)
    """
    def degree(pitch: Pitch) -> int:
        return 7 * pitch.octave + "CDEFGAB".index(pitch.step)

    return Transposition(degree(sounding) - degree(written), sounding.midi - written.midi)


def least_pull(horn: Horn, midi: int) -> tuple[Loop, int, float] | None:
    """Return the attachment that gives the horn a note that it lacks, by how many cents at least, and its pull. [mm]

    None where the horn has the note, or no pull of at most `MOST_PULL_CENTS` brings it.
    """
    if horn.family != "slide" or candidates(horn, midi):
        return None
    for loop in horn.loops:
        sounds = [cents for cents in (1, MOST_PULL_CENTS) if candidates(tuned(horn, loop, cents), midi)]
        if not sounds:
            continue
        low, high = 0, sounds[0]
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if candidates(tuned(horn, loop, middle), midi) else (middle, high)
        return loop, high, pull_mm(horn, loop, high)
    return None


def pull_mm(horn: Horn, loop: Loop, cents: float) -> float:
    """Return how far an attachment's slide comes out on one leg to be `cents` flatter. [mm]"""
    other = tuned(horn, loop, cents)
    return (next(one.share for one in other.loops if one.name == loop.name) - loop.share) * horn.tube_mm / 2


def tuned(horn: Horn, loop: Loop, cents: float) -> Horn:
    """Return the horn with one attachment tuned flatter by `cents` (below 0: sharper)."""
    changed = []
    shares = {one.name: one.share for one in horn.loops}
    for one in horn.loops:
        if one.name == loop.name:
            on_share = shares[one.needs] if one.needs else 0.0
            flat = one.flat_cents + cents
            one = replace(one, flat_cents=flat, share=loop_share(one.semitones, flat, on_share=on_share))
        changed.append(one)
    return replace(horn, loops=tuple(changed))
