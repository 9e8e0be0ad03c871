"""Why notes are played where they are: a sentence a note on the chart, a sentence a group of alternates.

A group's sentence compares two whole plans: ours, and the best one with the group held on the chart. What it claims
(centimetres, changes of direction, valve changes, smears) is counted in both, never guessed from weights; the weights
only say which of the true differences comes first.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, pairwise

from analyzer.horns.candidate import Candidate, travel_mm
from analyzer.plan.costs import STILL_MM, Costs, Move, keeps_gliss, lowest_partial
from analyzer.plan.limits import peak_mm_s
from analyzer.plan.plan import Alternative
from analyzer.plan.slurs import slur_kind
from analyzer.plan.timing import NoteTime
from analyzer.words import shown

Picks = Sequence[Candidate | None]

WORTH_SAYING_MM = 10.0
"""A shorter saving of slide travel is not named; judged: hands do not feel a centimetre in a passage."""
_FASTER_SHARE = 0.1                    # a fastest move this much slower is worth saying; judged
_WORTH_HEARING_CENTS = 3.0             # less is not heard as out of tune; judged
_SHORTER = "a shorter reach"           # less travel says as much
_SHORT_S = 0.3                         # in a shorter note a few cents are hardly heard; judged
_SECOND_SHARE = 0.4                    # a second ground is named where it is worth this share of the first; judged


@dataclass(frozen=True, slots=True)
class Around:
    """The whole plan, to look at a note's neighbours. `usual` is the chart's choice of each note.

    `at_home` tells whether a note with a choice pays nothing for leaving the chart.
    """

    costs: Costs
    times: Sequence[NoteTime]
    moves: Sequence[Move]
    picked: Picks
    usual: Picks
    at_home: Callable[[int, Candidate], bool]

    def glides(self, k: int) -> bool:
        """Tell whether a glissando begins or ends at note `k`."""
        return any(move.gliss for move in self.moves[max(k - 1, 0):k + 1])


@dataclass(frozen=True, slots=True)
class Beside:
    """The notes of a group and around it, twice: as planned, and with the group held on the chart.

    `start` is the index of the first note of both stretches; `first` and `last` are the group's. A note that cannot
    be played is None in both. `dearer` is what the second plan costs more [cm of unhurried travel].
    """

    around: Around
    first: int
    last: int
    start: int
    ours: tuple[Candidate | None, ...]
    chart: tuple[Candidate | None, ...]
    dearer: float

    @property
    def saves_mm(self) -> float:
        """Slide travel with the group on the chart less that of the plan. [mm]"""
        return travel_mm(self.chart) - travel_mm(self.ours)

    @property
    def instead(self) -> str:
        """What the chart has in the group's place, in words."""
        usual = self.around.usual[self.first]
        return f"the usual {shown(usual.label)}" if self.first == self.last and usual else "the chart"

    def both(self, count: Callable[[Around, int, Picks], float]) -> tuple[float, float]:
        """Count something in both stretches: ours, the chart's."""
        return count(self.around, self.start, self.ours), count(self.around, self.start, self.chart)

    def members(self) -> list[tuple[int, Candidate, Candidate]]:
        """Return (index, ours, the chart's) for each note of the group."""
        return [(k, a, b) for k in range(self.first, self.last + 1)
                if (a := self.around.picked[k]) is not None and (b := self.around.usual[k]) is not None]


# --- a note on the chart ---------------------------------------------------------------------------------------------

def note_reasons(around: Around, k: int, alternatives: Sequence[Alternative], pinned: bool, toss_up: bool = False,
                 ) -> tuple[str, ...]:
    """Return the sentences for note `k` of the plan, played as the chart has it, or pinned; at least one.

    `toss_up` tells that the next best costs hardly less.
    """
    choice, usual = around.picked[k], around.usual[k]
    assert choice is not None
    if pinned:
        return ("Chosen by hand (pinned).",)
    if choice.advice and around.glides(k):
        return (f"Keeps the glissando on one partial; {choice.advice}.",)
    if choice.advice:
        return (f"Nothing better plays it here; {choice.advice}.",)
    way = "position" if choice.position is not None else "fingering"
    if not alternatives:
        return (f"The only {way} for this note here.",)
    if usual is None:
        return (f"The chart has no {way} for this note; next best: {shown(alternatives[0].choice.label)}.",)
    other = shown(alternatives[0].choice.label)
    return (f"Usual {way}; {other} would do nearly as well." if toss_up else f"Usual {way}; next best: {other}.",)


# --- a group of alternates -------------------------------------------------------------------------------------------

def group_reason(beside: Beside, barred: Mapping[int, str], pinned: frozenset[int]) -> str:
    """Return the one sentence for a group of notes off the chart.

    Parameters
    ----------
    beside : Beside
        The group, as planned and held on the chart.
    barred : mapping
        For notes whose usual choice this player cannot take: why.
    pinned : frozenset of int
        Notes of the group that a person has chosen.
    """
    mine = [k for k in range(beside.first, beside.last + 1) if k not in pinned]
    if not mine:
        return _sentence(["chosen by hand (pinned)", *_travel(beside)])
    if barred:
        return _sentence([*dict.fromkeys(barred.values())])
    advice = _against(beside)
    grounds = _grounds(beside)
    if not grounds:
        return _sentence([*(advice or [f"about as good as {beside.instead} here: no single gain, a little of each"])])
    (_, first), *rest = grounds
    said = [first]
    said += [words for worth, words in rest[:1] if worth >= _SECOND_SHARE * grounds[0][0]
             and not ("slide travel" in first and words.startswith(_SHORTER))]
    if len(said) == 1 and (kept := _direction(beside)) and kept != first:
        said.append(kept)              # cheap in the sum, yet what players name first
    if not any("slide travel" in words for words in said):
        said += _travel(beside)
    # What it is held against is named once.
    again = (f" than with {beside.instead}", f" over {beside.instead}")
    said[1:] = [words.replace(again[0], "").replace(again[1], "") if beside.instead in said[0] else words
                for words in said[1:]]
    return _sentence([*said, *advice])


def _against(beside: Beside) -> list[str]:
    """What speaks against choices of the group, once each: it is told, not hidden."""
    said = {}
    for k, ours, usual in beside.members():
        if ours.advice and not usual.advice:
            long = beside.around.times[k].sounds_s > _SHORT_S
            if long or ours.label not in said:
                said[ours.label] = (f"{shown(ours.label)} is {ours.advice}" if long or not ours.off_cents else
                                    f"{shown(ours.label)} is {ours.off_said}, which a "
                                    "note this short forgives")
    return list(said.values())


def _sentence(said: Sequence[str]) -> str:
    text = "; ".join(said)
    return f"{text[:1].upper()}{text[1:]}."


def _grounds(beside: Beside) -> list[tuple[float, str]]:
    """Return (worth, words) for each ground that can be counted, the one that weighs most first."""
    here, there = (_prices(beside, picks) for picks in (beside.ours, beside.chart))
    saved = {name: there.get(name, 0.0) - here.get(name, 0.0) for name in {*here, *there}}
    found = []
    for names, say in _SAID:
        worth = sum(saved.get(name, 0.0) for name in names)
        words = say(beside) if worth > 0.01 else None
        if words:
            found.append((worth, words))
    return sorted(found, key=lambda item: -item[0])


def _prices(beside: Beside, picks: Picks) -> dict[str, float]:
    """Sum the itemised prices of a stretch; what both have in common falls out of the difference."""
    around, costs = beside.around, beside.around.costs
    total: dict[str, float] = {}

    def add(items: Mapping[str, float]) -> None:
        for name, cost in items.items():
            total[name] = total.get(name, 0.0) + cost

    for k, choice in enumerate(picks, beside.start):
        if choice is not None and (choice is not beside.ours[k - beside.start]
                                   or choice is not beside.chart[k - beside.start]):
            add(costs.note_items(choice, around.times[k].sounds_s, lowest_partial([choice]),
                                 around.at_home(k, choice)))
    for k, (a, b) in enumerate(pairwise(picks), beside.start):
        if a is not None and b is not None:
            add(costs.move_items(a, b, around.moves[k]))
    add({"reversal": sum(costs.reversal(around.moves[k]) for k in _turning(around, beside.start, picks))})
    return total


# What is counted ------------------------------------------------------------------------------------------------------


def _turning(around: Around, start: int, picks: Picks) -> list[int]:
    """Return the moves at which the slide changes direction, by the note they leave."""
    found, k = [], start
    last, here = None, picks[0]
    while last is None and k > 0 and here is not None and (a := around.picked[k - 1]) is not None:
        last, here, k = around.costs.sense(a, here), a, k - 1
    end = start + len(picks) - 1
    after = (around.picked[k] for k in range(end + 1, len(around.picked)))
    for k, (a, b) in enumerate(pairwise(chain(picks, after)), start):
        sense = None if a is None or b is None else around.costs.sense(a, b)
        if sense is not None and last is not None and sense != last:
            found.append(k)
        if k >= end and (sense is not None or a is None or b is None):
            break                      # from here on both plans turn alike
        last = None if a is None or b is None else last if sense is None else sense
    return found


def _turns(around: Around, start: int, picks: Picks) -> float:
    return len(_turning(around, start, picks))


def _valve_changes(around: Around, start: int, picks: Picks) -> float:
    return sum(a.valves != b.valves for a, b in pairwise(picks) if a is not None and b is not None)


def _fingers(around: Around, start: int, picks: Picks) -> float:
    return sum(len({*a.valves} ^ {*b.valves}) for a, b in pairwise(picks) if a is not None and b is not None)


def _crossings(around: Around, start: int, picks: Picks) -> float:
    return sum(bool({*a.valves} - {*b.valves}) and bool({*b.valves} - {*a.valves})
               for a, b in pairwise(picks) if a is not None and b is not None)


def _valves_held(around: Around, start: int, picks: Picks) -> float:
    return sum(len(pick.valves) for pick in picks if pick is not None)


def _slurred(kinds: tuple[str, ...]) -> Callable[[Around, int, Picks], float]:
    def count(around: Around, start: int, picks: Picks) -> float:
        return sum(around.moves[k].slur and slur_kind(a, b, around.moves[k].rising) in kinds
                   for k, (a, b) in enumerate(pairwise(picks), start) if a is not None and b is not None)
    return count


def _partials(around: Around, start: int, picks: Picks) -> float:
    return sum(abs(a.partial - b.partial) for a, b in pairwise(picks) if a is not None and b is not None)


def _peak_mm_s(around: Around, start: int, picks: Picks) -> float:
    return max((peak_mm_s(travel_mm((a, b)), around.moves[k].move_s)
                for k, (a, b) in enumerate(pairwise(picks), start)), default=0.0)


def _broken_glides(around: Around, start: int, picks: Picks) -> float:
    return sum(around.moves[k].gliss and not keeps_gliss(a, b)
               for k, (a, b) in enumerate(pairwise(picks), start) if a is not None and b is not None)


def _shades(around: Around, start: int, picks: Picks) -> float:
    return sum(bool(pick.shade) for pick in picks if pick is not None)


# What is said ---------------------------------------------------------------------------------------------------------

def _fewer(beside: Beside, count: Callable[[Around, int, Picks], float]) -> int:
    ours, chart = beside.both(count)
    return max(int(chart - ours), 0)


def _times(number: int, word: str) -> str:
    return f"{number} fewer {word}" + ("" if number == 1 else "s")


def _travel(beside: Beside) -> list[str]:
    """Say what the group saves in slide travel, where it is worth saying."""
    if beside.saves_mm < WORTH_SAYING_MM:
        return []
    return [f"saves {beside.saves_mm / 10:.0f} cm of slide travel over {beside.instead}"]


def _slide(beside: Beside) -> str | None:
    saves = beside.saves_mm
    if saves >= WORTH_SAYING_MM:
        # Farther to get there, nearer to go on: the group is taken for what follows.
        cut = beside.last - beside.start + 1
        there = travel_mm(beside.chart[:cut]) - travel_mm(beside.ours[:cut])
        if there <= -WORTH_SAYING_MM:
            return (f"stands ready for the next notes: {-there / 10:.0f} cm more to get there, more than made up "
                    f"after; {_travel(beside)[0]}")
        return _travel(beside)[0]
    ours, chart = beside.both(_peak_mm_s)
    if ours < chart * (1 - _FASTER_SHARE):
        return f"the fastest move is slower: {ours / 1000:.1f} m/s instead of {chart / 1000:.1f}"
    return None


def _direction(beside: Beside) -> str | None:
    fewer = _fewer(beside, _turns)
    if not fewer:
        return None
    if not beside.both(_turns)[0]:
        return f"keeps the slide moving in one direction; {beside.instead} would turn it"
    return f"{_times(fewer, 'change')} of slide direction than with {beside.instead}"


def _slur(beside: Beside) -> str | None:
    fewer = _fewer(beside, _slurred(("smear",)))
    if fewer:
        more = {kind: ours > chart for kind in ("natural", "lip", "valve")
                for ours, chart in [beside.both(_slurred((kind,)))]}
        how = ("natural slur" if more["natural"] else "lip slur" if more["lip"] else
               "slurs with the valve" if more["valve"] else "")
        return f"{how}; {beside.instead} would smear" if how else f"fewer smears than with {beside.instead}"
    if _fewer(beside, _slurred(("with grain",))):
        return f"slurs without the tongue; {beside.instead} would need legato tongue"
    return None


def _valve(beside: Beside) -> str | None:
    fewer = _fewer(beside, _valve_changes)
    if not fewer:
        return None
    down = all(ours.valves for _, ours, _ in beside.members())
    kept = "keeps the valve down" if down else "stays off the valve"
    return f"{kept}: {_times(fewer, 'valve change')} than with {beside.instead}"


def _held(beside: Beside) -> str | None:
    fewer = _fewer(beside, _valves_held)
    if not fewer:
        return None
    if all(not ours.valves for _, ours, _ in beside.members()):
        return f"open horn; {beside.instead} holds a valve"
    return f"fewer valves held than with {beside.instead}"


def _tuning(beside: Beside) -> str | None:
    worst = max(beside.members(), key=lambda item: abs(item[2].off_cents) - abs(item[1].off_cents))
    _, ours, usual = worst
    if abs(usual.off_cents) - abs(ours.off_cents) < _WORTH_HEARING_CENTS:
        return None
    return f"better in tune; the usual {shown(usual.label)} is {usual.off_said}"


def _nearer(beside: Beside) -> str | None:
    ours, chart = (max(one.out_mm for one in way)
                   for way in zip(*((a, b) for _, a, b in beside.members()), strict=True))
    if chart - ours < STILL_MM * 2:
        return None
    return f"{_SHORTER}: {(chart - ours) / 10:.0f} cm closer in than {beside.instead}"


def _lips(beside: Beside) -> str | None:
    fewer = _fewer(beside, _partials)
    if not fewer:
        return None
    return f"less work for the lips: smaller changes of partial than with {beside.instead}"


def _finger(beside: Beside) -> str | None:
    fewer = _fewer(beside, _fingers)
    return f"{_times(fewer, 'finger movement')} than with {beside.instead}" if fewer else None


def _cross(beside: Beside) -> str | None:
    fewer = _fewer(beside, _crossings)
    return f"no fingers trade places, as they would with {beside.instead}" if fewer and not beside.both(
        _crossings)[0] else f"fingers trade places {fewer} time{'s' if fewer > 1 else ''} less than with " \
        f"{beside.instead}" if fewer else None


def _lower(beside: Beside) -> str | None:
    lower = all(ours.partial <= usual.partial for _, ours, usual in beside.members())
    less = any(ours.partial < usual.partial for _, ours, usual in beside.members())
    return f"a lower partial than {beside.instead}" if lower and less else None


def _glide(beside: Beside) -> str | None:
    return f"keeps the glissando on one partial; {beside.instead} would break it" if _fewer(
        beside, _broken_glides) else None


def _marked(beside: Beside) -> str | None:
    return f"on a full position; {beside.instead} lies between two" if _fewer(beside, _shades) else None


_SAID: tuple[tuple[tuple[str, ...], Callable[[Beside], str | None]], ...] = (
    (("travel", "slur_travel", "speed", "over_speed"), _slide),
    (("reversal",), _direction),
    (("smear", "with_grain"), _slur),
    (("thumb", "swap"), _valve),
    (("lip", "against", "trill"), _lips),
    (("held_valve", "resonance", "second_valve", "open_valve"), _held),
    (("cents", "unraised"), _tuning),
    (("out",), _nearer),
    (("finger",), _finger),
    (("crossing",), _cross),
    (("high_partial", "valved_partial"), _lower),
    (("gliss",), _glide),
    (("shaded",), _marked),
)
"""Which prices a ground accounts for, and how it is said where it is true."""
