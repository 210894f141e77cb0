"""The rows as they will be after the import: the file's values, completed by the stored ones."""

from __future__ import annotations

from collections.abc import Sequence

from wearlog.logbook.exchange.checking import Rows
from wearlog.logbook.exchange.columns import Table
from wearlog.logbook.exchange.comparing import Comparison
from wearlog.logbook.exchange.typed import Readable, Typed


class ResultingRows(Readable):
    """One table after the import. `kept`: stored records in conflict are kept, and voided ones stay
    voided."""

    def __init__(self, comparison: Comparison, *, kept: bool) -> None:
        self.rows: Rows = comparison.rows
        self.stored = comparison.stored
        self.kept = {change.row for change in comparison.changes if kept and change.in_conflict}
        gone = {change.row for change in comparison.changes if kept and change.voided}
        self.not_voided = [row for row in range(len(self.rows)) if row not in gone]

    @property
    def of_table(self) -> Table:
        return self.rows.table

    @property
    def some_bad(self) -> bool:
        return self.rows.some_bad

    @property
    def counted(self) -> Sequence[int]:
        return self.not_voided

    def column(self, name: str) -> Sequence[object]:
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

    def ordered_by(self, column: Typed[object]) -> list[int]:
        """The numbers of the rows, those with the same value of the column one after another."""
        rows_of: dict[object, list[int]] = {}
        for row, value in self.each(column):
            rows_of.setdefault(value, []).append(row)
        return [row for rows in rows_of.values() for row in rows]
