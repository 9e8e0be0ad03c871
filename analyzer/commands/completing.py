"""What a shell completes: horn names and the parts of the score at hand.

Switched on once, for bash: ``eval "$(_LOWBRASS_COMPLETE=bash_source lowbrass)"`` (zsh_source and fish_source alike).
"""

from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.shell_completion import CompletionItem

if TYPE_CHECKING:
    _Word = click.ParamType[str]
else:                                  # older versions of click have no kind of value to name here
    _Word = click.ParamType


class HornName(_Word):
    """A horn by name or TOML file; with `several`, names with commas between."""

    name = "horn"

    def __init__(self, *, several: bool = False) -> None:
        """Take whether several names stand in one word."""
        self.several = several

    def shell_complete(self, ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
        """Return the horns that begin so; where none does, the shell looks for files."""
        from analyzer.horns.profiles import horn_names

        before, comma, begun = incomplete.rpartition(",") if self.several else ("", "", incomplete)
        names = [name for name in horn_names() if name.startswith(begun)]
        return [CompletionItem(f"{before}{comma}{name}") for name in names] or [CompletionItem(incomplete, type="file")]


class PartName(_Word):
    """A part of the score that stands before the option, by id or name."""

    name = "part"

    def shell_complete(self, ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
        """Return names and ids of the score's parts that begin so; nothing where no score can be read."""
        from analyzer.problem import Unreadable
        from analyzer.score.document import open_document
        from analyzer.score.parts import find_parts

        # With its option still open, click leaves what stands before it unsorted.
        words = [ctx.params.get("score"), *(ctx.params.get("scores") or ()), *ctx.args]
        score = next((Path(word) for word in words if word and Path(word).is_file()), None)
        if score is None:
            return []
        try:
            parts, _ = find_parts(open_document(score))
        except Unreadable:
            return []
        begun = incomplete.casefold()
        return [CompletionItem(word, help=part.full_name or part.name) for part in parts
                for word in dict.fromkeys((part.full_name or part.name, part.id))
                if word and word.casefold().startswith(begun)]
