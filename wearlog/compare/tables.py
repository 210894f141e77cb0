"""The comparison as a django-tables2 table: sorted by raw values, shown as formatted text."""

from __future__ import annotations

from collections.abc import Callable

import django_tables2 as tables
from django.utils.translation import gettext as _

from wearlog.compare.columns import Column, Value, relevant, shown
from wearlog.compare.queries import Comparison, Line

TEMPLATE = "web/reports/compare/table.html"


class Figures(tables.Column):  # type: ignore[misc]
    """A column of the comparison. Sorts by the value, shows it in the reader's units."""

    def __init__(self, column: Column, system: str, total: Line) -> None:
        self.column, self.system = column, system
        number = column.digits is not None
        super().__init__(
            verbose_name=column.words,
            accessor=column.key,
            attrs={"th": {"class": "num"}, "td": {"class": "num"}, "tf": {"class": "num"}} if number else {},
            footer=shown(column.value(total), column.digits, system) if number else "",
            empty_values=(),
        )

    def render(self, value: Value) -> str:
        return shown(value, self.column.digits, self.system)


def compare_table(comparison: Comparison, system: str = "") -> tables.Table:
    """A table of the comparison's lines, with the total as its footer."""
    shown_columns = relevant(comparison.by, comparison.total, system, currency=comparison.currency)
    take: list[tuple[str, Callable[[Line], Value]]] = [(column.key, column.value) for column in shown_columns]
    table = tables.Table(
        [{key: value(line) for key, value in take} for line in comparison.lines],
        extra_columns=[(column.key, Figures(column, system, comparison.total)) for column in shown_columns],
        template_name=TEMPLATE,
        order_by_field="sort",
        empty_text=_("No run has ended yet."),
    )
    return table
