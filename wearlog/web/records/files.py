"""Tables of records as files: CSV row by row, and XLSX with formats and widths, in which nothing runs."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any, TypeVar

from django.http import HttpResponse, StreamingHttpResponse

from wearlog.compare.export import XLSX_TYPE, text_cell
from wearlog.people.spreadsheets import guarded
from wearlog.web.records.columns import Cell, Column

Row = TypeVar("Row")
MOST_IN_XLSX = 20_000
"""A workbook is made in memory before it is sent; so many rows take some seconds. A CSV has any number."""
MARK_OF_UTF8 = "\ufeff"


def in_file(value: Cell) -> str | int | float | datetime | None:
    """Numbers to six decimals, as stored ones have; times in the mill's zone, to the minute."""
    if isinstance(value, Decimal):
        value = float(value)
    if isinstance(value, float):
        return round(value, 6)
    return value.replace(tzinfo=None, second=0, microsecond=0) if isinstance(value, datetime) else value


def _in_csv(value: Cell) -> object:
    cell = in_file(value)
    if isinstance(cell, datetime):
        return cell.isoformat(" ", "minutes")
    return guarded(cell) if isinstance(cell, str) else cell


def csv_lines(columns: Sequence[Column[Row]], rows: Iterable[Row]) -> Iterator[str]:
    """RFC 4180, line by line: a header of keys, then each row; an unknown value is an empty cell."""
    out = io.StringIO()
    writer = csv.writer(out)

    def taken() -> str:
        text = out.getvalue()
        out.seek(0)
        out.truncate()
        return text

    writer.writerow([column.key for column in columns])
    for number, row in enumerate(rows):
        writer.writerow([_in_csv(column.value(row)) for column in columns])
        if number % 500 == 0:
            yield taken()
    yield taken()


def as_csv(columns: Sequence[Column[Row]], rows: Iterable[Row], name: str) -> StreamingHttpResponse:
    answer = StreamingHttpResponse(csv_lines(columns, rows), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{name}.csv"'
    return answer


def as_xlsx(
    columns: Sequence[Column[Row]],
    rows: Iterable[Row],
    name: str,
    *,
    totals: Sequence[Sequence[Cell]] = (),
    title: str = "",
) -> HttpResponse:
    """One sheet: headings that are repeated on each printed page, the rows, and the totals in bold."""
    from openpyxl import Workbook  # here, since it takes long to load and is seldom needed
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    book = Workbook(write_only=True)
    sheet = book.create_sheet(title[:31] or name)
    sheet.freeze_panes = "A2"
    sheet.print_title_rows = "1:1"
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    bold = Font(bold=True)
    formats = [_format(column) for column in columns]
    for place, column in enumerate(columns, start=1):
        sheet.column_dimensions[get_column_letter(place)].width = max(column.width, len(column.words) + 2)

    def cell(value: Cell, number_format: str, *, strong: bool = False) -> object:
        known = in_file(value)
        made: Any = text_cell(sheet, known) if isinstance(known, str) else WriteOnlyCell(sheet, value=known)
        if known is not None and not isinstance(known, str):
            made.number_format = "yyyy-mm-dd hh:mm" if isinstance(known, datetime) else number_format
        if strong:
            made.font = bold
        return made

    sheet.append([cell(column.words, "", strong=True) for column in columns])
    for row in rows:
        sheet.append([cell(column.value(row), form) for column, form in zip(columns, formats, strict=True)])
    for line in totals:
        sheet.append([cell(value, form, strong=True) for value, form in zip(line, formats, strict=True)])
    out = io.BytesIO()
    book.save(out)
    answer = HttpResponse(out.getvalue(), content_type=XLSX_TYPE)
    answer["Content-Disposition"] = f'attachment; filename="{name}.xlsx"'
    return answer


def _format(column: Column[Row]) -> str:
    """The number format of a spreadsheet, which shows separators in its own reader's way."""
    if column.digits is None:
        return "General"
    number = "#,##0" + ("." + "0" * column.digits if column.digits else "")
    currency = column.money.replace('"', "")
    return f'{number} "{currency}"' if currency else number
