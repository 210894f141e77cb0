"""The list of what to order as a CSV file, in English, so that a file does not depend on who downloads it."""

from __future__ import annotations

import csv
import io

from wearlog.compare.shopping.lines import ShoppingList, ToOrder
from wearlog.people.spreadsheets import guarded

COLUMNS = (
    "order_by",
    "part_type",
    "kind",
    "size_mm",
    "count",
    "reason",
    "needed_on",
    "for_parts",
    "lead_time_days",
    "bar_mm",
    "supplier",
    "on_shelf",
    "unused_edges_on_shelf",
    "on_order",
)
MONEY = ("unit_cost", "cost", "currency")

Cell = str | int | float | None


def as_csv(found: ShoppingList, *, currency: str | None) -> str:
    """RFC 4180 with CRLF and one header row; what is not known is an empty cell. currency: None leaves the
    prices out."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow([*COLUMNS, *(() if currency is None else MONEY)])
    for line in found.lines:
        cells = _cells(line) + ([] if currency is None else [*_money(line), currency])
        writer.writerow([guarded(cell) if isinstance(cell, str) else cell for cell in cells])
    return out.getvalue()


def _cells(line: ToOrder) -> list[Cell]:
    terms, stock = line.stock.terms, line.stock
    return [
        "" if line.by is None else line.by.isoformat(),
        line.type.code,
        line.type.kind,
        line.type.size_mm,
        line.count,
        line.reason.value,
        "" if line.needed_on is None else line.needed_on.isoformat(),
        " ".join(need.part.code for need in line.needs),
        terms.lead_days,
        line.bar_mm,
        terms.supplier,
        len(stock.shelf),
        stock.edges_left,
        stock.on_order,
    ]


def _money(line: ToOrder) -> list[Cell]:
    return [line.stock.terms.unit_cost, line.cost]
