"""Plans slide positions and valve combinations for whole low-brass passages, and says why.

>>> import analyzer
>>> analysis = analyzer.plan(analyzer.read("etude.musicxml"), horn="tenor-f")      # doctest: +SKIP
>>> analysis.write("marked.musicxml")                                              # doctest: +SKIP

Nothing is loaded before it is asked for; `analyzer.api` holds what this module offers.
"""

import sys
from types import ModuleType

TYPE_CHECKING = False                  # as checkers know it; `typing` itself would be half of a bare import
if TYPE_CHECKING:
    from typing import Any

    from analyzer.api import Analysis as Analysis
    from analyzer.api import Unreadable as Unreadable
    from analyzer.api import compare as compare
    from analyzer.api import drill as drill
    from analyzer.api import fit as fit
    from analyzer.api import horn as horn
    from analyzer.api import plan as plan
    from analyzer.api import read as read
    from analyzer.api import ready as ready
    from analyzer.api import review as review
    from analyzer.api import schema as schema
    from analyzer.api import survey as survey

__version__ = "0.1.0"
__all__ = ["Analysis", "Unreadable", "compare", "drill", "fit", "horn", "plan", "read", "ready", "review", "schema",
           "survey"]

_FOLDERS = ("plan", "review")
"""Names that are a folder of this package and a function of the door: the folder can be called."""


def _loaded(name: str) -> "Any":
    from importlib import import_module

    return import_module(f"{__name__}.{name}")


def __getattr__(name: str) -> "Any":
    if name in _FOLDERS:
        return _loaded(name)
    if name in __all__:
        return getattr(_loaded("api"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})


class _CallableFolder(ModuleType):
    """A folder of this package that is called as the function of its name: ``analyzer.plan(score)``."""

    def __call__(self, *args: "Any", **more: "Any") -> "Any":
        return self.__wrapped__(*args, **more)

    @property
    def __wrapped__(self) -> "Any":
        """The function, for help and signatures."""
        return getattr(_loaded("api"), self.__name__.rpartition(".")[2])


class _Door(ModuleType):
    """This module; import sets each folder as an attribute here, which is where two of them become callable."""

    def __setattr__(self, name: str, value: "Any") -> None:
        if name in _FOLDERS and type(value) is ModuleType:
            value.__class__ = _CallableFolder
        super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Door
