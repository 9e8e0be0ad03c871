"""The records of many scores put together: of thousands of files only names and hashes are in memory."""

import sys
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, overload

from analyzer.library.files import Entry

Record = dict[str, Any]
"""What one score gave, in plain JSON values: status, reason, problem, title, content, problems, lines."""


class Files(Sequence[Record]):
    """A row for each file of a folder, made from its record when it is asked for."""

    def __init__(self, entries: Sequence[Entry], records: Mapping[str, Record], statuses: Sequence[str],
                 earlier: Mapping[str, str]) -> None:
        self._entries, self._records, self._statuses, self._earlier = entries, records, statuses, earlier

    @property
    def statuses(self) -> Counter[str]:
        """How many files there are of each status."""
        return Counter(self._statuses)

    def having(self, *statuses: str) -> Iterator[Record]:
        """Yield the rows of the files with one of these statuses; the others' records are not read."""
        return (self._row(entry) for entry, status in zip(self._entries, self._statuses, strict=True)
                if status in statuses)

    def read(self) -> Iterator[tuple[str, Record]]:
        """Yield the name and the record of each file that gave lines of its own."""
        return ((entry.name, self._records[entry.name])
                for entry, status in zip(self._entries, self._statuses, strict=True) if status == "read")

    def _row(self, entry: Entry) -> Record:
        row: Record = {"file": entry.name, "bytes": entry.size_bytes, "status": entry.status, "reason": entry.reason,
                       "duplicate_of": entry.same_as, "title": "", "lines": 0, "problem": entry.problem_json,
                       "problems": []}
        twin = _failed_twin(entry, self._records)
        if twin is not None:
            # A copy of a file that gave nothing has the same fault, and says so itself.
            row |= {"status": twin["status"], "reason": twin["reason"], "problem": {
                **twin["problem"], "where": twin["problem"]["where"].replace(str(entry.same_as), entry.name, 1)}}
        elif entry.status == "score":
            record = self._records[entry.name]
            row |= {key: record[key] for key in ("status", "reason", "title", "problem", "problems")}
            earlier = self._earlier.get(entry.name)
            if earlier is not None:
                row |= {"status": "duplicate", "reason": f"the same score as {earlier}", "duplicate_of": earlier,
                        "problems": []}
            else:
                row["lines"] = len({(line["part_id"], line["line"]) for line in record["lines"]})
        return row

    @overload
    def __getitem__(self, place: int) -> Record: ...

    @overload
    def __getitem__(self, place: slice) -> list[Record]: ...

    def __getitem__(self, place: int | slice) -> Record | list[Record]:
        if isinstance(place, slice):
            return [self._row(entry) for entry in self._entries[place]]
        return self._row(self._entries[place])

    def __iter__(self) -> Iterator[Record]:
        return map(self._row, self._entries)

    def __len__(self) -> int:
        return len(self._entries)


class _Lines(Collection[Record]):
    """The rows of the lines of some files, made from the files' records at each pass."""

    def __init__(self, files: Files, count: int) -> None:
        self._files, self._count = files, count

    def __iter__(self) -> Iterator[Record]:
        for name, record in self._files.read():
            for line in record["lines"]:
                yield {"file": name, "title": record["title"], **line}

    def __len__(self) -> int:
        return self._count

    def __contains__(self, row: object) -> bool:
        return any(row == one for one in self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """Every file of a folder, by name, and every line found, in the order of the files.

    Both can be gone through again and again; of thousands of files their rows are never in memory together.
    """

    folder: str
    files: Files
    lines: Collection[Record]


def assemble(folder: str, entries: Iterable[Entry], records: Mapping[str, Record]) -> Survey:
    """Put a survey together: a row for every file by name; of equal scores the first by name counts.

    `records` maps names to records, and is asked again at every pass over files and lines; an entry that needs one and
    has none is left out (the survey was stopped).
    """
    kept: list[Entry] = []
    statuses: list[str] = []
    earlier: dict[str, str] = {}
    first_of: dict[str | bytes, str] = {}
    count = 0
    for entry in sorted(entries, key=lambda one: one.name):
        status = entry.status
        twin = _failed_twin(entry, records)
        if twin is not None:
            status = twin["status"]
        elif status == "score":
            record = records.get(entry.name)
            if record is None:
                continue
            status = record["status"]
            content = record["content"]
            first = first_of.setdefault(bytes.fromhex(content) if content else entry.name, entry.name)
            if first != entry.name:
                status, earlier[entry.name] = "duplicate", first
            else:
                count += len(record["lines"])
        kept.append(entry)
        statuses.append(sys.intern(status))
    files = Files(kept, records, statuses, earlier)
    return Survey(folder=folder, files=files, lines=_Lines(files, count))


def _failed_twin(entry: Entry, records: Mapping[str, Record]) -> Record | None:
    """Return the record of the file whose copy this is, if that one gave nothing."""
    twin = records.get(entry.same_as) if entry.same_as else None
    return twin if twin is not None and twin["status"] != "read" else None
