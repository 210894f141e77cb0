"""Fast bulk inserts.

No model instances are created: each column is converted to what the database driver takes, equal values
once, and the rows go to the database in one statement. Like `bulk_create` it calls no `save`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import repeat

from django.db import connection, models


def add_rows(
    model: type[models.Model],
    columns: Mapping[str, Sequence[object]],
    count: int,
    ready: Mapping[str, Sequence[object]],
) -> None:
    """Insert `count` records with the values of `columns` (attribute -> one value per record) and of `ready`,
    whose values `driver_values` has already converted. Fields in neither get their default. Raises
    IntegrityError as any insert does."""
    names: list[str] = []
    values: Iterator[object]
    prepared: list[Iterator[object]] = []
    for field in model._meta.concrete_fields:
        assert field.column
        if field.primary_key or field.generated:
            continue
        if field.attname in ready:
            values = iter(ready[field.attname])
        elif field.attname in columns:
            values = iter(driver_values(field, columns[field.attname]))
        elif field.has_default() or not field.has_db_default():
            values = defaults(field, count)
        else:
            continue  # assigned by the database
        names.append(connection.ops.quote_name(field.column))
        prepared.append(values)
    table = connection.ops.quote_name(model._meta.db_table)
    rows = zip(*prepared, strict=False)  # defaults are endless iterators
    if connection.vendor == "postgresql":
        copy_rows(f"COPY {table} ({', '.join(names)}) FROM STDIN", rows, count)
        return
    sql = f"INSERT INTO {table} ({', '.join(names)}) VALUES ({', '.join(['%s'] * len(names))})"  # noqa: S608
    with connection.cursor() as cursor:
        cursor.executemany(sql, [row for row, _number in zip(rows, range(count), strict=False)])


def copy_rows(sql: str, rows: Iterator[tuple[object, ...]], count: int) -> None:
    """Insert the rows by PostgreSQL's COPY."""
    with connection.cursor() as cursor, connection.wrap_database_errors, cursor.copy(sql) as copy:
        for row, _number in zip(rows, range(count), strict=False):
            copy.write_row(row)


def driver_values(field: models.Field[object, object], values: Sequence[object]) -> list[object]:
    """The values of a column converted for the database driver."""
    known = {value: field.get_db_prep_save(value, connection) for value in set(values)}
    return [known[value] for value in values]


def defaults(field: models.Field[object, object], count: int) -> Iterator[object]:
    if callable(field.default):
        return iter([field.get_db_prep_save(field.get_default(), connection) for _number in range(count)])
    return repeat(field.get_db_prep_save(field.get_default(), connection))
