"""Facts of the trade that a plan must give back, and limits that it must keep."""

from dataclasses import replace
from fractions import Fraction

import pytest

from analyzer.horns.profiles import load_horn
from analyzer.plan.player import Player, reach_from_height_mm, read_player
from analyzer.plan.solve import Planner, allowed_choices
from analyzer.plan.timing import note_times
from analyzer.plan.weights import default_weights
from analyzer.problem import Unreadable
from tests.lines import line_of


def labels(names: str, horn: str, seconds: float = 0.5, **more) -> str:
    plan = Planner(line_of(names, seconds, **more), load_horn(horn)).plan()
    return " ".join(note.choice.label if note.choice else "x" for note in plan.notes)


@pytest.mark.parametrize(("names", "horn", "seconds", "expected", "source"), [
    ("Bb2 C3 D3 Eb3 F3 G3 A3 Bb3", "tenor", 0.5, "1 6 4 3 1 4 2 1",
     "Wikibooks, Trombone/Slide Positions, main positions"),
    ("E2 Eb2 D2 C#2 C2", "tenor-f", 0.5, "T2 T3 T4 T5 T6", "common practice, no source"),
    ("C2 B1 C2", "tenor-f", 0.5, "T6 x T6", "Wikipedia (copy), Trombone: B1 only when the attachment is pulled to E"),
    ("B1", "bass-independent", 1.0, "TS4", "common practice, no source; F + Gb = D published (Bass trombone, copy)"),
    ("D3 E3 F3", "tenor", 0.17, "4 2 1", "W. Sprott, Lower The Slide"),
    ("Gb3 Ab3 Bb3 Ab3", "tenor", 0.12, "5 3 1 3", "S. C. Stork, forum post 18"),
    ("Bb2~ F3", "tenor", 1.0, "1 1", "music-lessons.ca, lip slur drill"),
    ("C3", "euphonium-4", 1.0, "4", "G. Whitham, Some Thoughts On Playing the Euphonium"),
    ("E2 F2 B2 C3", "euphonium-4", 1.0, "2-4 4 2-4 4", "Cal Poly Pomona MU 330: 4 for 1-3, 2-4 for 1-2-3"),
    ("Bb2 B2 Bb2 B2", "tenor-f", 0.15, "1 T2 1 T2", "common practice, no source: the attachment for B2"),
])
def test_passages(names: str, horn: str, seconds: float, expected: str, source: str) -> None:
    assert source
    assert labels(names, horn, seconds) == expected


def test_alternates_come_gradually_with_tempo() -> None:
    """D4 between C4s: in 1 when slow, in 4 when quick (published alternate: Wikibooks, Trombone/Slide Positions)."""
    by_time = [labels("C4 D4 C4 D4 C4", "tenor", seconds).split()[1] for seconds in (1.0, 0.7, 0.3, 0.15)]
    assert by_time[0] == "1"
    assert by_time[-1] == "4"
    assert by_time == sorted(by_time)


@pytest.mark.parametrize("horn", ["tenor-f", "bass-independent", "bass-single", "bass-dependent"])
def test_attachment_stays_below_its_ceiling(horn: str) -> None:
    model = load_horn(horn)
    names = "B2 C3 C#3 D3 Eb3 F3 Bb3 C3 Db3"
    for seconds in (0.1, 1.0):
        plan = Planner(line_of(names, seconds), model).plan()
        assert all(not note.choice.valves for note in plan.notes if note.note.midi > 48)
    lifted = allowed_choices(model, Player(ceiling_midi=None), 49)
    assert any(one.valves for one in lifted)


def test_reach_is_never_passed_and_says_so() -> None:
    tenor = load_horn("tenor")
    short = Player(outermost_position=5)
    plan = Planner(line_of("C3 F3 Bb2"), tenor, short).plan()
    assert plan.notes[0].choice is None
    assert plan.notes[0].problem.code == "long-reach"
    assert all(note.choice.extension_mm <= short.reach_on(tenor) for note in plan.notes[1:])


def test_unlearned_states_are_left_out() -> None:
    plan = Planner(line_of("C3 E2 Eb2"), load_horn("tenor-f"), Player(learned=())).plan()
    assert [note.choice.label if note.choice else None for note in plan.notes] == ["6", "7", None]
    assert plan.notes[2].problem.code == "out-of-range"


def test_glissando_keeps_partial_or_is_flagged() -> None:
    good = Planner(line_of("F3/ Db3"), load_horn("tenor")).plan()
    assert good.notes[0].choice.partial == good.notes[1].choice.partial
    assert good.notes[0].problem is None
    bad = Planner(line_of("Bb2/ Bb3"), load_horn("tenor")).plan()
    assert bad.notes[0].problem.code == "gliss"


def test_tempo_ceiling_is_where_the_limit_lies() -> None:
    """Below the ceiling the plan stays within the player's speed, above it no plan can.

    The tongue is told fast here, so that the slide's told speed is what stops the line.
    """
    player = Player(max_speed_mm_s=2500, tongue_notes_s=25)
    for names in ("Bb2 C3 D3 Eb3 F3 G3 A3 Bb3", "Bb2 B2 Bb2 E3", "F3 C4 D4 A3"):
        line, horn = line_of(names, 0.5, bpm=100), load_horn("tenor")
        ceiling = Planner(line, horn, player, tempo_bpm=100).plan().totals.tempo_ceiling_bpm
        slower = Planner(line, horn, player, tempo_bpm=ceiling * 0.97).plan()
        faster = Planner(line, horn, player, tempo_bpm=ceiling * 1.03).plan()
        assert slower.totals.ceiling_by == "slide"
        assert slower.totals.peak_speed_mm_s <= 2500 * 1.001
        assert faster.totals.peak_speed_mm_s > 2500


def test_peak_speed_is_that_of_the_minimum_jerk_move() -> None:
    """Shadmehr and Wise, *Minimum jerk*: 10 cm in 0.5 s peaks at 37.5 cm/s (derived from the fifth-power path)."""
    planner = Planner(line_of("F3 Eb3", 1.0), load_horn("tenor"))
    plan = planner.plan()
    way = abs(plan.notes[1].choice.extension_mm - plan.notes[0].choice.extension_mm)
    assert plan.totals.peak_speed_mm_s == pytest.approx(way / 100 * 375 * 0.5 / planner.moves[0].move_s)


def test_a_pin_that_cannot_sound_is_refused_with_its_choices() -> None:
    with pytest.raises(Unreadable, match=r"'1' does not sound C3 on tenor.*Its choices there: 6"):
        Planner(line_of("C3"), load_horn("tenor")).plan({0: "1"})


def test_times_of_a_plain_line() -> None:
    times = note_times(line_of("F3 F3 F3", 1, bpm=120), default_weights())
    assert [time.start_s for time in times] == [0.0, 0.5, 1.0]
    assert all(0 < time.move_s <= time.next_s for time in times)


def test_reach_from_height_follows_the_published_ratio() -> None:
    """Han, Kim, Jung and Park 2004: upper arm 0.19 and forearm to thumb tip 0.23 of height, ages 5 to 20."""
    straight_arm_mm = (0.19 + 0.23) * 1500
    assert 0.5 * straight_arm_mm < reach_from_height_mm(150) < straight_arm_mm


@pytest.mark.parametrize(("text", "said"), [
    ('[player]\nname = "A"\nreech_mm = 500\n', r"p.toml, line 3: unknown key 'reech_mm'"),
    ("[player]\nreach_mm = 20000\n", r"p.toml, line 2: reach_mm is 20000"),
    ('[player]\nlow = "H3"\n', r"p.toml, line 2: low is 'H3'"),
    ("[player]\nlearned = 5\n", r"p.toml, line 2: learned is 5"),
    ("[player\n", r"p.toml, line 1: this is not TOML: "),
    ("[players]\n", r"p.toml, line 1: unknown key 'players'"),
    ('[player]\nlevel = "pro"\n', r"p.toml, line 2: level is 'pro'"),
    ("[player]\ntongue_notes_s = 500\n", r"p.toml, line 2: tongue_notes_s is 500"),
    ("[player]\nslide_acceleration_m_s2 = 0\n", r"p.toml, line 2: slide_acceleration_m_s2 is 0"),
])
def test_player_file_mistakes_name_their_line(tmp_path, text: str, said: str) -> None:
    path = tmp_path / "p.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(Unreadable, match=said):
        read_player(path)


def test_player_file_is_read_whole(tmp_path) -> None:
    path = tmp_path / "p.toml"
    path.write_text('[player]\nname = "A"\noutermost_position = 6\nattachment_ceiling = "none"\n'
                    'max_slide_speed_mm_s = 1500\nlow = "E2"\nhigh = "F4"\nlearned = ["T"]\nlevel = "advanced"\n'
                    'tongue_notes_s = 7\nslur_notes_s = 5\nvalve_notes_s = 8\nslide_acceleration_m_s2 = 25\n',
                    encoding="utf-8")
    player = read_player(path)
    assert (player.ceiling_midi, player.low, player.high, player.learned) == (None, 40, 65, ("T",))
    limits = player.limits
    assert player.level == "advanced"
    assert (limits.slide_acceleration_m_s2, limits.max_slide_speed_mm_s, limits.tongue_notes_s, limits.slur_notes_s,
            limits.valve_notes_s, len(limits.told)) == (25, 1500, 7, 5, 8, 5)
    assert player.knows(("T",))
    assert not player.knows(("T", "S"))


def test_learned_trombone_states_say_nothing_of_a_euphonium() -> None:
    player = Player(learned=("T",))
    assert player.knows(("1", "3"))
    assert not player.knows(("T", "S"))
    assert not Player(learned=("1", "2")).knows(("1", "3"))
    assert not Player(learned=()).knows(("1",))


def test_a_broken_glissando_leaves_the_tempo_ceiling_alone() -> None:
    totals = Planner(line_of("Bb2/ Bb3 C3 F3 C3"), load_horn("tenor")).plan().totals
    assert totals.tempo_ceiling_bpm is not None


@pytest.mark.parametrize("horn", ["tenor-f", "bass-independent", "euphonium-4"])
def test_an_outline_is_the_plan_without_its_reasons(horn: str) -> None:
    line = line_of("Bb2 B1 C3 D2 E3 F3 A3 Bb2 B2 Bb2 D3 Eb3 F3/ A3", 0.3)
    plan, outline = Planner(line, load_horn(horn)).plan(), Planner(line, load_horn(horn)).outline()
    assert [one.choice for one in outline.notes] == [one.choice for one in plan.notes]
    assert (outline.totals, outline.cost, outline.hardest) == (plan.totals, plan.cost, plan.hardest)
    assert all(one.why == () for one in outline.notes if one.choice)


def test_free_time_is_no_tempo_limit() -> None:
    """Grace notes take their time from the note before, and a cadenza written out has none of its own."""
    plain = Planner(line_of("F3 Bb2 F3"), load_horn("tenor")).plan().totals
    line = line_of("F3 Bb2 F3")
    grace = replace(line, notes=(line.notes[0], replace(line.notes[1], grace=True, duration=Fraction(0), midi=40,
                                                        onset=line.notes[2].onset), line.notes[2]))
    assert Planner(grace, load_horn("tenor")).plan().totals.tempo_ceiling_bpm >= plain.tempo_ceiling_bpm
    cadenza = line_of("E2 Bb2 " * 8, Fraction(1, 480))
    free = replace(cadenza, notes=tuple(replace(note, free=True) for note in cadenza.notes))
    totals = Planner(free, load_horn("tenor")).plan().totals
    assert (totals.tempo_ceiling_bpm, totals.ceiling_by) == (None, "none")
    assert Planner(cadenza, load_horn("tenor")).plan().totals.ceiling_by == "slide"


def test_a_told_speed_replaces_the_acceleration_unless_both_are_told() -> None:
    usual, told = Player().limits, Player(max_speed_mm_s=1600).limits
    both = Player(max_speed_mm_s=1600, slide_acceleration_m_s2=30).limits
    assert (usual.slide_acceleration_m_s2, usual.max_slide_speed_mm_s, usual.told) == (36, None, ())
    assert (told.slide_acceleration_m_s2, told.max_slide_speed_mm_s) == (None, 1600)
    assert (both.slide_acceleration_m_s2, both.max_slide_speed_mm_s) == (30, 1600)
    line = line_of("Bb2 E2 " * 4, 0.5)
    found = [Planner(line, load_horn("tenor"), player).ceiling().bpm for player in (
        Player(max_speed_mm_s=2500), Player(slide_acceleration_m_s2=30),
        Player(max_speed_mm_s=2500, slide_acceleration_m_s2=30))]
    assert found[2] == min(found)
    assert found[0] != found[1]
