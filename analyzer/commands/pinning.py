"""Choices kept by hand, as commands are given them: one by one, or in a file."""

from dataclasses import replace
from pathlib import Path

import click

from analyzer.analysis import Request, analyse
from analyzer.marking.pins import fitting, pins_of_analysis, read_pin, read_pins_file
from analyzer.problem import Problem
from analyzer.score.document import Document
from analyzer.toml_file import read_table


def read_pins(texts: tuple[str, ...]) -> dict[tuple[int | None, str, int], str]:
    """Read pins ``MEASURE:NTH=LABEL`` or ``MEASURE:LINE.NTH=LABEL``.

    Raises
    ------
    click.BadParameter
        If one has another form.
    """
    pins: dict[tuple[int | None, str, int], str] = {}
    for text in texts:
        pin = read_pin(text)
        if pin is None:
            raise click.BadParameter(f"'{text}' is no pin; write MEASURE:NTH=LABEL, for instance 12:3=T1.",
                                     param_hint="--pin")
        pins[pin.line, pin.measure, pin.nth] = pin.label
    return pins


def with_pins_file(document: Document, request: Request, path: Path) -> tuple[Request, list[Problem]]:
    """Return the request with the pins of a file below its own, and a warning for each that no longer fits.

    Raises
    ------
    Unreadable
        If the file cannot be read, or names a part or line that is not there.
    """
    kept = read_pins_file(read_table(path))
    # Its lines count within their part: the score has to be read once to know them among all.
    free = analyse(document, replace(request, pins={}))
    in_file = pins_of_analysis(free, kept, path.name, cut=request.measures is not None)
    fit, unfit = fitting(free, in_file, path.name)
    return replace(request, pins={**fit, **request.pins}), unfit
