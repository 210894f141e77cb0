"""Validation: every cell is converted to a value, every reference looked up, and the rows checked against
each other.

A cell that can't be read becomes `BAD`, and its row is left out of checks that need it, so that one mistake
is reported once and all other mistakes are reported along with it.
"""

from __future__ import annotations

import zoneinfo
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import tzinfo
from functools import cached_property, partial
from pathlib import Path

from django.utils.translation import gettext as _

from wearlog.logbook.exchange.cells import BadCell
from wearlog.logbook.exchange.columns import Column, Table
from wearlog.logbook.exchange.files import Sheet, read_files
from wearlog.logbook.exchange.problems import BadRow
from wearlog.logbook.exchange.repeated_value import RepeatedValue
from wearlog.logbook.exchange.tables import TABLES
from wearlog.logbook.exchange.typed import BAD, Readable

AT_ONCE, REMEMBERED = 10_000, 20_000
"""How many cells are read at a time, and how many distinct ones are cached."""


@dataclass
class Rows(Readable):
    """The rows of one table as values: `values[name][n]` is on line `lines[n]`. Columns missing from the file
    are not in `values`, unless they are required (`missing`): those are `BAD` throughout. The cells' text is
    not kept; `read_again` reads it again when a problem has to be reported."""

    table: Table
    lines: Sequence[int] = ()
    values: dict[str, Sequence[object]] = field(default_factory=dict)
    bad: set[int] = field(default_factory=set)
    missing: set[str] = field(default_factory=set)
    read_again: Callable[[], Mapping[str, Sequence[str]]] = dict

    @cached_property
    def cells(self) -> Mapping[str, Sequence[str]]:
        return self.read_again()

    def __len__(self) -> int:
        return len(self.lines)

    @property
    def of_table(self) -> Table:
        return self.table

    @property
    def some_bad(self) -> bool:
        return bool(self.bad)

    @property
    def counted(self) -> Sequence[int]:
        return range(len(self))

    def column(self, name: str) -> Sequence[object]:
        """The column's values; where the file lacks the column, the value of an empty cell for each row."""
        if name in self.values:
            return self.values[name]
        return RepeatedValue(self.table.by_name[name].empty, len(self))

    def keys(self) -> list[tuple[object, ...]]:
        if not self.table.key:
            return [()] * len(self)
        return list(zip(*(self.column(name) for name in self.table.key), strict=True))

    def wrong(self, row: int, column: str, reason: str) -> BadRow:
        """Mark the row as bad and return the problem."""
        self.bad.add(row)
        shown = self.cells[column][row] if column in self.cells else ""
        return BadRow(self.table.file, self.lines[row], column, shown, reason)

    def spoilt(self, row: int, column: str, reason: str) -> BadRow:
        """Mark the row and the cell as bad, so that no further check uses them, and return the problem."""
        problem = self.wrong(row, column, reason)
        values = self.values.get(column)
        if isinstance(values, list):
            values[row] = BAD
        return problem

    def seal(self) -> None:
        """After all checks: make the columns immutable, so that Python's garbage collector does not traverse
        them again and again while they are stored."""
        for name, values in self.values.items():
            self.values[name] = tuple(values) if isinstance(values, list) else values


@dataclass
class Book:
    """A logbook as values."""

    zone: tzinfo
    rows: dict[str, Rows]

    def __getitem__(self, name: str) -> Rows:
        return self.rows[name]

    def seal(self) -> None:
        for rows in self.rows.values():
            rows.seal()


def read_book(
    source: Path, *, zone: tzinfo, most_rows: int | None = None, progress: Callable[[str], None]
) -> tuple[Book, list[BadRow]]:
    """Read and validate the logbook in a folder or archive, without comparing it with what is stored; return
    it with its problems.

    `zone` is the zone for instants without an offset where the logbook has no mill.csv. `progress` is called
    with what is being read. Raises Unreadable."""
    book = Book(zone, {table.name: Rows(table) for table in TABLES})
    problems: list[BadRow] = []
    for sheet, wrong in read_files(source, most_rows=most_rows):
        problems.extend(wrong)
        if sheet is None:
            continue
        progress(_("reading %(file)s") % {"file": sheet.table.file})
        if sheet.table.name == "mill":
            book.zone, wrong = zone_of(sheet, zone)
            problems.extend(wrong)
        rows, wrong = read_rows(sheet, book.zone)
        rows.read_again = partial(cells_again, source, sheet.table.file)
        book.rows[sheet.table.name] = rows
        problems.extend(wrong)
        problems.extend(twice(rows))
    if len(book["mill"]) > 1:
        problems.append(
            BadRow("mill.csv", book["mill"].lines[1], "", "", _("a logbook has one mill: keep one row."))
        )
    return book, problems


def cells_again(source: Path, file: str) -> Mapping[str, Sequence[str]]:
    for sheet, _wrong in read_files(source, only=file):
        if sheet is not None:
            return sheet.columns
    return {}


def zone_of(mill: Sheet, otherwise: tzinfo) -> tuple[tzinfo, list[BadRow]]:
    names: Sequence[str] = mill.columns.get("time_zone", ())
    if not names or not names[0]:
        return otherwise, []
    try:
        return zoneinfo.ZoneInfo(names[0]), []
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        reason = _("there is no such time zone: write one as in Europe/Vienna.")
        return otherwise, [BadRow(mill.table.file, mill.lines[0], "time_zone", names[0], reason)]


def read_rows(sheet: Sheet, zone: tzinfo) -> tuple[Rows, list[BadRow]]:
    """Convert a sheet to values; the text of each column is freed once it has been read."""
    rows = Rows(sheet.table, sheet.lines)
    problems: list[BadRow] = []
    for column in sheet.table.columns:
        if column.name not in sheet.columns:
            if column.required:
                rows.values[column.name] = [BAD] * len(rows)
                rows.missing.add(column.name)
                rows.bad.update(range(len(rows)))
            continue
        cells = sheet.columns.pop(column.name)
        rows.values[column.name], reasons = read_column(sheet.table, column, cells, zone)
        for row, reason in reasons:
            rows.bad.add(row)
            problems.append(BadRow(sheet.table.file, sheet.lines[row], column.name, cells[row], reason + "."))
    return rows, problems


def read_column(
    table: Table, column: Column, cells: Sequence[str], zone: tzinfo
) -> tuple[Sequence[object], list[tuple[int, str]]]:
    """The column's values, and (row, reason) for each cell that can't be read. Equal cells are read once."""
    if isinstance(cells, RepeatedValue) and not column.required:
        return RepeatedValue(column.empty, len(cells)), []
    longest, form = column.longest, column.form
    values: list[object] = []
    wrong: list[tuple[int, str]] = []
    known: dict[str, object] = {}
    reasons: dict[str, str] = {}
    for start in range(0, len(cells), AT_ONCE):
        if not 0 < len(known) <= REMEMBERED:
            known = {"": BAD if column.required else column.empty}
            reasons = {"": _("this cell must not be empty")} if column.required else {}
        part = cells[start : start + AT_ONCE]
        for cell in set(part) - known.keys():
            try:
                known[cell] = value = form.read(cell, zone)
                if longest is not None and isinstance(value, str) and len(value) > longest:
                    raise BadCell(_("write at most %(longest)s characters") % {"longest": longest})
            except BadCell as error:
                known[cell] = BAD
                reasons[cell] = str(error)
        values.extend(known[cell] for cell in part)
        if reasons:
            wrong.extend((start + row, reasons[cell]) for row, cell in enumerate(part) if cell in reasons)
    return values, wrong


def twice(rows: Rows) -> Iterator[BadRow]:
    """Problems of keys that occur more than once in their file."""
    if not rows.table.key or (
        len(rows.table.key) == 1 and len(set(rows.column(rows.table.key[0]))) == len(rows)
    ):
        return
    keys = rows.keys()
    if len(set(keys)) == len(keys):
        return
    first: dict[tuple[object, ...], int] = {}
    for row, key in enumerate(keys):
        if BAD in key:
            continue
        line = first.setdefault(key, rows.lines[row])
        if line != rows.lines[row]:
            names = " and ".join(rows.table.key)
            yield rows.wrong(
                row,
                rows.table.key[-1],
                _("line %(line)s has the same %(names)s: each may stand once.")
                % {"line": line, "names": names},
            )
