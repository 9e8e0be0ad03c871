"""``lowbrass learn`` as a user runs it, on our own output edited by hand."""

from pathlib import Path

from tests.commands.test_map import B2, run, score


def test_marks_of_a_file_become_preferences_that_map_follows(tmp_path: Path) -> None:
    marked = B2.replace("</note>", "<notations><technical><fingering>7</fingering></technical></notations></note>")
    path, out, plain = (tmp_path / name for name in ("marked.musicxml", "mine.toml", "plain.musicxml"))
    path.write_text(score(marked * 6), encoding="utf-8")
    plain.write_text(score(B2 * 6), encoding="utf-8")
    done = run("learn", path, "-o", out)
    assert done.returncode == 0, done.stderr
    assert "6 marks in 1 lines" in done.stdout
    assert "after 100%" in done.stdout
    before = run("map", plain, "--format", "csv").stdout
    after = run("map", plain, "--prefer", out, "--format", "csv").stdout
    assert ",T2,T2," in before
    assert ",7,T2," in after


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
    assert "unknown weight 'magic'" in done.stderr


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
