"""The comparison as a django-tables2 table: sorted by raw values, shown as formatted text."""

from __future__ import annotations

from collections.abc import Callable

import django_tables2 as tables
from django.utils.html import format_html
from django.utils.translation import gettext as _

from wearlog.compare.columns import Column, Value, relevant, shown
from wearlog.compare.queries import Comparison, Line

Opened = Callable[[str, Line], str]
LINE = "line"
"""Under this key each row holds its line of the comparison."""
TEMPLATE = "web/reports/compare/table.html"


class Figures(tables.Column):  # type: ignore[misc]
    """A column of the comparison. Sorts by the value, shows it in the reader's units, and leads to what it
    was made from."""

    def __init__(self, column: Column, system: str, total: Line, opened: Opened) -> None:
        self.column, self.system, self.opened = column, system, opened
        number = column.digits is not None
        super().__init__(
            verbose_name=column.words,
            accessor=column.key,
            attrs={"th": {"class": "num"}, "td": {"class": "num"}, "tf": {"class": "num"}} if number else {},
            footer=self._cell(column.value(total), total) if number else "",
            empty_values=(),
        )

    def render(self, value: Value, record: dict[str, object]) -> str:
        line = record[LINE]
        assert isinstance(line, Line)
        return self._cell(value, line)

    def _cell(self, value: Value, line: Line) -> str:
        words = shown(value, self.column.digits, self.system)
        address = self.opened(self.column.key, line) if value is not None else ""
        return format_html('<a href="{}">{}</a>', address, words) if address else words


def compare_table(
    comparison: Comparison, system: str = "", *, opened: Opened = lambda _key, _line: ""
) -> tables.Table:
    """A table of the comparison's lines, with the total as its footer. opened: the address of the records
    behind a figure, by the key of its column and its line; empty for none."""
    shown_columns = relevant(comparison.by, comparison.total, system, currency=comparison.currency)
    take: list[tuple[str, Callable[[Line], Value]]] = [(column.key, column.value) for column in shown_columns]
    table = tables.Table(
        [{LINE: line} | {key: value(line) for key, value in take} for line in comparison.lines],
        extra_columns=[
            (column.key, Figures(column, system, comparison.total, opened)) for column in shown_columns
        ],
        template_name=TEMPLATE,
        order_by_field="sort",
        empty_text=_("No run has ended yet."),
    )
    return table
