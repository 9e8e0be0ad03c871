"""The section file: what is read, and every mistake told with its line and its mend."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from analyzer.cli import cli
from analyzer.pitch import parse_pitch
from analyzer.problem import Unreadable
from analyzer.section.section import TEMPLATE, check_section, read_section
from tests.review.scores import SAMPLES

GOOD = '[[player]]\nname = "A"\nhorns = ["tenor"]\n'


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "band.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_sample_section_is_read_as_its_file_says() -> None:
    section = read_section(SAMPLES / "section.toml")
    assert [one.name for one in section.members] == [f"Player {k}" for k in range(1, 7)]
    assert [[horn.name for horn in one.horns] for one in section.members] == [
        ["tenor-f"], ["tenor"], ["tenor", "tenor-f"], ["euphonium-3", "euphonium-4"], ["euphonium-4-compensating"],
        ["bass-independent"]]
    assert section.members[1].player.outermost_position == 6
    assert section.members[2].player.reach_estimated
    assert section.members[2].player.high == parse_pitch("D4").midi
    assert section.members[5].player.learned == ("T", "TS")
    # Only bass trombones to play on: kept on bass trombone parts without a word in the file.
    assert [one.dedicated for one in section.members] == [None] * 5 + ["bass trombone"]


def test_keys_of_its_own(tmp_path: Path) -> None:
    path = written(tmp_path, f'spare = ["alto"]\n{GOOD}keeps = "trombone"\nlevel = "beginner"\nlow = "F2"\n'
                             'extreme_low = "E2"\nendurance_minutes = 2.5\nclefs = ["bass", "tenor"]\n')
    section = read_section(path)
    one = section.members[0]
    assert [horn.name for horn in section.spare] == ["alto"]
    assert (one.keeps, one.level, one.extreme_low, one.extreme_high) == ("trombone", "beginner", 40, None)
    assert (one.endurance_s, one.clefs) == (150.0, ("bass", "tenor"))


@pytest.mark.parametrize(("text", "line", "said", "mend"), [
    ("", None, "the section is empty", "lowbrass section new"),
    ("# nothing\n", None, "the section is empty", "[[player]]"),
    ("player = 3\n", 1, "no list of tables", "[[player]]"),
    ('[player]\nname = "A"\n', 1, "no list of tables", "two brackets"),
    (f'{GOOD}reach_mm = 20000\n', 4, "reach_mm is 20000", "from 50 to 800 mm"),
    (f'{GOOD}reach_mm = "far"\n', 4, "reach_mm is 'far'", "Give a number"),
    (f'{GOOD}height_cm = 20\n', 4, "height_cm is 20", "from 80 to 230 cm"),
    (f'{GOOD}low = 5\n', 4, "low is 5", 'such as "F3"'),
    (f'{GOOD}low = "G4"\nhigh = "G3"\n', 4, "low is not below high", "Exchange"),
    (f'{GOOD}low = "E2"\nextreme_low = "F2"\n', 5, "extreme_low lies inside low", "Exchange"),
    (f'{GOOD}extreme_high = "H4"\n', 4, "extreme_high is 'H4'", 'such as "F3"'),
    (f'{GOOD}level = "pro"\n', 4, "level is 'pro'", '"beginner", "intermediate", "advanced"'),
    (f'{GOOD}keeps = "tuba"\n', 4, "keeps is 'tuba'", '"bass trombone"'),
    (f'{GOOD}clefs = ["viola"]\n', 4, "clefs is", '["bass", "tenor"]'),
    (f'{GOOD}endurance_minutes = true\n', 4, "endurance_minutes is true", "0.5 to 240"),
    (f'{GOOD}learned = "T"\n', 4, "learned is 'T'", "Give a list"),
    (f'{GOOD}shoe_size = 9\n', 4, "unknown key 'shoe_size'", "Known here: absent, attachment_ceiling,"),
    (f'{GOOD}\n{GOOD.replace(chr(34) + "A", chr(34) + "a ")}', 6, "two players are called 'a' (the other on line 2)",
     "a number behind it"),
    ('[[player]]\nname = "A"\n', 1, "this player has no horns", 'horns = ["tenor-f"]'),
    ('[[player]]\nhorns = []\n', 2, "horns is []", "Give a list"),
    ('[[player]]\nhorns = "tenor"\n', 2, "horns is 'tenor'", "Give a list"),
    ('[[player]]\nhorns = ["tenor", "kazoo"]\n', 2, "there is no horn 'kazoo'", "tenor-f"),
    ('spare = ["kazoo"]\n[[player]]\nhorns = ["tenor"]\n', 1, "there is no horn 'kazoo'", "tenor-f"),
    (f'horns = ["tenor"]\n{GOOD}', 1, "unknown key 'horns' outside any player", "below a line [[player]]"),
    (f'[band]\nname = "B"\n{GOOD}', 1, "unknown key 'band' outside any player", "[[player]]"),
    ('[[player]\nname = "A"\n', 1, "this is not TOML", "double quotes"),
    (f'{GOOD}\n[[player]]\nname = "B"\nhorns = ["tenor"]\nlow = 3\n', 8, "low is 3", "sounding pitch"),
])
def test_each_mistake_is_one_line_with_its_place_and_mend(
        tmp_path: Path, text: str, line: int | None, said: str, mend: str) -> None:
    path = written(tmp_path, text)
    section, problems = check_section(path)
    assert section is None
    assert len(problems) == 1
    assert problems[0].where == ("band.toml" if line is None else f"band.toml, line {line}")
    assert said in problems[0].what
    assert mend in problems[0].try_
    result = CliRunner().invoke(cli, ["section", "check", str(path)])
    assert result.exit_code == 1
    assert result.stdout == ""
    assert result.stderr.splitlines() == [problems[0].line()]


def test_check_tells_all_mistakes_in_order_and_reading_tells_how_many(tmp_path: Path) -> None:
    path = written(tmp_path, '[[player]]\nname = "A"\nhorns = ["kazoo"]\nreach_mm = 20000\nlow = 5\n\n'
                             '[[player]]\nname = "a"\nhorns = ["tenor"]\n')
    _, problems = check_section(path)
    lines = [int(re.findall(r"line (\d+)", one.where)[0]) for one in problems]
    assert lines == [3, 4, 5, 8]
    with pytest.raises(Unreadable, match=r"line 3: .*kazoo.*3 more mistakes"):
        read_section(path)


@pytest.mark.parametrize(("data", "where", "said"), [
    (b'[[player]]\nname = "Ren\xe9"\nhorns = ["tenor"]\n', ", line 2", "not UTF-8 text (byte 0xe9)"),
    ("[[player]]\n".encode("utf-16"), ", line 1", "not UTF-8 text"),
    (b'[[player]]\nname = "A\nhorns = ["tenor"]\n', ", line 2", "this is not TOML"),
    (b'[[player]]\nhorns = tenor\n', ", line 2", "this is not TOML"),
    (b'[[player]]\nname = "A"\nname = "B"\n', ", line 3", "this is not TOML"),
])
def test_what_is_no_text_or_no_toml_is_one_line_with_its_place(
        tmp_path: Path, data: bytes, where: str, said: str) -> None:
    path = tmp_path / "band.toml"
    path.write_bytes(data)
    for words in (["section", "check", str(path)],
                  ["fit", str(SAMPLES / "attachment-etude.musicxml"), "--section", str(path)]):
        done = subprocess.run([sys.executable, "-m", "analyzer", *words], capture_output=True, text=True,
                              encoding="utf-8", timeout=60, check=False)
        assert (done.returncode, done.stdout) == (1, "")
        assert len(done.stderr.splitlines()) == 1
        assert f"band.toml{where}: " in done.stderr
        assert said in done.stderr


def test_a_mark_that_some_editors_put_first_is_no_mistake(tmp_path: Path) -> None:
    path = tmp_path / "band.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.encode())
    assert [one.name for one in read_section(path).members] == ["A"]


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    result = CliRunner().invoke(cli, ["section", "check", str(tmp_path / "none.toml")])
    assert result.exit_code == 1
    assert "no such file" in result.stderr


def test_players_without_names_stay_apart(tmp_path: Path) -> None:
    path = written(tmp_path, '[[player]]\nhorns = ["tenor"]\n[[player]]\nhorns = ["tenor"]\n')
    names = [one.name for one in read_section(path).members]
    assert len(set(names)) == 2


def test_a_horn_file_is_found_beside_the_section(tmp_path: Path) -> None:
    import analyzer.horns.profiles as profiles

    data = Path(profiles.__file__).parent / "data" / "tenor.toml"
    (tmp_path / "mine.toml").write_text(data.read_text(encoding="utf-8").replace('"tenor"', '"mine"'), encoding="utf-8")
    path = written(tmp_path, '[[player]]\nhorns = ["mine.toml"]\n')
    assert read_section(path).members[0].horns[0].name == "mine"


def test_new_writes_a_section_without_mistakes_and_never_overwrites(tmp_path: Path) -> None:
    path = tmp_path / "new.toml"
    first = CliRunner().invoke(cli, ["section", "new", str(path)])
    assert first.exit_code == 0
    assert first.stdout == ""
    assert CliRunner().invoke(cli, ["section", "check", str(path)]).exit_code == 0
    path.write_text("# mine\n", encoding="utf-8")
    with pytest.raises(Unreadable, match="stays as it is"):
        CliRunner().invoke(cli, ["section", "new", str(path)], catch_exceptions=False)
    assert path.read_text(encoding="utf-8") == "# mine\n"


def test_every_commented_key_of_the_template_works_when_it_is_taken_in(tmp_path: Path) -> None:
    text = re.sub(r"^# (?=\w+ = )", "", TEMPLATE, flags=re.MULTILINE)
    assert text.count("=") == TEMPLATE.count("=")
    section, problems = check_section(written(tmp_path, text))
    assert problems == ()
    assert section is not None
    assert section.members[0].level == "advanced"
    assert section.members[2].keeps == "bass trombone"
    assert section.members[2].player.ceiling_midi is None
    assert section.spare[0].name == "tenor-f"


def test_the_sample_is_checked_from_the_command_line(tmp_path: Path) -> None:
    shutil.copy(SAMPLES / "section.toml", tmp_path)
    result = CliRunner().invoke(cli, ["section", "check", str(tmp_path / "section.toml")])
    assert result.exit_code == 0
    assert "Player 6: bass-independent, stays on bass trombone parts" in result.stdout
