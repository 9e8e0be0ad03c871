"""``lowbrass compare``: the same parts on several horns side by side."""

from pathlib import Path

import click

from analyzer.analysis import Request
from analyzer.commands.options import (
    format_option,
    measure_range,
    measures_option,
    part_option,
    player_option,
    print_json,
    say,
    score_argument,
    tempo_option,
)
from analyzer.horns.profiles import load_horn
from analyzer.plan.player import Player, read_player
from analyzer.report.reviewing import compare_document, compare_text
from analyzer.review.compare import compare
from analyzer.score.document import open_document


@click.command("compare")
@score_argument
@click.option("--horns", required=True, metavar="NAME,NAME[,…]",
              help="Two horns or more, by name (lowbrass horns) or TOML file, with commas between.")
@part_option
@measures_option
@player_option
@tempo_option
@format_option("text", "json")
def command(score: Path, horns: str, parts: tuple[str, ...], measures: str | None, player: Path | None,
            tempo: float | None, form: str) -> None:
    """Compare horns on the parts of SCORE: travel, speed, far positions, intonation, valves, and how they are held."""
    names = list(dict.fromkeys(name.strip() for name in horns.split(",") if name.strip()))
    if len(names) < 2:
        raise click.BadParameter(f"'{horns}' names {len(names)} horn; name two or more with commas between, such as "
                                 "tenor,tenor-f.", param_hint="--horns")
    span = measure_range(measures)
    document = open_document(score)
    comparison = compare(document, [load_horn(name) for name in names], Request(
        parts=parts, measures=span, player=read_player(player) if player else Player(), tempo_bpm=tempo))
    say(comparison.problems)
    if form == "json":
        print_json(compare_document(comparison))
    else:
        click.echo(compare_text(comparison))
