"""Where a number comes from: cited, derived or judged."""

from dataclasses import dataclass
from typing import Literal

Kind = Literal["cited", "derived", "judged"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """The origin of one number.

    A cited number has a `source` key; a derived one its formula in `why`; a judged one its reason in `why`
    and in `range` what would change our mind.
    """

    kind: Kind
    source: str = ""
    why: str = ""
    range: str = ""
