"""The rows as they will stand once the logbook is in: what the file says, completed by what is stored."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from wearlog.logbook.exchange.checking import BAD, Rows
from wearlog.logbook.exchange.comparing import Comparison


class Settled:
    """One table after the import. `kept` says that a stored record in conflict stays as it is, and what was
    voided stays voided."""

    def __init__(self, comparison: Comparison, *, kept: bool) -> None:
        self.rows: Rows = comparison.rows
        self.stored = comparison.stored
        self.kept = {change.row for change in comparison.changes if kept and change.in_conflict}
        gone = {change.row for change in comparison.changes if kept and change.voided}
        self.standing = [row for row in range(len(self.rows)) if row not in gone]

    def column(self, name: str) -> Sequence[Any]:
        """The column over all rows of the file, by row number."""
        said = self.rows.column(name)
        from_store = self.kept if name in self.rows.values else self.stored
        if not from_store:
            return said
        values = list(said)
        place = list(self.rows.table.by_name).index(name)
        for row in from_store:
            values[row] = self.stored[row][place]
        return values

    def each(self, *names: str) -> Iterator[tuple[Any, ...]]:
        """Row number and the values of the named columns, of each row where all of them can be used."""
        columns = [self.column(name) for name in names]
        some_bad = bool(self.rows.bad)
        for row in self.standing:
            values = tuple(column[row] for column in columns)
            if not (some_bad and any(value is BAD for value in values)):
                yield row, *values

    def each_by(self, name: str, *names: str) -> Iterator[tuple[Any, list[tuple[Any, ...]]]]:
        """The same for one value of column `name` after the other: that value, and row number and values of
        its rows. So only a part of a long table is in memory at once."""
        columns = [self.column(each) for each in names]
        rows_of: dict[Any, list[int]] = {}
        for row, value in self.each(name):
            rows_of.setdefault(value, []).append(row)
        for value, rows in rows_of.items():
            found = [(row, *(column[row] for column in columns)) for row in rows]
            yield value, [each for each in found if not any(cell is BAD for cell in each)]
