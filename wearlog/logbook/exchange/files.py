"""Reading a folder or an archive into cells, each with its line number."""

from __future__ import annotations

import codecs
import csv
import io
import zipfile
import zlib
from array import array
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path, PurePosixPath
from typing import BinaryIO, TextIO

from django.utils.translation import gettext as _

from wearlog.logbook.exchange.columns import Table
from wearlog.logbook.exchange.problems import BadRow, Unreadable
from wearlog.logbook.exchange.repeated_value import RepeatedValue
from wearlog.logbook.exchange.tables import BY_FILE

UNPACKED_BYTES = 50_000_000
ENTRIES = 1_000
RATIO = 100
LONGEST_CELL = 10_000_000
PIECE = 1 << 20
UTF_8_MARK = codecs.BOM_UTF8
Files = list[tuple[str, Callable[[], BinaryIO] | None]]
"""Pairs of a file's name and the function that opens it; None in place of a function for what is no file."""
LEFT_BEHIND = {"Thumbs.db", "desktop.ini", "__MACOSX"}
"""Files that desktop systems leave in folders; hidden files are ignored like these."""


@dataclass
class Sheet:
    """The rows of one file as text: `columns[name][n]` is on line `lines[n]`."""

    table: Table
    lines: array[int] = field(default_factory=lambda: array("q"))
    columns: dict[str, Sequence[str]] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.lines)


def read_files(
    source: Path, *, only: str = "", most_rows: int | None = None
) -> Iterator[tuple[Sheet | None, list[BadRow]]]:
    """Yield each file of the logbook, mill.csv first, with the errors in its syntax; one at a time, so that a
    long logbook is never in memory as a whole. `only` names a single file to read.

    Raises Unreadable where `source` is neither a folder nor an archive that holds a logbook, or where a file
    has more than `most_rows` rows."""
    with opened(source) as files:
        if not files:
            raise Unreadable(
                _("%(source)s holds no logbook: no file such as %(names)s is in it.")
                % {"source": source, "names": ", ".join(list(BY_FILE)[:3])}
            )
        for name, content in sorted(files, key=lambda each: each[0] != "mill.csv"):
            table = BY_FILE.get(name)
            if only and name != only:
                continue
            if table is None or content is None:
                yield None, [BadRow(name, 0, "", "", unknown_file(name))]
            else:
                with content() as stream:
                    yield read_sheet(table, stream, most_rows)


@contextmanager
def opened(source: Path) -> Iterator[Files]:
    """Open a folder or an archive and give its files, readable within the block."""
    if source.is_dir():
        yield list(folder_contents(source))
    elif source.is_file():
        with archive_contents(source) as files:
            yield files
    else:
        raise Unreadable(_("There is no folder or archive %(source)s: check the name.") % {"source": source})


def unknown_file(name: str) -> str:
    if name.lower() in BY_FILE:
        return _("this file must be called %(name)s.") % {"name": name.lower()}
    return _("a logbook has no file of this name: take it out of the folder, or correct its name.")


def left_behind(name: str) -> bool:
    return name.startswith(".") or name in LEFT_BEHIND


def folder_contents(folder: Path) -> Iterator[tuple[str, Callable[[], BinaryIO] | None]]:
    """The folder's files; None in place of the opening function for a subfolder."""
    try:
        for path in sorted(folder.iterdir()):
            if not left_behind(path.name):
                yield path.name, partial(stream_of, path) if path.is_file() else None
    except OSError as error:
        raise unreadable(folder, error) from error


def stream_of(path: Path) -> BinaryIO:
    try:
        return path.open("rb")
    except OSError as error:
        raise unreadable(path, error) from error


def unpacked(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> BinaryIO:
    return io.BytesIO(archive.read(entry))


def unreadable(path: Path, error: OSError) -> Unreadable:
    return Unreadable(
        _("%(filename)s can't be read: %(strerror)s.")
        % {"filename": error.filename or path, "strerror": error.strerror}
    )


def unpacked_bytes(path: Path) -> int:
    """The unpacked size of an archive in bytes. Raises Unreadable where it is no archive or exceeds the
    limits."""
    with archive_of(path) as archive:
        return sum(entry.file_size for entry in archive.infolist())


@contextmanager
def archive_of(path: Path) -> Iterator[zipfile.ZipFile]:
    """Open an archive after checking its sizes against the limits. Raises Unreadable with the reason."""
    try:
        with zipfile.ZipFile(path) as archive:
            refuse_bombs(path, archive.infolist())
            yield archive
    except (zipfile.BadZipFile, zlib.error, EOFError) as error:
        raise Unreadable(
            _("%(path)s is not a whole .zip archive (%(error)s): name the folder, or pack it again.")
            % {"path": path, "error": error}
        ) from error
    except (RuntimeError, NotImplementedError) as error:  # a password, or an unknown compression
        raise Unreadable(
            _("%(path)s can't be unpacked (%(error)s): unpack it and name the folder.")
            % {"path": path, "error": error}
        ) from error
    except OSError as error:
        raise Unreadable(
            _("%(path)s can't be read: %(strerror)s.") % {"path": path, "strerror": error.strerror}
        ) from error


@contextmanager
def archive_contents(path: Path) -> Iterator[Files]:
    """The files of an archive, at its top level or in one folder."""
    with archive_of(path) as archive:
        entries = [
            entry
            for entry in archive.infolist()
            if not entry.is_dir()
            and not any(left_behind(part) for part in PurePosixPath(entry.filename).parts)
        ]
        if len({PurePosixPath(entry.filename).parent for entry in entries}) > 1:
            raise Unreadable(
                _(
                    "%(path)s holds more than one folder: a logbook's files lie side by side, at the "
                    "top of the archive or in one folder."
                )
                % {"path": path}
            )
        names = [PurePosixPath(entry.filename).name for entry in entries]
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice:
            raise Unreadable(
                _("%(path)s holds %(twice)s twice: leave one of them out.") % {"path": path, "twice": twice}
            )
        found = sorted(zip(names, entries, strict=True), key=lambda each: each[0])
        yield [
            (name, partial(unpacked, archive, entry) if name in BY_FILE else None) for name, entry in found
        ]


def refuse_bombs(path: Path, entries: list[zipfile.ZipInfo]) -> None:
    """Raise Unreadable for a zip bomb. (Checking the stated sizes suffices: `ZipFile.read` never returns
    more.)"""
    unpacked, packed = sum(e.file_size for e in entries), sum(e.compress_size for e in entries)
    reason = ""
    if len(entries) > ENTRIES:
        reason = _("it has more than %(entries)s entries") % {"entries": f"{ENTRIES:,}"}
    elif unpacked > UNPACKED_BYTES:
        reason = _("unpacked it has more than %(megabytes)s MB") % {"megabytes": UNPACKED_BYTES // 1000000}
    elif unpacked > RATIO * max(packed, 1):
        reason = _("it unpacks to more than %(ratio)s times its size") % {"ratio": RATIO}
    if reason:
        raise Unreadable(
            _("%(path)s is not taken as an archive, because %(reason)s: unpack it and name the folder.")
            % {"path": path, "reason": reason}
        )


def read_sheet(table: Table, content: BinaryIO, most_rows: int | None) -> tuple[Sheet, list[BadRow]]:
    sheet = Sheet(table)
    problems: list[BadRow] = []
    text = decoded(table.file, content, problems)
    if text is None:
        return sheet, problems
    csv.field_size_limit(LONGEST_CELL)
    reader = csv.reader(text, strict=True)
    header: list[str] = []
    columns = Columns(0)
    try:
        header = next(reader, [])
        line, width = reader.line_num, len(header)
        columns = Columns(width)
        for row in reader:
            start, line = line + 1, reader.line_num
            if len(row) == width:
                if any(row):
                    columns.add(row)
                    sheet.lines.append(start)
            elif any(row):
                reason = _(
                    "this row has %(count)s cells, the header has %(width)s: check commas and quotes."
                ) % {"count": len(row), "width": width}
                problems.append(BadRow(table.file, start, "", "", reason))
            if most_rows is not None and len(sheet.lines) > most_rows:
                raise too_long(table, most_rows)
    except csv.Error as error:
        problems.append(BadRow(table.file, reader.line_num, "", "", broken_quotes(str(error))))
    named = [(name, cells) for name, cells in zip(header, columns.done(), strict=True) if name or any(cells)]
    problems.extend(header_problems(table, [name for name, _rest in named]))
    for name, cells in named:
        if name in table.by_name:
            sheet.columns.setdefault(name, cells)
    return sheet, problems


class Columns:
    """Collects rows and transposes them into columns in batches. Equal cells share one string, and a column
    without any cell takes no memory."""

    AT_ONCE = 2_000
    REMEMBERED = 20_000

    def __init__(self, width: int) -> None:
        self.columns: list[list[str] | None] = [None] * width
        self.known: list[dict[str, str]] = [{} for _place in range(width)]
        self.rows: list[list[str]] = []
        self.turned = 0

    def add(self, row: list[str]) -> None:
        self.rows.append(row)
        if len(self.rows) == self.AT_ONCE:
            self.turn()

    def turn(self) -> None:
        for place, cells in enumerate(zip(*self.rows, strict=True)):
            column, known = self.columns[place], self.known[place]
            if column is None:
                if not any(cells):
                    continue
                column = self.columns[place] = [""] * self.turned
            column.extend(map(known.setdefault, cells, cells))
            if len(known) > self.REMEMBERED:
                known.clear()
        self.turned += len(self.rows)
        self.rows = []

    def done(self) -> list[Sequence[str]]:
        self.turn()
        return [RepeatedValue("", self.turned) if column is None else column for column in self.columns]


def too_long(table: Table, most_rows: int) -> Unreadable:
    return Unreadable(
        _(
            "%(file)s has more than %(rows)s rows, which is more than a page takes. Divide the logbook, or "
            "import it on the command line: manage.py import_logbook."
        )
        % {"file": table.file, "rows": f"{most_rows:,}"},
        field="file",
    )


def broken_quotes(error: str) -> str:
    return _(
        'quotes can\'t be read from here on (%(error)s): within a quoted cell a quote is written twice, "".'
    ) % {"error": error}


def decoded(file: str, content: BinaryIO, problems: list[BadRow]) -> TextIO | None:
    """Decode a file as UTF-8, with or without a byte order mark; invalid bytes are reported by line in
    `problems`. None for another encoding."""
    start = content.read(len(UTF_8_MARK))
    content.seek(0)
    if start.startswith((b"\xff\xfe", b"\xfe\xff")):
        problems.append(BadRow(file, 0, "", "", _("this file is in UTF-16: save it as CSV in UTF-8.")))
        return None
    if not is_clean(content):
        content = cleaned(file, content, problems)
    content.seek(len(UTF_8_MARK) if start == UTF_8_MARK else 0)
    return io.TextIOWrapper(content, encoding="utf-8", errors="replace", newline="")


def is_clean(content: BinaryIO) -> bool:
    """Whether the content is UTF-8 without NULs, checked in chunks to save memory. Rewinds the stream."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        while piece := content.read(PIECE):
            decoder.decode(piece)
            if b"\0" in piece:
                return False
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    finally:
        content.seek(0)
    return True


def cleaned(file: str, content: BinaryIO, problems: list[BadRow]) -> BinaryIO:
    """The content without NULs; NULs and bytes that are not UTF-8 are reported in `problems`."""
    for number, line in enumerate(content, 1):
        if b"\0" in line:
            reason = _("a NUL byte stands in this line: take it out.")
            problems.append(BadRow(file, number, "", "", reason))
        text = line.replace(b"\0", b"").removeprefix(UTF_8_MARK if number == 1 else b"")
        try:
            text.decode("utf-8")
        except UnicodeDecodeError as error:
            reason = _("byte %(start)s of this line is not UTF-8: save the file as CSV in UTF-8.") % {
                "start": error.start + 1
            }
            problems.append(BadRow(file, number, "", "", reason))
    content.seek(0)
    return io.BytesIO(content.read().replace(b"\0", b""))


def header_problems(table: Table, header: list[str]) -> Iterator[BadRow]:
    """Problems with the names of the columns. Empty columns from a spreadsheet have been removed before."""
    known = table.by_name
    if not header:
        yield BadRow(table.file, 0, "", "", _("the first row must name the columns."))
        return
    for place, name in enumerate(header):
        if name in header[:place]:
            yield BadRow(table.file, 1, name, "", _("this column stands twice: leave one of them out."))
        elif not name:
            yield BadRow(
                table.file, 1, "", "", _("a column has cells but no name: name it, or leave it out.")
            )
        elif name not in known:
            reason = _("this column is not known here; known are %(names)s.") % {"names": ", ".join(known)}
            if len(header) == 1 and (";" in name or "\t" in name):
                reason = _("save it as CSV with commas between the columns, no semicolons or tabs.")
            yield BadRow(table.file, 1, name, "", reason)
    for column in table.columns:
        if column.required and column.name not in header:
            yield BadRow(table.file, 1, column.name, "", _("this column is missing, and it is required."))
