"""Which paper the printers of a country hold: Letter in some of the Americas and the Philippines, elsewhere A4."""

import os
import re
from collections.abc import Mapping
from typing import Literal

Paper = Literal["a4", "letter"]
LETTER_COUNTRIES = frozenset(["BO", "CA", "CL", "CO", "CR", "GT", "MX", "NI", "PA", "PH", "PR", "SV", "US", "VE"])
"""Cited: the locales of the GNU C library 2.36 whose LC_PAPER is 279 by 216 mm."""
PAPER_NAMES: Mapping[Paper, str] = {"a4": "A4", "letter": "Letter"}
_COUNTRY = re.compile(r"[-_]([A-Za-z]{2})(?![A-Za-z0-9])")


def paper_of(language: str) -> Paper | None:
    """Return the paper of a language with a country, None where it names none.

    Examples
    --------
    >>> paper_of("en_US.UTF-8"), paper_of("es-MX"), paper_of("fr_CA"), paper_of("de-DE"), paper_of("en"), paper_of("C")
    ('letter', 'letter', 'letter', 'a4', None, None)
    """
    country = _COUNTRY.search(language)
    return None if country is None else "letter" if country[1].upper() in LETTER_COUNTRIES else "a4"


def paper_here(environ: Mapping[str, str] = os.environ) -> Paper:
    """Return the paper of this computer's own language settings, A4 where they name no country.

    The first of LC_ALL, LC_PAPER and LANG that is set holds (POSIX, environment variables).
    """
    said = next((environ[name] for name in ("LC_ALL", "LC_PAPER", "LANG") if environ.get(name)), "")
    return paper_of(said) or "a4"


def paper_accepted(languages: str) -> Paper:
    """Return the paper of the languages that a browser asks for (an Accept-Language header, best first).

    Examples
    --------
    >>> paper_accepted("en-US,en;q=0.9"), paper_accepted("en,fr-CA;q=0.8"), paper_accepted("de"), paper_accepted("")
    ('letter', 'letter', 'a4', 'a4')
    """
    return next((found for one in languages.split(",") if (found := paper_of(one.split(";")[0]))), "a4")
