"""Columns as plain floats straight from the database, past the slow making of datetimes and decimals."""

from __future__ import annotations

from typing import Any

from django.db.models import F, FloatField, Func
from django.db.models.functions import Cast


class Seconds(Func):
    """An instant as seconds since 1970 in UTC, exact to the microsecond; null stays null."""

    arity = 1
    output_field = FloatField()

    def as_sqlite(self, compiler: Any, connection: Any, **context: Any) -> tuple[str, Any]:
        # Stored as text in UTC: 'YYYY-MM-DD HH:MM:SS' and, where recorded, '.ffffff'.
        sql, params = compiler.compile(self.get_source_expressions()[0])
        whole = f"CAST(strftime('%%s', substr({sql}, 1, 19)) AS REAL)"
        return f"({whole} + CAST('0' || substr({sql}, 20, 7) AS REAL))", [*params, *params]

    def as_postgresql(self, compiler: Any, connection: Any, **context: Any) -> tuple[str, Any]:
        sql, params = compiler.compile(self.get_source_expressions()[0])
        return f"CAST(EXTRACT(EPOCH FROM {sql}) AS double precision)", list(params)


def seconds(field: str) -> Seconds:
    return Seconds(F(field))


def number(field: str) -> Cast:
    """A recorded decimal as a float."""
    return Cast(field, FloatField())
