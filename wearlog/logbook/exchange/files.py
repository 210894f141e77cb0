"""Taking a folder or an archive apart: bytes, lines and cells, each with the line that it stands on."""

from __future__ import annotations

import csv
import io
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from django.utils.translation import gettext as _

from wearlog.logbook.exchange.columns import BY_FILE, Table
from wearlog.logbook.exchange.problems import BadRow, Unreadable

UNPACKED_BYTES = 50_000_000
ENTRIES = 1_000
RATIO = 100
LONGEST_CELL = 10_000_000
LEFT_BEHIND = {"Thumbs.db", "desktop.ini", "__MACOSX"}
"""What desktop systems leave in folders without being asked; hidden files count among it too."""


@dataclass
class Sheet:
    """The rows of one file as text: `columns[name][n]` stands on line `lines[n]`."""

    table: Table
    lines: list[int] = field(default_factory=list)
    columns: dict[str, tuple[str, ...]] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.lines)


def read_files(source: Path) -> tuple[list[Sheet], list[BadRow]]:
    """Every file of the logbook, and what is wrong with how they are written.

    Raises Unreadable where `source` is neither a folder nor an archive that holds a logbook."""
    if source.is_dir():
        contents = list(folder_contents(source))
    elif source.is_file():
        contents = list(archive_contents(source))
    else:
        raise Unreadable(_("There is no folder or archive %(source)s: check the name.") % {"source": source})
    sheets: list[Sheet] = []
    problems: list[BadRow] = []
    for name, content in contents:
        table = BY_FILE.get(name)
        if table is None or content is None:
            problems.append(BadRow(name, 0, "", "", unknown_file(name)))
            continue
        sheet, wrong = read_sheet(table, content)
        sheets.append(sheet)
        problems.extend(wrong)
    if not sheets and not problems:
        raise Unreadable(
            _("%(source)s holds no logbook: no file such as %(names)s is in it.")
            % {"source": source, "names": ", ".join(list(BY_FILE)[:3])}
        )
    return sheets, problems


def unknown_file(name: str) -> str:
    if name.lower() in BY_FILE:
        return _("this file must be called %(name)s.") % {"name": name.lower()}
    return _("a logbook has no file of this name: take it out of the folder, or correct its name.")


def left_behind(name: str) -> bool:
    return name.startswith(".") or name in LEFT_BEHIND


def folder_contents(folder: Path) -> Iterator[tuple[str, bytes | None]]:
    """Name and bytes of each file; None for a folder within the folder."""
    try:
        for path in sorted(folder.iterdir()):
            if not left_behind(path.name):
                yield path.name, path.read_bytes() if path.is_file() else None
    except OSError as error:
        raise Unreadable(
            _("%(filename)s can't be read: %(strerror)s.")
            % {"filename": error.filename or folder, "strerror": error.strerror}
        ) from error


def archive_contents(path: Path) -> Iterator[tuple[str, bytes | None]]:
    """The same of an archive, whose files lie at its top or in one folder; sizes are held to the limits."""
    try:
        with zipfile.ZipFile(path) as archive:
            entries = [entry for entry in archive.infolist() if not entry.is_dir()]
            refuse_bombs(path, archive.infolist())
            entries = [
                entry
                for entry in entries
                if not any(left_behind(part) for part in PurePosixPath(entry.filename).parts)
            ]
            folders = {PurePosixPath(entry.filename).parent for entry in entries}
            if len(folders) > 1:
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
                    _("%(path)s holds %(twice)s twice: leave one of them out.")
                    % {"path": path, "twice": twice}
                )
            for name, entry in sorted(zip(names, entries, strict=True)):
                yield name, archive.read(entry) if name in BY_FILE else None
    except (zipfile.BadZipFile, zlib.error, EOFError) as error:
        raise Unreadable(
            _("%(path)s is not a whole .zip archive (%(error)s): name the folder, or pack it again.")
            % {"path": path, "error": error}
        ) from error
    except (RuntimeError, NotImplementedError) as error:  # a password, or a packing that zipfile doesn't know
        raise Unreadable(
            _("%(path)s can't be unpacked (%(error)s): unpack it and name the folder.")
            % {"path": path, "error": error}
        ) from error
    except OSError as error:
        raise Unreadable(
            _("%(path)s can't be read: %(strerror)s.") % {"path": path, "strerror": error.strerror}
        ) from error


def refuse_bombs(path: Path, entries: list[zipfile.ZipInfo]) -> None:
    """An archive may not blow up when unpacked. `ZipFile.read` never gives more than the stated size."""
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


def read_sheet(table: Table, content: bytes) -> tuple[Sheet, list[BadRow]]:
    sheet = Sheet(table)
    problems: list[BadRow] = []
    text = decoded(table.file, content, problems)
    if problems and not text:
        return sheet, problems
    csv.field_size_limit(LONGEST_CELL)
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    rows: list[list[str]] = []
    header: list[str] = []
    try:
        header = next(reader, [])
        line, width = reader.line_num, len(header)
        for row in reader:
            start, line = line + 1, reader.line_num
            if len(row) == width:
                if any(row):
                    rows.append(row)
                    sheet.lines.append(start)
            elif any(row):
                reason = _(
                    "this row has %(count)s cells, the header has %(width)s: check commas and quotes."
                ) % {"count": len(row), "width": width}
                problems.append(BadRow(table.file, start, "", "", reason))
    except csv.Error as error:
        problems.append(BadRow(table.file, reader.line_num, "", "", broken_quotes(str(error))))
    across = list(zip(*rows, strict=True)) or [()] * len(header)
    named = [(name, cells) for name, cells in zip(header, across, strict=True) if name or any(cells)]
    problems.extend(header_problems(table, [name for name, _rest in named]))
    for name, cells in named:
        if name in table.by_name:
            sheet.columns.setdefault(name, cells)
    return sheet, problems


def broken_quotes(error: str) -> str:
    return _(
        'quotes can\'t be read from here on (%(error)s): within a quoted cell a quote is written twice, "".'
    ) % {"error": error}


def decoded(file: str, content: bytes, problems: list[BadRow]) -> str:
    """The text of a file in UTF-8, with or without its mark; broken places are named by their line."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        problems.append(BadRow(file, 0, "", "", _("this file is in UTF-16: save it as CSV in UTF-8.")))
        return ""
    if b"\0" in content:
        for number, line in enumerate(content.split(b"\n"), 1):
            if b"\0" in line:
                reason = _("a NUL byte stands in this line: take it out.")
                problems.append(BadRow(file, number, "", "", reason))
        content = content.replace(b"\0", b"")
    content = content.removeprefix(b"\xef\xbb\xbf")
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError:
        for number, line in enumerate(content.split(b"\n"), 1):
            try:
                line.decode("utf-8")
            except UnicodeDecodeError as error:
                reason = _("byte %(start)s of this line is not UTF-8: save the file as CSV in UTF-8.") % {
                    "start": error.start + 1
                }
                problems.append(BadRow(file, number, "", "", reason))
        return content.decode("utf-8", errors="replace")


def header_problems(table: Table, header: list[str]) -> Iterator[BadRow]:
    """What is wrong with the names of the columns. A spreadsheet's empty columns are left out before."""
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
