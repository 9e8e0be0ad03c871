"""Where a number comes from: cited, derived, judged or measured."""

from dataclasses import dataclass
from typing import Literal, get_args

Origin = Literal["cited", "derived", "judged", "measured"]
ORIGINS: tuple[Origin, ...] = get_args(Origin)


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """The origin of one number.

    A cited number has a `source` key; a derived one its formula in `why`; a judged one its reason in `why`
    and in `range` what would change our mind; a measured one in `why` what was measured on that very horn, and in
    `range` how sure it is.
    """

    kind: Origin
    source: str = ""
    why: str = ""
    range: str = ""

    def as_json(self) -> dict[str, str]:
        """Return the origin with the names that every document has for it."""
        return {"kind": self.kind, "source": self.source, "why": self.why, "range": self.range}
