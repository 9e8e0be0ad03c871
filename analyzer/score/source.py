"""The file that a score in another form came in, kept whole so that marks can go back into its bytes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

Form = Literal["mscx", "mei"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Bytes of a score before it became MusicXML: `xml` those of the score, `archive` of the .mscz around it.

    `origins` holds for each part and ``<note>`` of the MusicXML (in document order, as `Note.ref` counts) the ordinal
    of its element among all notes of the source, in the order of the file; -1 for a rest.
    """

    form: Form
    xml: bytes
    origins: Mapping[str, Sequence[int]]
    archive: bytes | None = None
    member: str | None = None

    @property
    def ending(self) -> str:
        """Ending of a file in the same form."""
        return ".mei" if self.form == "mei" else ".mscx" if self.archive is None else ".mscz"
