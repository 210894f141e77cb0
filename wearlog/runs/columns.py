"""Columns as float arrays straight from the database, without the slow creation of model objects and
decimals."""

from __future__ import annotations

import operator
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from functools import reduce
from hashlib import blake2b
from json import loads
from typing import TYPE_CHECKING, Any

import numpy as np
from django.db import connections
from django.db.models import (
    Aggregate,
    BigIntegerField,
    F,
    FloatField,
    Func,
    IntegerField,
    QuerySet,
    Subquery,
    TextField,
)
from django.db.models.functions import Cast
from numpy.typing import NDArray

if TYPE_CHECKING:
    from django.db.backends.base.base import BaseDatabaseWrapper
    from django.db.models import Model
    from django.db.models.sql.compiler import SQLCompiler

Sql = tuple[str, Any]
"""SQL and its parameters: a list, since Django 5.2 extends it, although the stubs already say tuple."""

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


class Seconds(Func):
    """An instant as seconds since 1970 in UTC, exact to the microsecond; null stays null."""

    arity = 1
    output_field = FloatField()

    def as_sqlite(self, compiler: SQLCompiler, connection: BaseDatabaseWrapper, **context: object) -> Sql:
        # Stored as text in UTC: 'YYYY-MM-DD HH:MM:SS' and, where recorded, '.ffffff'.
        sql, params = compiler.compile(self.get_source_expressions()[0])
        whole = f"CAST(strftime('%%s', substr({sql}, 1, 19)) AS REAL)"
        return f"({whole} + CAST('0' || substr({sql}, 20, 7) AS REAL))", [*params, *params]

    def as_postgresql(self, compiler: SQLCompiler, connection: BaseDatabaseWrapper, **context: object) -> Sql:
        sql, params = compiler.compile(self.get_source_expressions()[0])
        return f"CAST(EXTRACT(EPOCH FROM {sql}) AS double precision)", list(params)


class InstantText(Func):
    """An instant as the text from which it is read quickest: as SQLite stores it in UTC, on PostgreSQL the
    digits of the seconds since 1970. `_instants` makes of both what `Seconds` gives, to the last bit."""

    arity = 1
    output_field = TextField()

    def as_sqlite(self, compiler: SQLCompiler, connection: BaseDatabaseWrapper, **context: object) -> Sql:
        return compiler.compile(self.get_source_expressions()[0])

    def as_postgresql(self, compiler: SQLCompiler, connection: BaseDatabaseWrapper, **context: object) -> Sql:
        sql, params = compiler.compile(self.get_source_expressions()[0])
        return f"CAST(EXTRACT(EPOCH FROM {sql}) AS text)", list(params)


class JoinedRows(Subquery):
    """The column `listed` of a query as one text, separated by spaces, in the order of the query. Unlike an
    aggregate it can be of a few rows of many: of the latest of each press."""

    template = "(SELECT %(join)s(listed, ' ') FROM (%(subquery)s) AS joined)"
    output_field = TextField()

    def as_sqlite(self, compiler: SQLCompiler, connection: BaseDatabaseWrapper, **context: object) -> Sql:
        return self.as_sql(compiler, connection, join="GROUP_CONCAT")

    def as_postgresql(self, compiler: SQLCompiler, connection: BaseDatabaseWrapper, **context: object) -> Sql:
        return self.as_sql(compiler, connection, join="STRING_AGG")


class Joined(Aggregate):
    """All values of a column in one text, separated by commas, `null` for null, in the order of primary keys.

    A hundred thousand values take a hundredth of a second as one text, and half a second as rows.
    """

    output_field = TextField()

    def as_sqlite(self, compiler: SQLCompiler, connection: BaseDatabaseWrapper, **context: object) -> Sql:
        # All columns joined in one query see the rows in the same order, whatever that is.
        sql, params = compiler.compile(self.get_source_expressions()[0])
        return f"GROUP_CONCAT(COALESCE({sql}, 'null'))", list(params)

    def as_postgresql(self, compiler: SQLCompiler, connection: BaseDatabaseWrapper, **context: object) -> Sql:
        value, key = self.get_source_expressions()[:2]
        sql, params = compiler.compile(value)
        key_sql, key_params = compiler.compile(key)
        joined = f"STRING_AGG(COALESCE(CAST({sql} AS text), 'null'), ',' ORDER BY {key_sql})"
        return joined, [*params, *key_params]


def seconds(field: str) -> Seconds:
    return Seconds(F(field))


class Number(Cast):
    """A stored decimal as the nearest float. SQLite's own conversion is slightly off for one in thousands."""

    @property
    def convert_value(self) -> Callable[..., float | None]:
        return lambda value, _expression, _connection: None if value is None else round(float(value), 6)


def number(field: str) -> Number:
    return Number(field, FloatField())


EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def seconds_of(at: datetime) -> float:
    """Seconds since 1970 in UTC, to the last bit the same as the result of `seconds`."""
    since = at - EPOCH
    return since.days * 86400 + since.seconds + since.microseconds / 1e6


def columns(
    rows: QuerySet[Model],
    *,
    numbers: tuple[str, ...],
    instants: tuple[str, ...] = (),
    small: Mapping[str, int] | None = None,
) -> dict[str, Floats]:
    """The named fields of all rows as float arrays of one length and order, NaN for null; one query.

    Instants are seconds since 1970 in UTC. small: whole numbers and flags that are never null, each with the
    number of its possible values, which begin at 0, or with `ANY`. Several are read as one column, since each
    costs as much as a large one; `ANY` closes such a column, and the next name begins another."""
    packs = _packed(small or {})
    wanted: dict[str, Joined] = {f"{name}_all": Joined(F(name), F("pk")) for name in numbers}
    for name in instants:
        wanted[f"{name}_all"] = Joined(InstantText(F(name)), F("pk"))
    for index, pack in enumerate(packs):
        digits = [_whole(name, size) * place for name, size, place in pack]
        wanted[f"small_{index}"] = Joined(reduce(operator.add, digits), F("pk"))
    found = rows.order_by().aggregate(**wanted)
    arrays = {name: _numbers(found[f"{name}_all"]) for name in numbers}
    as_stored = connections[rows.db].vendor == "sqlite"
    for name in instants:
        text = found[f"{name}_all"]
        arrays[name] = _instants(text) if as_stored else _numbers(text)
    for index, pack in enumerate(packs):
        packed = np.array(loads(f"[{found[f'small_{index}'] or ''}]"), dtype=np.int64)
        for name, size, place in pack:
            digit = packed // place
            arrays[name] = (digit if size == ANY else digit % size).astype(np.float64)
    return arrays


ANY = 0
"""As the number of a column's values: they are 0 or more, and nobody knows how many."""


def _whole(name: str, size: int) -> Cast:
    """A column as a whole number of 64 bits; PostgreSQL makes one of a flag only by way of one of 32."""
    return Cast(name if size == ANY else Cast(name, IntegerField()), BigIntegerField())


def _packed(sizes: Mapping[str, int]) -> list[list[tuple[str, int, int]]]:
    """Groups of names that are read as one number: name, number of its values, what its digit counts."""
    packs: list[list[tuple[str, int, int]]] = []
    place = ANY
    for name, size in sizes.items():
        if place == ANY:
            packs.append([])
            place = 1
        packs[-1].append((name, size, place))
        place *= size
    return packs


def _numbers(text: str | None) -> Floats:
    # As JSON a number is read twice as fast as by numpy's own reader of texts, and as exactly.
    return np.array(loads(f"[{text or ''}]"), dtype=np.float64)


def _instants(text: str | None) -> Floats:
    """Instants as SQLite stores them, `2026-03-01 05:30:00` and microseconds where recorded, as seconds."""
    if not text:
        return np.zeros(0)
    stored = np.array(text.replace("null", "NaT").split(","), dtype="datetime64[us]")
    return np.where(np.isnat(stored), np.nan, stored.astype(np.int64) / 1e6)


def digest_of(columns: Mapping[str, object]) -> str:
    """A hexadecimal digest of the content of named columns: equal only if all values are, to the last bit."""
    whole = blake2b(digest_size=16)
    for name, column in sorted(columns.items()):
        if isinstance(column, np.ndarray):
            whole.update(f"{name} {column.dtype} {column.shape}".encode())
            whole.update(np.ascontiguousarray(column).tobytes())
        else:
            whole.update(f"{name} {column!r}".encode())
    return whole.hexdigest()
