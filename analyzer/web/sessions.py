"""The scores that are open, in memory only; the one not used for longest gives way."""

import asyncio
import secrets
from collections import OrderedDict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeVar

from analyzer.analysis import Analysis
from analyzer.score.document import Document

if TYPE_CHECKING:
    from analyzer.engrave.layout import Engraving

_Thing = TypeVar("_Thing")
MAX_SESSIONS = 24
MAX_TOTAL_BYTES = 64 * 2**20
"""Most XML kept open in all; judged: a parsed tree takes ten to twenty times its file, so about one GiB at the worst.

A school score has below one MiB: anything from 24 to 200 MiB holds two dozen of them.
"""
_MAX_ANALYSES = 8
_MAX_PICTURES = 4
_MAX_ANSWERS = 4


@dataclass(slots=True, kw_only=True)
class Session:
    """One open score and the last analyses of it, so that a pin needs no new reading."""

    id: str
    document: Document
    data: bytes
    lock: asyncio.Lock = field(default_factory=asyncio.Lock)
    analyses: OrderedDict[object, Analysis] = field(default_factory=OrderedDict)
    last: tuple[object, object] | None = None      # the last question and its plan
    pictures: "OrderedDict[str, Engraving]" = field(default_factory=OrderedDict)
    answers: OrderedDict[str, object] = field(default_factory=OrderedDict)

    def known(self, key: object) -> Analysis | None:
        """Return the analysis kept under a key, and count it as used."""
        if key in self.analyses:
            self.analyses.move_to_end(key)
        return self.analyses.get(key)

    def keep(self, key: object, analysis: Analysis) -> None:
        """Keep an analysis; the oldest gives way."""
        self.analyses[key] = analysis
        while len(self.analyses) > _MAX_ANALYSES:
            self.analyses.popitem(last=False)

    def drawn(self, places: "Engraving") -> str:
        """Remember where the notes of a picture stand, so that it can get other marks; return a name for it."""
        return _kept(self.pictures, places, _MAX_PICTURES)

    def answered(self, answer: object) -> str:
        """Remember an answer, so that the next one says only what is new in it; return a name for it."""
        return _kept(self.answers, answer, _MAX_ANSWERS)


def _kept(store: OrderedDict[str, _Thing], thing: _Thing, most: int) -> str:
    name = secrets.token_urlsafe(6)
    store[name] = thing
    while len(store) > most:
        store.popitem(last=False)
    return name


class Sessions:
    """Open scores by id, bounded in number and size."""

    def __init__(self, *, most: int = MAX_SESSIONS, most_bytes: int = MAX_TOTAL_BYTES) -> None:
        self._most = most
        self._most_bytes = most_bytes
        self._open: OrderedDict[str, Session] = OrderedDict()

    def __len__(self) -> int:
        """How many scores are open."""
        return len(self._open)

    def add(self, document: Document, data: bytes) -> Session:
        """Open a score."""
        session = Session(id=secrets.token_urlsafe(12), document=document, data=data)
        self._open[session.id] = session
        while len(self._open) > 1 and (len(self._open) > self._most or self._bytes() > self._most_bytes):
            self._open.popitem(last=False)
        return session

    def get(self, session_id: object) -> Session | None:
        """Return an open score, None if it is not (or no longer) open."""
        if not isinstance(session_id, str) or session_id not in self._open:
            return None
        self._open.move_to_end(session_id)
        return self._open[session_id]

    def _bytes(self) -> int:
        return sum(len(one.document.xml) for one in self._open.values())
