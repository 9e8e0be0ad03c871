"""Where pages end: turns where the player rests, nothing alone at the end, as few pages as the music needs.

A sheet is turned from an odd page to the even one on its back. Two measures of rest around the turn are enough for it
(LilyPond's `Page_turn_engraver` asks for a least length of rest, too; two measures: judged); where the last three
systems of a page offer none, "V.S." (volti subito) warns the player. A part of three pages opens as a fold-out and
needs no turn (common practice, no source).
"""

import re
from collections.abc import Sequence
from itertools import pairwise

from analyzer.engrave.geometry import System

LEAST_REST = 2
"""Measures of rest that are enough to turn a page; judged."""
SQUEEZES = (0.95, 0.91)
"""How much smaller a part may be set to save its last page: at the end a staff of 6.55 mm, figures of 2.37 mm."""
_LITTLE = 0.4
"""A last page with this share of systems is worth a smaller part; judged."""
_TRIED = 3                           # systems at the end of a page that may move to the next for the sake of a turn
_ENOUGH = 3                          # measures of a system that can give one away
_MEASURE = re.compile(r'<measure\b[^>]*\bid="m(\d+)"[^>]*>')
Breaks = tuple[tuple[int, bool], ...]
"""Measure indices that begin a system, and whether they begin a page, too."""


def rest_between(before: System, after: System) -> int:
    """Return how many measures of rest lie around the end of a system."""
    def leading(rests: Sequence[int]) -> int:
        total = 0
        for count in rests:
            if not count:
                break
            total += count
        return total

    return leading(before.rests[::-1]) + leading(after.rests)


def hurried(pages: Sequence[Sequence[System]]) -> set[int]:
    """Return the pages, counted from 1, that have to be turned without a rest."""
    if len(pages) == 3:
        return set()
    return {number for number, (page, after) in enumerate(pairwise(pages), 1)
            if number % 2 and rest_between(page[-1], after[0]) < LEAST_REST}


def little_left(pages: Sequence[Sequence[System]]) -> bool:
    """Tell whether the last of several pages holds little."""
    return len(pages) > 1 and (len(pages[-1]) == 1 or len(pages[-1]) <= _LITTLE * max(len(page) for page in pages))


def better_pages(pages: Sequence[Sequence[System]], heights: Sequence[float], room: Sequence[float],
                 ) -> list[list[int]] | None:
    """Return pages that turn better or end better, as numbers of systems; None where nothing better is found.

    Parameters
    ----------
    pages : sequence of sequence of System
        As the engraver filled them.
    heights : sequence of float
        What each system takes of a page, in the order of the music.
    room : sequence of float
        What each page has; the last holds for all that follow.
    """
    systems = [system for page in pages for system in page]
    found: list[list[int]] = []
    start = 0
    while start < len(systems):
        here, end = room[min(len(found), len(room) - 1)], start + 1
        while end < len(systems) and sum(heights[start:end + 1]) <= here:
            end += 1
        if end < len(systems) and len(found) % 2 == 0:
            end = next((place for place in range(end, max(end - _TRIED, start + 1), -1)
                        if rest_between(systems[place - 1], systems[place]) >= LEAST_REST), end)
        found.append(list(range(start, end)))
        start = end
    if len(found) > len(pages):
        # The turn would cost a page: as the engraver has it, but for a lone last system.
        found, at = [], 0
        for page in pages:
            found.append(list(range(at, at + len(page))))
            at += len(page)
    if len(found) > 1 and len(found[-1]) == 1 and len(found[-2]) > 2:
        found[-1].insert(0, found[-2].pop())
    same = [len(page) for page in found] == [len(page) for page in pages]
    return None if same else found


def breaks_of(pages: Sequence[Sequence[System]], wanted: Sequence[Sequence[int]]) -> Breaks | None:
    """Return the breaks that make those pages, None if a system has no measure to begin with."""
    systems = [system for page in pages for system in page]
    found = []
    for page in wanted:
        for place, number in enumerate(page):
            if not systems[number].indices:
                return None
            if number:
                found.append((systems[number].indices[0], place == 0))
    return tuple(found)


def with_company(pages: Sequence[Sequence[System]]) -> Breaks | None:
    """Return breaks that give a last measure alone in its system the one before it; None where that is not so."""
    systems = [system for page in pages for system in page]
    if len(systems) < 2 or systems[-1].measures != 1 or systems[-2].measures < _ENOUGH:
        return None
    numbers = iter(range(len(systems)))
    breaks = breaks_of(pages, [[next(numbers) for _ in page] for page in pages])
    return None if breaks is None else (*breaks[:-1], (systems[-2].indices[-1], breaks[-1][1]))


def with_breaks(musicxml: str, breaks: Breaks) -> str:
    """Return music with line and page breaks written into it."""
    told = dict(breaks)

    def opened(measure: re.Match[str]) -> str:
        page = told.get(int(measure[1]))
        if page is None:
            return measure[0]
        return f'{measure[0]}<print new-{"page" if page else "system"}="yes"/>'

    return _MEASURE.sub(opened, musicxml)
