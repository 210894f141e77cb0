"""Writing the canonical logbook: every file, all columns, rows by key, always the same bytes."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import tzinfo
from pathlib import Path
from typing import Any

from django.db import connection, transaction

from wearlog.logbook.exchange.cells import Form
from wearlog.logbook.exchange.columns import Table
from wearlog.logbook.exchange.tables import TABLES
from wearlog.logbook.exchange.writing import put_archive, put_folder
from wearlog.people.models import Mill, User
from wearlog.people.roles import Permission, require
from wearlog.service.models import Service


def export_logbook(*, by: User | None, target: Path) -> int:
    """Write every record that is not voided into the folder or (where its name ends in .zip) archive
    `target`.

    Returns the number of rows. Raises Unreadable where `target` holds something else or can't be written;
    whatever was there before is then unchanged."""
    require(by, Permission.OWN)
    files, count = render()
    if target.suffix.lower() == ".zip":
        put_archive(target, files)
    else:
        put_folder(target, files)
    return count


def render() -> tuple[dict[str, bytes], int]:
    """The content of every file by name, all from one snapshot, and the number of rows."""
    files: dict[str, bytes] = {}
    count = 0
    with one_moment():
        zone = Mill.current().zone
        for table in TABLES:
            rows = rows_not_voided(table)
            if table.came_later and not rows:
                continue
            count += len(rows)
            files[table.file] = rendered(table, rows, zone)
    return files, count


@contextmanager
def one_moment() -> Iterator[None]:
    """A read-only transaction in which every query sees the same snapshot. It blocks nobody."""
    outermost = not connection.in_atomic_block
    on_sqlite = connection.vendor == "sqlite"
    sqlite: Any = connection  # the stubs don't know its mode
    connection.ensure_connection()
    usual = sqlite.transaction_mode if on_sqlite else None
    try:
        if outermost and on_sqlite:  # which would otherwise take the write lock at its start
            sqlite.transaction_mode = "DEFERRED"
        with transaction.atomic():
            if outermost and connection.vendor == "postgresql":  # else each query would see the newest state
                with connection.cursor() as cursor:
                    cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            yield
    finally:
        if on_sqlite:
            sqlite.transaction_mode = usual


def rows_not_voided(table: Table) -> list[tuple[object, ...]]:
    """The values of every record that nobody has voided, in the order of the columns, by key."""
    records = table.records.filter(voided_at__isnull=True) if table.has_voids else table.records.all()
    rows: list[tuple[object, ...]] = list(records.order_by().values_list(*table.queries))
    if table.name == "measurements":
        rows = without_voided_services(table, rows)
    names = list(table.by_name)
    places = [names.index(name) for name in table.key]
    return sorted(rows, key=lambda row: [row[place] for place in places])


def without_voided_services(table: Table, rows: list[tuple[object, ...]]) -> list[tuple[object, ...]]:
    """Empty the reference from a gauge to its service where that is voided, since the gauge remains."""
    voided = set(Service.objects.filter(voided_at__isnull=False).values_list("ref", flat=True))
    if not voided:
        return rows
    place = list(table.by_name).index("service")
    return [(*row[:place], None, *row[place + 1 :]) if row[place] in voided else row for row in rows]


def rendered(table: Table, rows: Sequence[tuple[object, ...]], zone: tzinfo) -> bytes:
    cells = {
        column.name: written(column.form, values, zone)
        for column, values in zip(table.columns, zip(*rows, strict=True), strict=bool(rows))
    }
    names = [
        column.name for column in table.columns if not column.came_later or any(cells.get(column.name, ()))
    ]
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(names)
    if rows:
        writer.writerows(zip(*(cells[name] for name in names), strict=True))
    return text.getvalue().encode("utf-8")


def written(form: Form, values: Sequence[object], zone: tzinfo) -> list[str]:
    """The cells of a column. Equal values are formatted once."""
    cells: dict[object, str] = {None: "", "": ""}
    for value in set(values) - cells.keys():
        cells[value] = form.write(value, zone)
    return [cells[value] for value in values]
