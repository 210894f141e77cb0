"""Comparisons as files: CSV, and XLSX in which a spreadsheet runs nothing."""

from __future__ import annotations

import csv
import io
import re

from django.conf import settings
from django.utils import translation

from wearlog.compare.columns import Value, columns
from wearlog.compare.queries import Comparison
from wearlog.people.spreadsheets import RISKY, guarded

XLSX_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
UNWRITABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")


def rounded(value: Value) -> Value:
    """Numbers to six decimals, as stored ones have; everything else unchanged."""
    return round(value, 6) if isinstance(value, float) else value


def rows(comparison: Comparison, system: str = "") -> list[list[Value]]:
    """The header, then each line; in English, so that a file does not depend on who downloads it."""
    shown = columns(
        comparison.by, system, money=comparison.total.money is not None, currency=comparison.currency
    )
    with translation.override(settings.LANGUAGE_CODE):
        lines = [[rounded(column.value(line)) for column in shown] for line in comparison.lines]
    return [[column.key for column in shown], *lines]


def as_csv(comparison: Comparison, system: str = "") -> str:
    """RFC 4180 with CRLF and one header row; numbers stay numbers, an unknown value is an empty cell."""
    out = io.StringIO()
    writer = csv.writer(out)
    for row in rows(comparison, system):
        writer.writerow([guarded(cell) if isinstance(cell, str) else cell for cell in row])
    return out.getvalue()


def as_xlsx(comparison: Comparison, system: str = "") -> bytes:
    """One sheet. Text is stored as text, whatever its first character; numbers as numbers."""
    from openpyxl import Workbook  # here, since it takes long to load and is seldom needed

    book = Workbook(write_only=True)
    sheet = book.create_sheet("Hours per tonne")
    sheet.freeze_panes = "A2"
    for row in rows(comparison, system):
        sheet.append([text_cell(sheet, cell) if isinstance(cell, str) else cell for cell in row])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def text_cell(sheet: object, text: str) -> object:
    """A cell in which a spreadsheet runs nothing, whatever its text begins with."""
    from openpyxl.cell import WriteOnlyCell

    cell = WriteOnlyCell(sheet, value=UNWRITABLE.sub("\ufffd", text))
    cell.data_type = "s"
    cell.quotePrefix = text.startswith(RISKY)
    return cell
