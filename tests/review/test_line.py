"""The note-by-note review: facts of the trade, and every remedy tried out."""

import random
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from analyzer.analysis import Request, analyse
from analyzer.horns.candidates import candidates
from analyzer.horns.profiles import horn_names, load_horn
from analyzer.pitch import parse_pitch
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner
from analyzer.review import line as line_review
from analyzer.review.findings import Finding
from analyzer.review.harmony import Harmony
from analyzer.review.limits import REST_S, STRETCH_CARE_S, STRETCH_NOTE_S
from analyzer.review.line import findings, review
from analyzer.review.remedies import tuned
from analyzer.score.document import open_document, read_document
from analyzer.score.lines import Line
from analyzer.score.sounding import moment_of
from tests.lines import line_of
from tests.review.applying import IN_PITCH, outcomes
from tests.review.scores import SAMPLES, chord_score, note, part, score


def found(line: Line, horn: str, player: Player | None = None, harmony: Harmony | None = None) -> tuple[Finding, ...]:
    planner = Planner(line, load_horn(horn), player)
    return findings(planner.plan(), planner, harmony=harmony)


def codes(line: Line, horn: str, player: Player | None = None) -> list[tuple[int | None, str, str]]:
    return [(one.index, one.code, one.severity) for one in found(line, horn, player)]


def remedy(one: Finding, kind: str):
    return next((way for way in one.remedies if way.kind == kind), None)


# --- beyond the horn ---------------------------------------------------------------------------------------------

def test_b1_on_one_attachment_needs_a_second_valve_or_e() -> None:
    # Published: B1 needs the attachment pulled to E, or a second valve (copy of an encyclopedia's text on the
    # trombone, S22 in tests/published/ranges.csv).
    (one,) = found(line_of("C3 B1 C3"), "tenor-f")
    assert (one.code, one.severity, one.index, one.sounding) == ("beyond-horn", "stop", 1, "B1")
    horns = remedy(one, "horn").horns
    assert "bass-independent" in horns
    assert "bass-dependent" in horns
    assert not {"tenor", "alto", "bass-single"} & set(horns)
    tune = remedy(one, "tune")
    # A true E lies a semitone flatter; the slide's end is judged, so a little more is allowed for.
    assert 75 <= tune.cents <= 140


def test_the_tuning_is_just_enough() -> None:
    horn = load_horn("tenor-f")
    (one,) = found(line_of("C3 B1 C3"), "tenor-f")
    cents = remedy(one, "tune").cents
    assert candidates(tuned(horn, horn.loops[0], cents), 35)
    assert not candidates(tuned(horn, horn.loops[0], cents - 1), 35)


@pytest.mark.parametrize("name", ["Eb2", "D2", "C#2", "C2", "B1"])
def test_the_gap_of_the_straight_tenor(name: str) -> None:
    # Published: E1 to B flat 1 pedals, E2 up normal; C2 to E flat 2 added by the attachment (S22, as above).
    (one,) = found(line_of(f"F2 {name} F2"), "tenor")
    assert (one.code, one.index) == ("beyond-horn", 1)
    assert ("tenor-f" in remedy(one, "horn").horns) == (name != "B1")
    assert ("at the end of the slide: tenor-f" in remedy(one, "horn").text) == (name == "C2")


def test_the_octave_in_seventh_comes_before_two_octaves() -> None:
    # B2 is the seventh position's fifth above the pedals and in every beginner's chart of a straight tenor (S22, as
    # above: E2 up normal); nobody would play B3 for a low B1 where B2 is there.
    for music in ("B1 Bb2 F3 C3 B1", "F3 Bb2 B1", "B1 F3"):
        for one in found(line_of(music), "tenor"):
            if one.code == "beyond-horn":
                assert remedy(one, "octave").text == "Play it an octave up, B2."


def test_low_c_is_on_the_attachment_but_at_the_end_of_the_slide() -> None:
    # T6 needs nearly the whole slide: common practice, no source.
    one = next(one for one in found(line_of("C2"), "tenor-f") if one.code == "end-of-slide")
    assert one.severity == "care"
    assert "T6" in one.what
    assert "bass-independent" in remedy(one, "horn").horns


@pytest.mark.parametrize("name", ["B2", "E2"])
def test_what_lies_only_in_seventh(name: str) -> None:
    # OEIS A309909: 7 is the lowest position of E2 and B2 (tests/published/oeis_a309909.csv).
    assert codes(line_of(name), "tenor") == [(0, "end-of-slide", "note")]
    assert codes(line_of(name), "tenor-f") == []


def test_a_plain_scale_is_clean_on_every_b_flat_horn() -> None:
    for horn in ("tenor", "tenor-f", "bass-independent", "euphonium-4-compensating"):
        assert codes(line_of("Bb2 D3 Eb3 F3 G3 A3 Bb3"), horn) == []


def test_nothing_to_review_in_an_empty_line() -> None:
    line = replace(line_of("C3"), notes=())
    assert found(line, "tenor") == ()


# --- intonation, ceiling, reach, range ---------------------------------------------------------------------------

def test_f2_in_first_of_the_attachment_is_flat() -> None:
    # F2 in T1 speaks flat on many horns: common practice, no source. A short arm has no other way.
    arm = Player(outermost_position=4)
    one = next(one for one in found(line_of("F2"), "tenor-f", arm) if one.code == "out-of-tune")
    assert "T1" in one.what
    assert "flat" in one.what
    assert codes(line_of("F2"), "tenor-f") == []


def test_three_valves_are_sharp_and_the_fourth_helps() -> None:
    # 1-2-3 lies well sharp without compensation (tests/published/derived_valve_sharpness.csv).
    one = next(one for one in found(line_of("E2"), "euphonium-3") if one.code == "out-of-tune")
    assert "sharp" in one.what
    assert "euphonium-4-compensating" in remedy(one, "horn").horns


def test_above_the_ceiling_only_where_the_arm_leaves_no_other_way() -> None:
    # A3 lies in second open; who reaches only first has it on the attachment alone, above C3.
    assert (0, "above-ceiling", "care") in codes(line_of("A3"), "tenor-f", Player(outermost_position=1))
    assert codes(line_of("A3"), "tenor-f") == []
    assert (0, "above-ceiling", "care") not in codes(
        line_of("A3"), "tenor-f", Player(outermost_position=1, ceiling_midi=None))


def test_reach() -> None:
    (one,) = found(line_of("B2"), "tenor", Player(outermost_position=5))
    assert (one.code, one.severity) == ("long-reach", "stop")
    assert "Never lunge for it." in one.try_
    assert codes(line_of("C3"), "tenor", Player(reach_mm=510)) == [(0, "long-reach", "care")]   # sixth: 498 mm
    assert codes(line_of("C3"), "tenor", Player(reach_mm=540)) == []


def test_range_of_the_player() -> None:
    player = Player(low=45, high=60)
    assert codes(line_of("Ab2 A2 C4 Db4"), "tenor", player) == [
        (0, "out-of-range", "care"), (3, "out-of-range", "care")]


def test_valve_states_not_learned() -> None:
    (one,) = found(line_of("D2"), "tenor-f", Player(learned=()))
    assert (one.code, one.severity) == ("out-of-range", "stop")
    assert "T4" in one.what
    assert remedy(one, "choice").label == "T4"


def test_a_state_to_learn_comes_before_a_far_reach() -> None:
    # Both valves have C2 in TS3 (common practice, no source); with the attachment alone it is T6.
    (one,) = found(line_of("C2"), "bass-independent", Player(outermost_position=6, learned=("T",)))
    assert (one.code, one.severity) == ("long-reach", "stop")
    assert remedy(one, "choice").label == "TS3"


# --- time ----------------------------------------------------------------------------------------------------------

@pytest.mark.parametrize(("names", "horn"), [
    ("Bb2 B2 Bb2 B2", "tenor"), ("Bb2 C3 Bb2 C3", "tenor"), ("Eb3 A2 Eb3 A2", "alto"),
    ("E2 F2 E2 Bb2 E2", "tenor"),
])
def test_the_tempo_is_playable_and_not_much_more_is(names: str, horn: str) -> None:
    line = line_of(names, Fraction(1, 4), bpm=160)
    fast = [one for one in found(line, horn) if one.code == "too-fast"]
    assert fast
    for one in fast:
        bpm = remedy(one, "tempo").bpm
        for tempo, quick in ((bpm, False), (bpm * 1.1 + 1, True)):
            planner = Planner(line, load_horn(horn), tempo_bpm=tempo)
            again = findings(planner.plan(), planner)
            # A run of moves is one finding at its fastest; slower, the same moves must all be free.
            assert any(other.code == "too-fast" for other in again) >= quick
            if not quick:
                assert not any(other.code == "too-fast" and other.index == one.index for other in again)


def test_b_flat_to_b_is_better_on_an_attachment() -> None:
    # B2 is T2 on the attachment and 7 without (common practice; OEIS A309909 for the 7).
    # At 100 second to first leaves a student time, seventh to first none (61 cm in 0.15 s: 157 m/s2).
    one = next(one for one in found(line_of("Bb2 B2 Bb2", Fraction(1, 4), bpm=100), "tenor") if one.code == "too-fast")
    assert {"tenor-f", "bass-independent"} <= set(remedy(one, "horn").horns)


@pytest.mark.parametrize(("names", "bpm", "fits_bpm"), [("Bb2 A2 " * 4, 250, 90), ("F3 " * 8, 400, 90)])
def test_what_arms_and_tongues_do_not_do_is_too_fast(names: str, bpm: float, fits_bpm: float) -> None:
    # Sixteenths: first to second goes to 163 at most, one note to 210 (tests/published/human_limits.csv).
    assert any(one.code == "too-fast" for one in found(line_of(names, Fraction(1, 4), bpm=bpm), "tenor"))
    assert not any(one.code == "too-fast" for one in found(line_of(names, Fraction(1, 4), bpm=fits_bpm), "tenor"))


def test_fingers_have_a_limit_too() -> None:
    line = line_of("Bb3 A3 Bb3 A3 Bb3", Fraction(1, 4), bpm=200)
    assert any(one.code == "too-fast" for one in found(line, "euphonium-3"))
    assert not any(one.code == "too-fast" for one in found(line_of("Bb3 A3 Bb3 A3", Fraction(1, 4), bpm=90),
                                                           "euphonium-3"))


# --- glissandi -----------------------------------------------------------------------------------------------------

@pytest.mark.parametrize(("names", "clean"), [
    ("F3/ B2", True),                  # a tritone, first to seventh of partial 3
    ("Bb2/ E2", True), ("Bb3/ G3", True),
    ("Bb2/ Bb4", False),               # two octaves
    ("Bb2/ F3", False), ("F3/ Bb2", False),
])
def test_glissandi(names: str, clean: bool) -> None:
    # A glissando must stay within the seven positions of one partial ("Trombone glissando", handout,
    # https://www.scribd.com/doc/294550840/Trombone-Gliss); seven positions make a tritone.
    hits = [one for one in found(line_of(names), "tenor") if one.code == "gliss"]
    assert (not hits) == clean
    for one in hits:
        assert one.severity == "stop"


def test_valves_cannot_glide() -> None:
    (one,) = found(line_of("F3/ B2"), "euphonium-4-compensating")
    assert (one.code, one.severity) == ("gliss", "care")


# --- stretches -----------------------------------------------------------------------------------------------------

def test_a_long_low_stretch_tires_and_a_rest_ends_it() -> None:
    count = int(STRETCH_CARE_S)
    long = line_of(" ".join(["F2"] * count))
    assert [one.severity for one in found(long, "bass-independent") if one.code == "tiring"] == ["care"]
    # The same notes with rests: every tenth note is silent and the next begins late.
    gap = Fraction(round(REST_S * 1000), 1000)
    notes = tuple(replace(note, onset=note.onset + gap * (k // 10)) for k, note in enumerate(long.notes))
    assert [one for one in found(replace(long, notes=notes), "bass-independent") if one.code == "tiring"] == []


@pytest.mark.parametrize(("name", "tires"), [("F4", True), ("Bb3", False), ("G2", False), ("F2", True)])
def test_only_low_and_high_notes_tire(name: str, tires: bool) -> None:
    line = line_of(" ".join([name] * int(STRETCH_NOTE_S + 2)))
    assert any(one.code == "tiring" for one in found(line, "tenor-f")) == tires


# --- remedies, tried out -------------------------------------------------------------------------------------------

@pytest.mark.parametrize("seed", range(40))
def test_every_remedy_in_pitch_makes_its_finding_disappear(seed: int) -> None:
    rng = random.Random(seed)
    horn = rng.choice(horn_names())
    base = load_horn(horn).fundamental_midi
    player = Player(
        outermost_position=rng.choice([None, 5, 6]), low=rng.choice([None, base + 4]),
        high=rng.choice([None, base + 30]), learned=rng.choice([None, None, ("T",)]))
    names = ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"]
    picked = [rng.randint(base - 6, base + 38) if rng.random() < 0.4 else rng.randint(base + 7, base + 28)
              for _ in range(24)]
    line = line_of(" ".join(f"{names[midi % 12]}{midi // 12 - 1}" for midi in picked), rng.choice([0.25, 0.5, 1]),
                   bpm=100)
    tried = 0
    for one in found(line, horn, player):
        for way in one.remedies:
            if way.kind in IN_PITCH:
                tried += 1
                assert all(outcomes(line, one, way, load_horn(horn), player)), (one, way)
                if way.kind == "octave":
                    assert (way.sounding.midi - line.notes[one.index].midi) % 12 == 0
            if way.kind == "horn" and one.code != "too-fast":
                for other in way.horns:
                    assert candidates(load_horn(other), line.notes[one.index].midi)
    assert tried or horn.startswith(("euphonium", "baritone", "bass"))


def test_shortened_glissando_can_be_played() -> None:
    line = line_of("Bb2/ F3 G3")
    one = next(one for one in found(line, "tenor") if one.code == "gliss")
    way = remedy(one, "shorten")
    assert way.sounding.name == "B2"   # a tritone below F3, in seventh
    assert outcomes(line, one, way, load_horn("tenor"), Player()) == [True]


def test_chord_tone_belongs_to_what_sounds() -> None:
    document = read_document(chord_score(), "chord.musicxml")
    (one,) = review(analyse(document, Request(horns=("tenor",))))
    (finding,) = one.findings
    assert (finding.code, finding.sounding) == ("beyond-horn", "Eb2")
    assert remedy(finding, "octave").sounding.name == "Eb3"
    # The chord is E flat, G, B flat (the clarinet sounds a tone lower than it reads); the nearest is G2.
    assert remedy(finding, "chord-tone").sounding.name == "G2"


def test_parts_that_drift_apart_still_sound_together_measure_by_measure() -> None:
    """A measure of eight quarters in one part alone, as some published files have it."""
    long = note("C", 5) + note("D", 5)
    document = read_document(score({"Flute": part("P1", long, note("G", 4), clef="G2"),
                                    "Trombone": part("P2", note("C", 3), note("E", 3))}), "drift.musicxml")
    (one,) = analyse(document, Request(parts=("P2",))).lines
    at = moment_of(one.plan.line, 1)
    assert at == (1, 0)
    sounding = Harmony(document).sounding(at, but=("P2", one.plan.line.notes[1].refs))
    assert [pitch.name for pitch in sounding] == ["G4"]


def test_harmony_hears_what_is_held_and_leaves_out_the_note_itself() -> None:
    harmony = Harmony(read_document(chord_score(), "chord.musicxml"))
    names = [pitch.name for pitch in harmony.sounding((0, Fraction(7, 2)), but=("P3", (0,)))]
    assert names == ["G4", "Bb4"]
    assert [pitch.name for pitch in harmony.sounding((1, Fraction(0)), but=("", ()))] == ["Bb2", "G4", "Bb4"]
    assert harmony.sounding((2, Fraction(0)), but=("", ())) == ()


@pytest.mark.parametrize("name", ["harbour-march-trio.musicxml", "brass-band-hymn.musicxml",
                                  "quiet-chorale-trombones.mxl", "deep-water-bass-trombone.musicxml"])
@pytest.mark.parametrize("horn", ["tenor", "euphonium-3"])
def test_remedies_in_the_samples(name: str, horn: str) -> None:
    document = open_document(SAMPLES / name)
    harmony = Harmony(document)
    player = Player(outermost_position=6)
    for one in review(analyse(document, Request(horns=(horn,), player=player))):
        line = one.planned.plan.line
        for finding in one.findings:
            for way in finding.remedies:
                if way.kind in IN_PITCH:
                    assert outcomes(line, finding, way, one.planned.plan.horn, player) == [True]
                if way.kind == "chord-tone":
                    held = harmony.held(line, finding.index)
                    assert held[way.sounding.step, way.sounding.alter] > 0.5


def test_the_mistakes_that_the_samples_tell_of() -> None:
    # sample_scores/README.md: G0 in measure 45, the glissando of measure 30, E flat 2 in the march's last measure.
    (deep,) = review(analyse(open_document(SAMPLES / "deep-water-bass-trombone.musicxml"), Request()))
    hits = {(one.code, one.measure) for one in deep.findings}
    assert ("beyond-horn", "45") in hits
    assert ("gliss", "30") in hits
    assert ("gliss", "26") not in hits
    low = next(one for one in deep.findings if one.code == "beyond-horn")
    assert remedy(low, "octave").sounding.name == "G1"
    march = review(analyse(open_document(SAMPLES / "harbour-march-trio.musicxml"), Request(horns=("tenor",))))
    assert {(one.code, one.measure, one.sounding) for line in march for one in line.findings
            if one.code == "beyond-horn"} == {("beyond-horn", "42", "Eb2")}


# --- the worked example -------------------------------------------------------------------------------------------

def test_the_finding_of_the_developers_page_is_told_by_its_rule_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    text = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
    example = text.split("**Add a finding.**")[1].split("```python\n")[1].split("```")[0]
    monkeypatch.setattr(line_review, "_RULES", list(line_review._RULES))
    monkeypatch.setattr(line_review, "CODES", set(line_review.CODES))
    exec(example, line_review.__dict__)
    sounds = line_of("C4 D4")
    # A treble-clef reader: written a major ninth above what sounds.
    read = replace(sounds, notes=tuple(replace(note, written=parse_pitch(written))
                                       for note, written in zip(sounds.notes, ("D5", "E5"), strict=True)))
    new = [one for one in found(read, "tenor", Player(high=60)) if one.code == "above-written-range"]
    assert [(one.index, one.what) for one in new] == [
        (1, "E5 is written above D5, the highest note this player reads")]
    assert "above-written-range" in line_review.CODES
    assert new[0].remedies, "the octave down is offered as to every rule"
