"""The engraver (verovio) at its work, in a worker process: texts and options go in, texts come out.

It loads nothing else of ours: the process starts anew for nearly every command.
"""

import re
from typing import Any

_MEI_REST = re.compile(r'<mRest\b[^>]*\bxml:id="(rest-\d+-(\d+))"[^>]*/>')


def pages(musicxml: str, options: dict[str, Any], resources: str, most: int | None = None) -> list[str]:
    """Return music as engraved pages, one SVG each; of these the first `most`.

    Raises
    ------
    ValueError
        If the engraver cannot read the music.
    """
    toolkit = _loaded(musicxml, options, resources)
    count = toolkit.getPageCount()
    return [toolkit.renderToSVG(number) for number in range(1, (count if most is None else min(most, count)) + 1)]


def midi(musicxml: str, options: dict[str, Any], resources: str) -> str:
    """Return music as a Standard MIDI File in base 64; raises as `pages`."""
    text: str = _loaded(musicxml, options, resources).renderToMIDI()
    return text


def times(musicxml: str, options: dict[str, Any], resources: str) -> list[dict[str, Any]]:
    """Return which notes start and end when, as the engraver tells it; raises as `pages`."""
    found: list[dict[str, Any]] = _loaded(musicxml, options, resources).renderToTimemap()
    return found


def _loaded(musicxml: str, options: dict[str, Any], resources: str) -> Any:
    import verovio

    # Warnings about ties and slurs that a cut has opened are expected.
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit(False)
    # The default path is known only in the thread that imported verovio.
    toolkit.setResourcePath(resources)
    toolkit.setInputFrom("musicxml")
    many = _has_many(musicxml)
    # To be written as MEI the music need not be broken into lines, two thirds of the time.
    toolkit.setOptions(options | {"breaks": "none"} if many else options)
    good = toolkit.loadData(musicxml)
    if good and many:
        mei = _many_measures(toolkit.getMEI({"removeIds": False}))
        toolkit.setInputFrom("mei")
        toolkit.setOptions(options)
        good = toolkit.loadData(mei)
    if not good or toolkit.getPageCount() < 1:
        raise ValueError("the engraver cannot read this music")
    return toolkit


def _many_measures(mei: str) -> str:
    """Return the engraver's MEI with the joined measures written as rests of many measures."""
    return _MEI_REST.sub(lambda rest: (f'<multiRest xml:id="{rest[1]}" num="{rest[2]}"/>' if int(rest[2]) > 1
                                       else rest[0]), mei)


def _has_many(musicxml: str) -> bool:
    """Tell whether a run of two or more empty measures was joined."""
    return re.search(r'id="rest-\d+-(?!1")\d+"', musicxml) is not None
