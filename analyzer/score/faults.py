"""Faults of one part, gathered: one problem per kind, with its first place and how often it occurs."""

from analyzer.problem import Problem, Severity


class Faults:
    """Collects what is wrong while a part is read. `measure` is the label of the measure being read."""

    def __init__(self, where: str) -> None:
        self.where = where
        self.measure = ""
        self._found: dict[str, tuple[Severity, str, str, str]] = {}
        self._times: dict[str, int] = {}

    def add(self, severity: Severity, code: str, what: str, try_: str, *, place: bool = True) -> None:
        """Note one fault at the present measure."""
        where = f"{self.where}, measure {self.measure}" if place and self.measure else self.where
        self._found.setdefault(code, (severity, where, what, try_))
        self._times[code] = self._times.get(code, 0) + 1

    def problems(self) -> tuple[Problem, ...]:
        """Return one problem per kind, in the order of first occurrence."""
        return tuple(
            Problem(severity=severity, code=code, where=where, try_=try_,
                    what=what if self._times[code] == 1 else f"{what} ({self._times[code]} times, the first here)")
            for code, (severity, where, what, try_) in self._found.items())
