"""Columns as float arrays straight from the database, without the slow creation of model objects and
decimals."""

from __future__ import annotations

import operator
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from functools import reduce
from hashlib import blake2b
from json import loads
from math import prod
from typing import TYPE_CHECKING, Any

import numpy as np
from django.db.models import Aggregate, F, FloatField, Func, IntegerField, QuerySet, Subquery, TextField
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


class SecondsText(Func):
    """The digits of an instant in seconds since 1970 in UTC, microseconds after a point where recorded. The
    nearest float of that number is, to the last bit, the result of `Seconds`."""

    arity = 1
    output_field = TextField()

    def as_sqlite(self, compiler: SQLCompiler, connection: BaseDatabaseWrapper, **context: object) -> Sql:
        sql, params = compiler.compile(self.get_source_expressions()[0])
        return f"(strftime('%%s', substr({sql}, 1, 19)) || substr({sql}, 20, 7))", [*params, *params]

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
    number of its possible values, which begin at 0; they are read as one column, since each costs as much as
    a large one."""
    sizes = dict(small or {})
    wanted: dict[str, Joined] = {f"{name}_all": Joined(F(name), F("pk")) for name in numbers}
    for name in instants:
        wanted[f"{name}_all"] = Joined(SecondsText(F(name)), F("pk"))
    if sizes:
        digits = [
            Cast(name, IntegerField()) * place for name, place in zip(sizes, _places(sizes), strict=True)
        ]
        wanted["small"] = Joined(reduce(operator.add, digits), F("pk"))
    found = rows.order_by().aggregate(**wanted)
    arrays = {name: _numbers(found[f"{name}_all"]) for name in (*numbers, *instants)}
    if sizes:
        packed = _numbers(found["small"])
        for (name, size), place in zip(sizes.items(), _places(sizes), strict=True):
            arrays[name] = packed // place % size
    return arrays


def _places(sizes: Mapping[str, int]) -> list[int]:
    """What each digit counts in a number whose digits have these many values, the first one least."""
    return [prod(list(sizes.values())[:index]) for index in range(len(sizes))]


def _numbers(text: str | None) -> Floats:
    # As JSON a number is read twice as fast as by numpy's own reader of texts, and as exactly.
    return np.array(loads(f"[{text or ''}]"), dtype=np.float64)


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
