"""The chords that a seated section will find worst in tune, on the horns in hand."""

from analyzer.analysis import Planned
from analyzer.intonation.sonority import Sonorities
from analyzer.intonation.targets import targets
from analyzer.review.chord_map import Sonority, worst_chords
from analyzer.section.fit import SectionFit

WORST = 3
"""So many chords stand in the answer for a whole section; `lowbrass tune chords` names more."""


def section_chords(fit: SectionFit, most: int = WORST) -> tuple[Sonority, ...]:
    """Return the worst chords of the seats with a plan of their own, worst first; the other parts are read for it.

    A cover plays another part than the printed one, and is left out.
    """
    sonorities = Sonorities(fit.document, fit.reads)
    lines = []
    for seat in fit.seats:
        burden = seat.burden
        if burden is None or seat.cover is not None:
            continue
        planner = burden.planner
        places = targets(planner.line, [time.sounds_s for time in planner.times], sonorities,
                         strength=planner.player.just_strength, from_s=planner.player.just_from_s)
        lines.append(Planned(part=seat.chair.part, planner=planner, plan=burden.plan, assumed=False, targets=places))
    return worst_chords(lines, most)
