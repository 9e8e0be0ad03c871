"""Short cautions that go with every answer that sets someone to play, practice or change horn.

Sources: NASM-PAMA student sheets on neuromusculoskeletal and hearing health (breaks, pain, loudness); Artist- och
musikerhälsan, *Trombone ergonomics* (the left hand's load); JMU brass pedagogy, *Euphonium set-up* (resting the horn);
the reach line is our own, after pages on children and the seven positions. Wording is ours.
"""

PAIN = "If it hurts or tingles, stop and rest; see a licensed health professional if it comes back."
BREAKS = "Take breaks, rest the lips, and raise practice time little by little."
REACH = (
    "Never lunge or twist for a far position: take an alternate, the attachment or a smaller horn; "
    "the teacher checks."
)
LOAD = "The left hand carries the trombone: keep the wrist straight, and ask a teacher about supports."
REST = "Rest the euphonium on leg, cushion or stand; bring the horn to the player, not the player to the horn."
HEARING = "Loud rooms harm hearing: 100 dB for 15 minutes already uses up a day."
WHO = "These are practice hints, not medical advice; the teacher who is present and licensed practitioners decide."

IN_SHORT = "If it hurts or tingles, stop and rest; the teacher who is present and licensed practitioners decide."
"""One line where there is no room for all; it says where they are."""


def for_playing(*, slide: bool, valves: bool, estimated_reach: bool = False) -> tuple[str, ...]:
    """Return the cautions for playing or practicing on a slide horn, a valved horn, or both; never empty."""
    lines = [PAIN, BREAKS]
    if slide:
        lines.append(REACH)
    if estimated_reach:
        lines.append("The reach is an estimate from body height, kept low; measure it with the horn in hand.")
    if valves:
        lines.append(REST)
    return (*lines, WHO)


def for_changing(*, slide: bool, valves: bool) -> tuple[str, ...]:
    """Return the cautions for a change of horn; never empty."""
    loads = ((LOAD,) if slide else ()) + ((REST,) if valves else ())
    return (*loads, PAIN, BREAKS, *((REACH,) if slide else ()), HEARING, WHO)
