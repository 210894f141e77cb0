"""What an import can say against a logbook."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from wearlog.people.refusals import Refused


@dataclass(frozen=True, order=True)
class BadRow:
    """One thing that is wrong in a file. Line 0 means the file as a whole; `column` may be empty then."""

    file: str
    line: int
    column: str
    value: str
    reason: str

    def __str__(self) -> str:
        where = f"{self.file}, line {self.line}" if self.line else self.file
        if self.column:
            where += f", column {self.column}"
            if self.value:
                where += f', value "{shortened(self.value)}"'
        elif self.value:
            where += f' "{shortened(self.value)}"'
        return on_one_line(f"{where}: {self.reason}")


@dataclass(frozen=True, order=True)
class Conflict:
    """A row whose key is stored already with other content. `column` is empty where the record was voided."""

    file: str
    line: int
    key: str
    column: str
    here: str
    there: str

    def __str__(self) -> str:
        where = f"{self.file}, line {self.line}, {self.key}"
        if not self.column:
            return on_one_line(f"{where}: this record was voided here.")
        here, there = (f'"{shortened(text)}"' if text else "nothing" for text in (self.here, self.there))
        said = f"{here} is stored here, the logbook has {there}."
        return on_one_line(f"{where}, column {self.column}: {said}")


def shortened(value: str, longest: int = 80) -> str:
    """A value on one line, cut where it is long."""
    line = on_one_line(value)
    return line if len(line) <= longest else f"{line[: longest - 1]}…"


def on_one_line(text: str) -> str:
    """Line breaks and what else doesn't print, spelled out."""
    return "".join(
        letter if letter.isprintable() else letter.encode("unicode_escape").decode() for letter in text
    )


class BadLogbook(Refused):
    """Rows that can't be taken. Nothing was stored."""

    def __init__(self, rows: Sequence[BadRow]) -> None:
        self.rows = tuple(rows)
        count = len(self.rows)
        listed = "\n".join(str(row) for row in self.rows)
        super().__init__(
            f"{listed}\n\n{count} {'thing is' if count == 1 else 'things are'} wrong in this logbook. "
            "Nothing was stored: put that right and import again."
        )


class Conflicting(Refused):
    """Keys that are stored already with other content. Nothing was stored."""

    def __init__(self, conflicts: Sequence[Conflict]) -> None:
        self.conflicts = tuple(conflicts)
        count = len(self.conflicts)
        listed = "\n".join(str(conflict) for conflict in self.conflicts)
        super().__init__(
            f"{listed}\n\n{count} {'conflict' if count == 1 else 'conflicts'} with what is stored here. "
            "Nothing was stored: import again with --on-conflict keep to leave what is here as it is, "
            "or with --on-conflict replace to take what the logbook says."
        )


class Unreadable(Refused):
    """A folder or archive that is no logbook, or that can't be read or written."""
