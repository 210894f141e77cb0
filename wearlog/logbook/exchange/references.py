"""Checks references: every press, part, rule ... that a cell names must be in the logbook or already
stored."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TypeVar

from django.utils.translation import gettext as _

from wearlog.equipment.models import Position
from wearlog.logbook.exchange.checking import Book, Rows
from wearlog.logbook.exchange.columns import Column, Table
from wearlog.logbook.exchange.problems import BadRow
from wearlog.logbook.exchange.tables import BY_NAME
from wearlog.logbook.exchange.typed import BAD

Value = TypeVar("Value")

BATCH = 500


def in_batches(values: Iterable[Value]) -> Iterator[list[Value]]:
    """The values in batches small enough for one query on any database."""
    batch: list[Value] = []
    for value in values:
        batch.append(value)
        if len(batch) == BATCH:
            yield batch
            batch = []
    if batch:
        yield batch


def stored_keys(table: Table, wanted: set[object]) -> dict[object, int]:
    """The ids of the stored records whose keys are in `wanted`, by key: codes as text, positions as (press,
    position)."""
    if table.name == "positions":
        rows = Position.objects.values_list("press__code", "name", "pk")
        return {(press, name): pk for press, name, pk in rows}
    path = table.by_name[table.key[0]].query
    found: dict[object, int] = {}
    for batch in in_batches(wanted):
        found.update(table.records.filter(**{f"{path}__in": batch}).values_list(path, "pk"))
    return found


def referring(rows: Rows, column: Column) -> list[object]:
    """The key that the column refers to in each row: None for none, BAD where a cell could not be read."""
    values = rows.column(column.name)
    if column.refers != "positions":
        return list(values)
    pairs = zip(rows.column("press"), values, strict=True)
    return [None if name is None else BAD if BAD in (press, name) else (press, name) for press, name in pairs]


def unknown_references(book: Book) -> Iterator[BadRow]:
    named: dict[str, set[object]] = {}
    for rows in book.rows.values():
        for column in rows.table.columns:
            if column.refers and column.name in rows.values:
                yield from unknown_in(book, rows, column, named)


def unknown_in(book: Book, rows: Rows, column: Column, named: dict[str, set[object]]) -> Iterator[BadRow]:
    target = BY_NAME[column.refers]
    there = book[target.name]
    if there.missing & set(target.key):
        return  # the file has no keys, which is reported already
    if target.name not in named:
        keys = there.keys()
        named[target.name] = {key if len(key) > 1 else key[0] for key in keys}
    wanted = referring(rows, column)
    missing = set(wanted) - named[target.name] - {None, BAD}
    if not missing:
        return
    stored = stored_keys(target, missing)
    missing -= stored.keys()
    voided: set[object] = set()
    if target.has_voids:
        path = target.by_name[target.key[0]].query
        records = target.records.filter(pk__in=stored.values(), voided_at__isnull=False)
        voided = set(records.values_list(path, flat=True))
        missing |= voided
    if not missing:
        return
    for row, key in enumerate(wanted):
        if key in missing:
            yield rows.spoilt(row, column.name, reason_for(target, key, key in voided))


def reason_for(target: Table, key: object, voided: bool) -> str:
    if voided:
        return _("that record was crossed out here: leave the cell empty, or bring the record along.")
    if isinstance(key, tuple):  # of a position
        press, _rest = key
        return _(
            'press "%(press)s" has no position of this name, neither in positions.csv nor stored here.'
        ) % {"press": press}
    return _("there is none of this name, neither in %(file)s nor stored here.") % {"file": target.file}
