"""``lowbrass learn`` as a user runs it, on our own output edited by hand."""

import json
from pathlib import Path

from tests.commands.test_map import B2, run, score

C3 = B2.replace("<step>B</step><octave>2</octave>", "<step>C</step><octave>3</octave>")


def test_marks_of_a_file_become_preferences_that_map_follows(tmp_path: Path) -> None:
    marked = C3.replace("</note>", "<notations><technical><fingering>6</fingering></technical></notations></note>")
    path, out, plain = (tmp_path / name for name in ("marked.musicxml", "mine.toml", "plain.musicxml"))
    path.write_text(score(marked * 6), encoding="utf-8")
    plain.write_text(score(C3 * 6), encoding="utf-8")
    done = run("learn", path, "-o", out)
    assert done.returncode == 0, done.stderr
    assert "6 marks in 1 line." in done.stdout
    assert "after 100%" in done.stdout
    before = run("map", plain, "--format", "csv").stdout
    after = run("map", plain, "--prefer", out, "--format", "csv").stdout
    assert ",T1,T1," in before
    assert ",6,T1," in after


def test_a_score_without_marks_and_a_bad_preference_file_are_said(tmp_path: Path) -> None:
    path, out = tmp_path / "plain.musicxml", tmp_path / "mine.toml"
    path.write_text(score(B2), encoding="utf-8")
    done = run("learn", path, "-o", out)
    assert done.returncode == 1
    assert "no fingerings" in done.stderr
    assert not out.exists()
    out.write_text("[weights]\nmagic = 3\n", encoding="utf-8")
    done = run("map", path, "--prefer", out)
    assert done.returncode == 1
    assert "unknown key 'magic'" in done.stderr


def test_two_teachers_of_the_same_music_give_match_rates(tmp_path: Path) -> None:
    """Worked by hand: the plan can agree with one teacher wholly and with the other not at all."""
    for name, label in (("a", "7"), ("b", "T2")):
        mark = f"<notations><technical><fingering>{label}</fingering></technical></notations>"
        marked = B2.replace("</note>", f"{mark}</note>")
        (tmp_path / f"{name}.musicxml").write_text(score(marked * 6), encoding="utf-8")
    done = run("learn", tmp_path / "a.musicxml", tmp_path / "b.musicxml", "-o", tmp_path / "ours.toml")
    assert done.returncode == 0, done.stderr
    assert "general match rate 50%" in done.stdout
    assert "highest 100%" in done.stdout


F2 = "<note><pitch><step>F</step><octave>2</octave></pitch><duration>4</duration><type>whole</type></note>"


def fingered(note: str, label: str) -> str:
    mark = f"<notations><technical><fingering>{label}</fingering></technical></notations>"
    return note.replace("</note>", f"{mark}</note>")


def test_what_a_pin_may_choose_can_be_learned_from(tmp_path: Path) -> None:
    """F2 in T1 stands in the chart of tenor-f, with advice against it; a teacher may want it all the same."""
    path = tmp_path / "marked.musicxml"
    path.write_text(score(fingered(F2, "T1") * 5 + fingered(B2, "7")), encoding="utf-8")
    assert run("map", path, "--pin", "1:1=T1").returncode == 0
    done = run("learn", path, "-o", tmp_path / "mine.toml", "--format", "json")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["unread"] == []
    assert "cannot be used" not in done.stderr


def test_every_mark_that_cannot_be_used_is_said_with_its_reason(tmp_path: Path) -> None:
    path = tmp_path / "marked.musicxml"
    path.write_text(score(fingered(B2, "7") * 12 + fingered(F2, "3") * 6), encoding="utf-8")
    done = run("learn", path, "-o", tmp_path / "mine.toml", "--format", "json")
    unread = json.loads(done.stdout)["unread"]
    assert len(unread) == 6
    assert all(one in done.stderr for one in unread)
    assert unread[0] == "Trombone, measure 1, F2: 3 (does not sound this note on tenor-f; its ways: 6, T1)"
    assert "6 marks cannot be used" in done.stderr


def cello(name: str) -> str:
    """A scale with a cellist's fingers, common practice: first position on each string, 0 the open string."""
    fingers = {"C": "0", "D": "1", "E": "3", "F": "4", "G": "0", "A": "1", "B": "3"}
    note = "<note><pitch><step>{}</step><octave>{}</octave></pitch><duration>1</duration></note>"
    return score("".join(fingered(note.format(step, octave), fingers[step]) for octave in (2, 3) for step in "CDEFGAB"),
                 name)


def test_a_string_players_fingers_are_no_positions(tmp_path: Path) -> None:
    path, out = tmp_path / "cello.musicxml", tmp_path / "mine.toml"
    for name in ("Violoncello", "Trombone"):
        path.write_text(cello(name), encoding="utf-8")
        done = run("learn", path, "--part", "P1", "-o", out)
        assert done.returncode == 1
        assert f"{name}: its 14 marks are left out" in done.stderr
        assert not out.exists()
    path.write_text(cello("Violoncello"), encoding="utf-8")
    assert "most do not sound" in run("learn", path, "--part", "P1", "--horn", "tenor-f", "-o", out).stderr


def test_marks_that_all_cannot_be_used_leave_no_file(tmp_path: Path) -> None:
    path, out = tmp_path / "marked.musicxml", tmp_path / "mine.toml"
    path.write_text(score(fingered(F2, "3")), encoding="utf-8")
    done = run("learn", path, "-o", out)
    assert done.returncode == 1
    assert "does not sound this note on tenor-f; its ways: 6, T1" in done.stderr
    assert not out.exists()


def test_a_pins_file_is_learned_from(tmp_path: Path) -> None:
    path, pins, out = tmp_path / "plain.musicxml", tmp_path / "pins.toml", tmp_path / "mine.toml"
    path.write_text(score(C3 * 6), encoding="utf-8")
    kept = ", ".join(f'"1:{nth}=6"' for nth in range(1, 7))
    pins.write_text(f'[[part]]\nid = "P1"\nname = "Trombone"\npins = [{kept}]\n', encoding="utf-8")
    assert run("map", path, "--pins", pins).returncode == 0
    done = run("learn", path, "--pins", pins, "-o", out)
    assert done.returncode == 0, done.stderr
    assert "6 marks in 1 line. " in done.stdout
    assert ",6,T1," in run("map", path, "--prefer", out, "--format", "csv").stdout
    pins.write_text('[[part]]\nid = "P9"\nname = "Tuba"\npins = ["1:1=7"]\n', encoding="utf-8")
    assert "none of its pins belongs" in run("learn", path, "--pins", pins, "-o", out).stderr
    assert run("learn", path, path, "--pins", pins, "-o", out).returncode == 2
