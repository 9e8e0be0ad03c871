"""What the page's server keeps of the open scores: their packed files, within bounds; and the samples."""

import secrets
import sys
import zlib
from collections import OrderedDict
from dataclasses import dataclass
from pathlib import Path

from analyzer.assumption import Assumption
from analyzer.problem import Problem, unreadable
from analyzer.score.document import SCORE_ENDINGS

MAX_SCORES = 120
MAX_PACKED_BYTES = 64 * 2**20
"""Most that the open scores take, packed; judged: a school score has below 100 KiB so, all of them a fifth of this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What of an open score does not stand in its file: its id, its name, what was lost when it was first read."""

    id: str
    name: str
    problems: tuple[Problem, ...] = ()
    lost: Assumption | None = None


class OpenScore:
    """One open score: its facts, the ending of its form, and its packed file, which any process can read anew.

    Where it came in a form that takes marks and is no MusicXML, `source` is that file, and `marked_ending` its ending.
    """

    def __init__(self, facts: Facts, ending: str, data: bytes, source: tuple[str, bytes] | None = None) -> None:
        self.facts, self.ending = facts, ending
        self.id, self.name = facts.id, facts.name
        self.packed = zlib.compress(data, 1)
        self.marked_ending = source[0] if source else ending
        self.packed_source = zlib.compress(source[1], 1) if source else b""

    @property
    def source(self) -> bytes:
        """The file that takes the marks."""
        return zlib.decompress(self.packed_source) if self.packed_source else self.data

    @property
    def data(self) -> bytes:
        """The score's file."""
        return zlib.decompress(self.packed)


def new_id() -> str:
    """Return a name for a score that cannot be guessed."""
    return secrets.token_urlsafe(12)


class OpenScores:
    """Open scores by id, bounded in number and size; those not used for longest give way."""

    def __init__(self, *, most: int = MAX_SCORES, most_bytes: int = MAX_PACKED_BYTES) -> None:
        self._most, self._most_bytes = most, most_bytes
        self._open: OrderedDict[str, OpenScore] = OrderedDict()

    def __len__(self) -> int:
        """How many scores are open."""
        return len(self._open)

    def add(self, score: OpenScore) -> OpenScore:
        """Open a score."""
        self._open[score.id] = score
        while len(self._open) > 1 and (len(self._open) > self._most or self._bytes() > self._most_bytes):
            self._open.popitem(last=False)
        return score

    def get(self, score_id: object) -> OpenScore | None:
        """Return an open score, None if it is not (or no longer) open."""
        if not isinstance(score_id, str) or score_id not in self._open:
            return None
        self._open.move_to_end(score_id)
        return self._open[score_id]

    def _bytes(self) -> int:
        return sum(len(score.packed) + len(score.packed_source) for score in self._open.values())


def samples_folder() -> Path | None:
    """Return the folder of sample scores, None where there is none."""
    import analyzer

    beside = Path(analyzer.__file__).resolve().parent.parent / "sample_scores"
    folders = (beside, Path(sys.prefix) / "share" / "lowbrass" / "sample_scores")
    return next((folder for folder in folders if folder.is_dir()), None)


_SUITS = {
    "attachment-etude": ("passage", "a student with an F attachment"),
    "brass-band-hymn": ("section", "a brass band"),
    "deep-water-bass-trombone": ("bass", "a bass trombonist"),
    "evening-song-euphonium": ("passage", "a euphonium student"),
    "harbour-march-trio": ("section", "a director with a school section"),
    "quiet-chorale-trombones": ("section", "an orchestra's section of three"),
}
"""Which door a sample opens, and whom it suits."""


def sample_names(folder: Path | None) -> list[dict[str, str]]:
    """Return file and spoken name of each sample, whom it suits, and the way in which it opens."""
    if folder is None:
        return []
    return [{"file": path.name, "name": path.stem.replace("-", " ").capitalize(),
             **dict(zip(("way", "suits"), _SUITS.get(path.stem, ("passage", "anybody")), strict=True))}
            for path in sorted(folder.iterdir()) if path.suffix in SCORE_ENDINGS and path.is_file()]


def sample_path(folder: Path | None, name: str) -> Path:
    """Return the path of a listed sample.

    Raises
    ------
    Unreadable
        If the name is not in the list; nothing else is looked up on the disk.
    """
    if folder is None or name not in {sample["file"] for sample in sample_names(folder)}:
        raise unreadable("no-sample", where="samples", what="there is no sample of that name",
                         try_="Choose one of the list.")
    return folder / name
