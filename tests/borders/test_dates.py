"""Any day that is asked for is a day, or one line: calendars end with the year 9999, and some days are none."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from analyzer.cli import cli
from analyzer.problem import Unreadable
from tests.borders.damage import WORDS
from tests.borders.inputs import put

pytest.importorskip("icalendar", reason="the extra practice is not installed")


@pytest.mark.parametrize(("command", "day"), [
    *(("drill", day) for day in (*WORDS["date"], "2024-02-29", "2999-12-31")),
    *(("course", day) for day in ("9999-12-31", "0001-01-01", "2026-02-30", "2999-12-31"))])
def test_any_day(tmp_path: Path, command: str, day: str) -> None:
    places = put(tmp_path / "run", {"solo", "folder", "player"}, {})
    calendar = tmp_path / "weeks.ics"
    asked = {"drill": ["drill", places["solo"], "--weeks", "3", "--calendar", calendar],
             "course": ["course", places["folder"], "--player", places["player"], "--from", "tenor", "--to", "tenor-f",
                        "-o", tmp_path / "out", "--jobs", "1"]}[command]
    result = CliRunner().invoke(cli, [*map(str, asked), "--start", day])
    if result.exit_code == 2:
        assert "--start" in result.output
        return
    if isinstance(result.exception, Unreadable):
        assert len(str(result.exception).splitlines()) == 1
        assert not calendar.exists()
        return
    assert result.exit_code in (0, 3), result.exception
    made = calendar if command == "drill" else next((tmp_path / "out").glob("*.ics"))
    assert made.read_text(encoding="utf-8").startswith("BEGIN:VCALENDAR")
