"""Numbers of the command line, finite and within bounds."""

from math import isfinite
from typing import Any

import click


class Number(click.FloatRange):
    """A finite number within bounds; `click.FloatRange` lets through what is not a number (``nan``)."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the number.

        Raises
        ------
        click.BadParameter
            If it is none, or outside the bounds.
        """
        try:
            finite = isfinite(float(value))
        except (TypeError, ValueError, OverflowError):
            finite = True                                    # the type above says what is wrong with it
        if not finite:
            self.fail(f"{value} is not in the range {self._describe_range()}.", param, ctx)
        return super().convert(value, param, ctx)
