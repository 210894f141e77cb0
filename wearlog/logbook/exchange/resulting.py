"""The rows as they will be after the import: the file's values, completed by the stored ones."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from wearlog.logbook.exchange.checking import BAD, Rows
from wearlog.logbook.exchange.comparing import Comparison


class ResultingRows:
    """One table after the import. `kept`: stored records in conflict are kept, and voided ones stay
    voided."""

    def __init__(self, comparison: Comparison, *, kept: bool) -> None:
        self.rows: Rows = comparison.rows
        self.stored = comparison.stored
        self.kept = {change.row for change in comparison.changes if kept and change.in_conflict}
        gone = {change.row for change in comparison.changes if kept and change.voided}
        self.not_voided = [row for row in range(len(self.rows)) if row not in gone]

    def column(self, name: str) -> Sequence[Any]:
        """The column's values for all rows of the file, by row number."""
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
        """(row number, values of the named columns) for each row in which none of them is BAD."""
        columns = [self.column(name) for name in names]
        some_bad = bool(self.rows.bad)
        for row in self.not_voided:
            values = tuple(column[row] for column in columns)
            if not (some_bad and any(value is BAD for value in values)):
                yield row, *values

    def each_by(self, name: str, *names: str) -> Iterator[tuple[Any, list[tuple[Any, ...]]]]:
        """The same grouped by column `name`: each value with the row numbers and values of its rows. Only one
        group of a long table is in memory at a time."""
        columns = [self.column(each) for each in names]
        rows_of: dict[Any, list[int]] = {}
        for row, value in self.each(name):
            rows_of.setdefault(value, []).append(row)
        for value, rows in rows_of.items():
            found = [(row, *(column[row] for column in columns)) for row in rows]
            yield value, [each for each in found if not any(cell is BAD for cell in each)]
