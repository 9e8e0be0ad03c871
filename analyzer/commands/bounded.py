"""Numbers and days of the command line, finite and within bounds."""

import datetime as dt
from math import isfinite
from typing import Any

import click

_YEARS = (1970, 2999)
"""Judged: what lies outside is a slip; and a calendar of weeks must end before the year 10000, where dates end."""


class Day(click.DateTime):
    """A day, written YYYY-MM-DD."""

    def __init__(self) -> None:
        super().__init__(["%Y-%m-%d"])

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> dt.datetime:
        """Return the day.

        Raises
        ------
        click.BadParameter
            If it is none, or in a year of no calendar that is kept.
        """
        found: dt.datetime = super().convert(value, param, ctx)
        if not _YEARS[0] <= found.year <= _YEARS[1]:
            self.fail(f"{value} is not in the years {_YEARS[0]} to {_YEARS[1]}.", param, ctx)
        return found


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
