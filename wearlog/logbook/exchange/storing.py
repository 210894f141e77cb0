"""Storing validated rows: new records in bulk, changed ones in an order that never violates a constraint."""

from __future__ import annotations

from collections.abc import Callable, Container, Sequence
from datetime import datetime
from decimal import Decimal

from wearlog.equipment.models import Part, Position
from wearlog.logbook.exchange.adding import add_rows, driver_values
from wearlog.logbook.exchange.checking import Book, Rows
from wearlog.logbook.exchange.columns import Column
from wearlog.logbook.exchange.comparing import Change, Comparison
from wearlog.logbook.exchange.references import in_batches, referring, stored_keys
from wearlog.logbook.exchange.tables import BY_NAME, STORING_ORDER
from wearlog.logbook.exchange.typed import typed, typed_or_none
from wearlog.people import audit
from wearlog.people.models import User
from wearlog.runs.models import Run

BATCH = 2_000
ADD_BATCH = 10_000
PREPARED_ROWS = 200_000
IMPORT = "import"
"""The action in the audit trail."""
ALONE_IN_PLACE = ("fittings", "runs")
"""Tables whose records may not overlap in time. Before several of them change they are voided for a moment,
so that no intermediate state violates the constraint."""

PART, PRESS, THROUGH = typed("part", str), typed("press", str), typed("through", str)
STARTED, ENDED = typed("started_at", datetime), typed_or_none("ended_at", datetime)
HOURS = typed_or_none("hours_h", Decimal)

Progress = Callable[[str, int, int], None]
"""A callback that gets the current step, how many of its rows are done, and how many there are."""


class Store:
    """The writes of one import."""

    def __init__(self, book: Book, *, by: User | None, at: datetime, source: str, progress: Progress) -> None:
        self.book, self.by, self.at, self.source, self.progress = book, by, at, source, progress
        self.prepared: dict[str, dict[str, list[object]]] = {}

    def take(self, comparisons: dict[str, Comparison], *, replace: bool) -> None:
        """Store new rows, values for empty fields and, with `replace`, rows in conflict."""
        for table in STORING_ORDER:
            comparison = comparisons[table.name]
            changes = [change for change in comparison.changes if replace or not change.in_conflict]
            if changes:
                self.change(comparison.rows, changes)
            if comparison.new:
                self.add(comparison.rows, comparison.new)
            if table.name == "positions" and (changes or comparison.new):
                self.place_runs_again()

    def attributes(
        self, rows: Rows, chosen: list[int], without: Container[str] = ()
    ) -> dict[str, Sequence[object]]:
        """The values for the records of the chosen rows, by attribute; without made_from, which is set when
        all parts are stored."""
        columns: dict[str, Sequence[object]] = {}
        for column in rows.table.columns:
            if column.attribute is None or column.name not in rows.values or column.name == "made_from":
                continue
            if column.attribute in without:
                continue
            columns[column.attribute] = self.values(rows, column, chosen)
        if rows.table.name == "runs":
            columns["slot"] = self.slots(rows, chosen)
            if "ends_at" not in without:
                columns["ends_at"] = self.ends(rows, chosen)
        return columns

    def values(self, rows: Rows, column: Column, chosen: list[int]) -> list[object]:
        values = referring(rows, column) if column.refers else rows.values[column.name]
        values = [values[row] for row in chosen]
        if not column.refers:
            return values
        ids = stored_keys(BY_NAME[column.refers], set(values) - {None})
        return [None if value is None else ids[value] for value in values]

    def ends(self, rows: Rows, chosen: list[int]) -> list[datetime | None]:
        """The end of each chosen run."""
        runs = rows.each(STARTED, ENDED, HOURS, among=chosen)
        return [Run.end_of(start, end, hours) for _row, start, end, hours in runs]

    def slots(self, rows: Rows, chosen: list[int]) -> list[int]:
        """The slot (barrel) of each chosen run."""
        barrels = barrels_by_press()
        return [
            Run.slot_of(through, barrels.get(press, [])) if through else 0
            for _row, press, through in rows.each(PRESS, THROUGH, among=chosen)
        ]

    def prepare(self, comparisons: dict[str, Comparison]) -> None:
        """Prepare the inserts before the transaction in which others have to wait: everything except the ids
        that rows refer to. Very many rows are left for later, since they would take twice the memory."""
        for name, comparison in comparisons.items():
            if name == "mill" or not 0 < len(comparison.new) <= PREPARED_ROWS:
                continue
            rows, chosen = comparison.rows, comparison.new
            fields = {field.attname: field for field in rows.table.model._meta.concrete_fields}
            columns: dict[str, Sequence[object]] = {
                column.attribute: [rows.values[column.name][row] for row in chosen]
                for column in rows.table.columns
                if column.attribute and not column.refers and column.name in rows.values
            }
            if name == "runs":
                columns["ends_at"] = self.ends(rows, chosen)
            self.prepared[name] = {key: driver_values(fields[key], columns.pop(key)) for key in list(columns)}

    def add(self, rows: Rows, chosen: list[int]) -> None:
        table = rows.table
        total = len(chosen)
        prepared = self.prepared.pop(table.name, {})
        for start in range(0, total, ADD_BATCH):
            part = chosen[start : start + ADD_BATCH]
            ready = {name: values[start : start + ADD_BATCH] for name, values in prepared.items()}
            columns = self.attributes(rows, part, without=ready)
            if table.has_voids:
                columns["entered_at"] = [self.at] * len(part)
                columns["entered_by_id"] = [self.by.pk if self.by else None] * len(part)
            if table.name == "mill":
                names = list(columns)
                for values in zip(*columns.values(), strict=True):
                    table.model(**dict(zip(names, values, strict=True))).save()
            else:
                add_rows(table.model, columns, len(part), ready)
            self.progress(table.file, start + len(part), total)
        self.link_made_from(rows, chosen)

    def change(self, rows: Rows, changes: list[Change]) -> None:
        """Update stored records to the logbook's values, with an audit row of old and new for each."""
        table = rows.table
        records = {
            record.pk: record
            for batch in in_batches(change.pk for change in changes)
            for record in table.records.filter(pk__in=batch)
        }
        old = {pk: audit.snapshot(record) for pk, record in records.items()}
        if table.name in ALONE_IN_PLACE:
            for batch in in_batches(records):
                table.records.filter(pk__in=batch).update(voided_at=self.at)
        chosen = [change.row for change in changes]
        columns = self.attributes(rows, chosen)
        if table.has_voids:
            columns["voided_at"] = columns["voided_by_id"] = [None] * len(changes)
            columns["void_reason"] = [""] * len(changes)
        for place, change in enumerate(changes):
            record = records[change.pk]
            for name, values in columns.items():
                setattr(record, name, values[place])
            record.save()
            if place % BATCH == 0:
                self.progress(table.file, place, len(changes))
        self.link_made_from(rows, chosen)
        for pk, record in records.items():
            if table.name == "parts":
                record.refresh_from_db()
            audit.write(
                at=self.at,
                by=self.by,
                action=IMPORT,
                record=record,
                old=old[pk],
                new=audit.snapshot(record),
                reason=f"imported from {self.source}",
            )

    def link_made_from(self, rows: Rows, chosen: list[int]) -> None:
        """Set the references of parts to the parts they were made from, now that all are stored."""
        if rows.table.name != "parts" or "made_from" not in rows.values:
            return
        sources = self.values(rows, rows.table.by_name["made_from"], chosen)
        for (_row, code), source in zip(rows.each(PART, among=chosen), sources, strict=True):
            assert source is None or isinstance(source, int)
            Part.objects.filter(code=code).exclude(made_from_id=source).update(made_from_id=source)

    def place_runs_again(self) -> None:
        """Recompute the slots of the runs of presses that gained or lost a barrel."""
        barrels = barrels_by_press()
        presses = {press for _row, press in self.book["positions"].each(PRESS)}
        for batch in in_batches(sorted(presses)):
            placed = Run.objects.filter(press__code__in=batch).exclude(through="")
            for pk, press, through, slot in placed.values_list("pk", "press__code", "through", "slot"):
                right = Run.slot_of(through, barrels.get(press, []))
                if right != slot:
                    Run.objects.filter(pk=pk).update(slot=right)


def barrels_by_press() -> dict[str, list[str]]:
    """The barrel names of each press by its code, in order."""
    barrels: dict[str, set[str]] = {}
    pairs = Position.objects.exclude(barrel="").values_list("press__code", "barrel")
    for press, barrel in pairs:
        barrels.setdefault(press, set()).add(barrel)
    return {press: sorted(names) for press, names in barrels.items()}
