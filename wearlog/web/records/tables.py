"""Tables of records for the page: sorted by raw values, shown a page at a time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Generic, TypeVar

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django_tables2.data import TableData

from wearlog.web.records.columns import Column

TEMPLATE = "web/site/parts/table.html"
Row = TypeVar("Row")


class Rows(TableData, Generic[Row]):  # type: ignore[misc]
    """Rows that are made for the page that is shown alone.

    number: how many there are. sorted_by: takes the name of a column, a minus in front for the other way
    round. read: the rows at some places of that order."""

    def __init__(
        self, number: int, sorted_by: Callable[[str], None], read: Callable[[int, int], Sequence[Row]]
    ) -> None:
        super().__init__(None)
        self.number, self.sorted_by, self.read = number, sorted_by, read

    def __len__(self) -> int:
        return self.number

    def __getitem__(self, key: slice) -> Sequence[Row]:
        return self.read(key.start or 0, self.number if key.stop is None else min(key.stop, self.number))

    def __iter__(self) -> object:
        return iter(self.read(0, self.number))

    def order_by(self, aliases: Sequence[str]) -> None:
        for alias in reversed(aliases):
            self.sorted_by(str(alias))


def sorter(columns: Sequence[Column[Row]], sort: Callable[[str], None]) -> Callable[[str], None]:
    """Sort by the key of a column, as it stands in an address, by way of what the column sorts by."""
    names = {column.key: column.sort for column in columns if column.sort}

    def by(alias: str) -> None:
        key = alias.removeprefix("-")
        if key in names:
            sort(alias[: len(alias) - len(key)] + names[key])

    return by


class RecordColumn(tables.Column):  # type: ignore[misc]
    """A column of records in the reader's units."""

    def __init__(self, column: Column[Row], system: str, kind: str) -> None:
        self.column, self.system, self.kind = column, system, kind
        css = {"class": "num"} if column.digits is not None else {}
        super().__init__(
            verbose_name=column.words,
            accessor="pk",  # of every row; what is shown comes from the row itself
            orderable=bool(column.sort),
            attrs={"th": css, "td": css},
            empty_values=(),
        )

    def render(self, record: Any) -> str | SafeString:
        words: str = self.column.shown(record, self.system)
        if self.column.record:
            page = reverse("web:record", kwargs={"kind": self.kind, "pk": record.pk})
        elif self.column.address is not None:
            page = self.column.address(record)
        else:
            return words
        return format_html('<a class="tied" href="{}">{}</a>', page, words)


def table_of(
    columns: Sequence[Column[Row]],
    data: TableData,
    *,
    kind: str,
    system: str,
    caption: str,
    empty: str,
) -> tables.Table:
    """A table of records of this kind (its word in addresses)."""
    table = tables.Table(
        data,
        extra_columns=[(column.key, RecordColumn(column, system, kind)) for column in columns],
        template_name=TEMPLATE,
        order_by_field="sort",
        empty_text=empty,
    )
    table.caption = caption
    return table
