"""Scores made for measuring: scale and arpeggio work in mixed rhythms, the same for the same seed."""

import random

DIVISIONS = 12                       # a quarter note: triplets and sixteenths are whole numbers
TYPES = {4: ("eighth", True), 3: ("16th", False), 6: ("eighth", False), 12: ("quarter", False)}
# Rhythms of a 4/4 measure in pairs that have 16 notes together, so that any mixture has 8 notes a measure.
PAIRS = (
    ((12,) * 4, (4,) * 12),
    ((12, 6, 6) * 2, (6,) * 6 + (3,) * 4),
    ((6,) * 6 + (12,), (6,) * 4 + (3, 3) + (6,) * 3),
    ((6,) * 8, (6,) * 8),
)
MAJOR = (0, 2, 4, 5, 7, 9, 11)
KEYS = {-2: 10, -3: 3, -1: 5, -4: 8, 0: 0}      # key signature to pitch class of its tonic
FLAT = (("C", 0), ("D", -1), ("D", 0), ("E", -1), ("E", 0), ("F", 0), ("G", -1), ("G", 0), ("A", -1), ("A", 0),
        ("B", -1), ("B", 0))
FIGURES = ((0, 1, 2, 3, 4, 5, 6, 7), (7, 6, 5, 4, 3, 2, 1, 0), (0, 2, 4, 7, 4, 2), (0, 2, 1, 3, 2, 4, 3, 5),
           (0, -1, 0, 1), (4, 2, 0, 2), (0, 4, 7, 4))
ORCHESTRA = ("Flute 1", "Flute 2", "Oboe", "Clarinet", "Bassoon", "Horn 1", "Horn 2", "Trumpet 1", "Trumpet 2",
             "Trombone 1", "Trombone 2", "Bass Trombone", "Violin 1", "Violin 2", "Viola", "Cello", "Double Bass")


def melody(rng: random.Random, notes: int, tonic: int, low: int, high: int) -> list[int]:
    """MIDI numbers of figures from one major scale, one after another, each begun near where the last one ended."""
    scale = [midi for midi in range(low, high + 1) if (midi - tonic) % 12 in MAJOR]
    here, found = len(scale) // 2, []
    while len(found) < notes:
        figure = rng.choice(FIGURES)
        steps = [here + step for step in figure]
        shift = max(0, -min(steps)) - max(0, max(steps) - len(scale) + 1)
        found += [scale[step + shift] for step in steps]
        here = steps[-1] + shift + rng.choice((-2, -1, 1, 2))
    return found[:notes]


def part(part_id: str, measures: int, *, seed: int, low: int = 40, high: int = 65, bpm: int = 96,
         plays_every: int = 1) -> str:
    """One ``<part>`` of an even number of measures with 8 notes a measure on average.

    With `plays_every` n only each nth pair of measures has notes; the others are rests.
    """
    if measures % 2:
        raise ValueError("the rhythms come in pairs of measures")
    rng = random.Random(seed)
    out = [f'<part id="{part_id}">']
    fifths = 0
    number = 0
    pitches: list[int] = []
    for pair in range(measures // 2):
        if pair % 8 == 0:
            fifths = rng.choice(sorted(KEYS))
            pitches = melody(rng, 8 * 16, KEYS[fifths], low, high)
        rhythms = list(rng.choice(PAIRS))
        rng.shuffle(rhythms)
        for rhythm in rhythms:
            number += 1
            out.append(f'<measure number="{number}" width="240.00">')
            if number == 1 or (pair % 8 == 0 and rhythm is rhythms[0]):
                out.append(f"<attributes>{f'<divisions>{DIVISIONS}</divisions>' if number == 1 else ''}"
                           f"<key><fifths>{fifths}</fifths></key>"
                           + ("<time><beats>4</beats><beat-type>4</beat-type></time><clef><sign>F</sign>"
                              "<line>4</line></clef>" if number == 1 else "") + "</attributes>")
            if number == 1:
                out.append(f'<direction placement="above"><direction-type><metronome><beat-unit>quarter</beat-unit>'
                           f'<per-minute>{bpm}</per-minute></metronome></direction-type><sound tempo="{bpm}"/>'
                           "</direction>")
            if pair % plays_every:
                out.append(f'<note><rest measure="yes"/><duration>{4 * DIVISIONS}</duration><voice>1</voice></note>'
                           "</measure>")
                continue
            slurred = rng.random() < 0.4
            for k, length in enumerate(rhythm):
                marks = ""
                if slurred and k in (0, len(rhythm) - 1):
                    marks = f'<notations><slur number="1" type="{"stop" if k else "start"}"/></notations>'
                elif not slurred and length == 12:
                    marks = "<notations><articulations><staccato/></articulations></notations>"
                out.append(_note(pitches.pop(0), length, 20 + 24 * k, marks))
            out.append("</measure>")
    out.append("</part>")
    return "\n".join(out)


def _note(midi: int, length: int, place: int, marks: str) -> str:
    step, alter = FLAT[midi % 12]
    kind, triplet = TYPES[length]
    modification = ("<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes>"
                    "</time-modification>" if triplet else "")
    return (f'<note default-x="{place}.00" default-y="-15.00">\n<pitch>\n<step>{step}</step>\n'
            + (f"<alter>{alter}</alter>\n" if alter else "")
            + f"<octave>{midi // 12 - 1}</octave>\n</pitch>\n<duration>{length}</duration>\n<voice>1</voice>\n"
            f"<type>{kind}</type>\n{modification}<stem>up</stem>\n{marks}</note>")


def score(names: tuple[str, ...], measures: int, *, seed: int = 1, title: str = "Study",
          trombones_play_every: int = 1) -> bytes:
    """A whole score: one part for each name."""
    listed = "".join(f'<score-part id="P{k}"><part-name>{name}</part-name></score-part>'
                     for k, name in enumerate(names, 1))
    low = {"Bass Trombone": 35, "Trombone 2": 38}
    music = "\n".join(part(f"P{k}", measures, seed=seed * 1000 + k, low=low.get(name, 40),
                           high=low.get(name, 40) + 25,
                           plays_every=trombones_play_every if "Trombone" in name else 1)
                      for k, name in enumerate(names, 1))
    return (f'<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0"><work><work-title>{title}'
            f"</work-title></work><part-list>{listed}</part-list>\n{music}\n</score-partwise>\n").encode()


def study(measures: int = 200, *, seed: int = 1) -> bytes:
    """A trombone part: 200 measures have 1,600 notes."""
    return score(("Trombone",), measures, seed=seed)


def orchestra(measures: int = 200, *, seed: int = 1) -> bytes:
    """Seventeen parts, three of them trombones that rest most of the time; 200 measures are somewhat above 5 MB.

    The trombones have 3 to 4 % of all notes (public orchestral scores that were looked at: 0.6 to 4.7 %).
    """
    return score(ORCHESTRA, measures, seed=seed, trombones_play_every=6)
