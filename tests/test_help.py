"""Every command has help, is named in the README, and shows no traceback."""

import subprocess
import sys
from pathlib import Path

import pytest

from analyzer.cli import COMMANDS, cli

README = (Path(__file__).resolve().parents[1] / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", COMMANDS)
def test_command_has_help_and_stands_in_the_readme(name: str) -> None:
    done = subprocess.run([sys.executable, "-m", "analyzer", name, "--help"], capture_output=True, text=True,
                          encoding="utf-8", timeout=60, check=False)
    assert done.returncode == 0
    assert "Usage: lowbrass" in done.stdout
    assert f"lowbrass {name}" in README


def test_every_option_has_help() -> None:
    import click

    ctx = click.Context(cli)
    bare = []
    for name in COMMANDS:
        command = cli.get_command(ctx, name)
        assert command is not None
        group = command.commands.values() if isinstance(command, click.Group) else [command]
        for one in group:
            assert one.help, f"{name} {one.name} has no help"
            bare += [f"{name} {option.name}" for option in one.params
                     if isinstance(option, click.Option) and not option.help]
    assert bare == []
