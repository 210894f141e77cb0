"""Taking checked rows in: new records in bulk, changed ones in an order that never breaks a promise."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from wearlog.logbook.exchange.checking import Book, Rows
from wearlog.logbook.exchange.columns import BY_NAME, STORING_ORDER, Column, Table
from wearlog.logbook.exchange.comparing import Change, Comparison
from wearlog.logbook.exchange.references import in_batches, referring, stored_keys
from wearlog.people.models import User
from wearlog.runs.models import Run

BATCH = 2_000

Progress = Callable[[str, int, int], None]
"""Called with what is being done, how many rows of it are done, and how many there are."""


class Store:
    """One import's writes. `ids` keeps what a key's record is called in the database."""

    def __init__(self, book: Book, *, by: User | None, at: datetime, progress: Progress) -> None:
        self.book, self.by, self.at, self.progress = book, by, at, progress
        self.barrels: dict[str, list[str]] = {}

    def take(self, comparisons: dict[str, Comparison], *, replace: bool) -> dict[str, list[Any]]:
        """Store what is new, what fills empty cells and, with `replace`, what is in conflict.

        Returns the changes taken as {table's name: [(change, columns changed)]}."""
        taken: dict[str, list[Any]] = {}
        for table in STORING_ORDER:
            comparison = comparisons[table.name]
            changes = [change for change in comparison.changes if replace or not change.in_conflict]
            if changes:
                self.change(comparison.rows, changes)
                taken[table.name] = changes
            if comparison.new:
                self.add(comparison.rows, comparison.new)
        return taken

    def ids(self, table: Table, wanted: set[Any]) -> dict[Any, int]:
        return stored_keys(table, wanted - {None})

    def attributes(self, rows: Rows, chosen: list[int]) -> dict[str, list[Any]]:
        """What to set on the records of the chosen rows, by attribute. made_from waits until all parts stand."""
        columns: dict[str, list[Any]] = {}
        for column in rows.table.columns:
            if column.attribute is None or column.name not in rows.values or column.name == "made_from":
                continue
            columns[column.attribute] = self.values(rows, column, chosen)
        if rows.table.name == "runs":
            columns.update(self.derived(rows, chosen))
        return columns

    def values(self, rows: Rows, column: Column, chosen: list[int]) -> list[Any]:
        values = referring(rows, column) if column.refers else rows.values[column.name]
        values = [values[row] for row in chosen]
        if not column.refers:
            return values
        ids = self.ids(BY_NAME[column.refers], set(values))
        return [None if value is None else ids[value] for value in values]

    def derived(self, rows: Rows, chosen: list[int]) -> dict[str, list[Any]]:
        """When each run ends, and through which barrel it went."""
        starts, ends, hours = (rows.column(name) for name in ("started_at", "ended_at", "hours_h"))
        presses, through = rows.column("press"), rows.column("through")
        barrels = barrels_by_press()
        return {
            "ends_at": [Run.end_of(starts[row], ends[row], hours[row]) for row in chosen],
            "slot": [
                Run.slot_of(through[row], barrels.get(presses[row], [])) if through[row] else 0
                for row in chosen
            ],
        }

    def add(self, rows: Rows, chosen: list[int]) -> None:
        table = rows.table
        total = len(chosen)
        for start in range(0, total, BATCH * 5):
            part = chosen[start : start + BATCH * 5]
            columns = self.attributes(rows, part)
            if table.has_voids:
                columns["entered_at"] = [self.at] * len(part)
                columns["entered_by_id"] = [self.by.pk if self.by else None] * len(part)
            names = list(columns)
            records = [
                table.model(**dict(zip(names, values, strict=True)))
                for values in zip(*columns.values(), strict=True)
            ]
            if table.name == "mill":
                for record in records:
                    record.save()
            else:
                table.records.bulk_create(records, batch_size=BATCH)
            self.progress(table.name, start + len(part), total)
        self.link_made_from(rows, chosen)

    def change(self, rows: Rows, changes: list[Change]) -> None:
        table = rows.table
        if table.has_voids:
            # Set aside first, so that no half-way state stands in the way of the next.
            for batch in in_batches(change.pk for change in changes):
                table.records.filter(pk__in=batch).update(voided_at=self.at)
        chosen = [change.row for change in changes]
        columns = self.attributes(rows, chosen)
        if table.has_voids:
            columns["voided_at"] = columns["voided_by_id"] = [None] * len(changes)
            columns["void_reason"] = [""] * len(changes)
        records = []
        for place, change in enumerate(changes):
            record = table.records.get(pk=change.pk)
            for name, values in columns.items():
                setattr(record, name, values[place])
            record.save()
            records.append(record)
        self.link_made_from(rows, chosen)

    def link_made_from(self, rows: Rows, chosen: list[int]) -> None:
        if rows.table.name != "parts" or "made_from" not in rows.values:
            return
        column = rows.table.by_name["made_from"]
        sources = self.values(rows, column, chosen)
        own = rows.column("part")
        ids = self.ids(rows.table, {own[row] for row in chosen})
        for row, source in zip(chosen, sources, strict=True):
            if source is not None:
                rows.table.records.filter(pk=ids[own[row]]).update(made_from_id=source)


def barrels_by_press() -> dict[str, list[str]]:
    """The barrel names of each press by its code, in order."""
    barrels: dict[str, set[str]] = {}
    pairs = BY_NAME["positions"].records.exclude(barrel="").values_list("press__code", "barrel")
    for press, barrel in pairs:
        barrels.setdefault(press, set()).add(barrel)
    return {press: sorted(names) for press, names in barrels.items()}
