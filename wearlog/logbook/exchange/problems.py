"""The problems that an import can report."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from wearlog.people.refusals import Refused


@dataclass(frozen=True, order=True)
class BadRow:
    """One problem in a file. Line 0 means the whole file; then `column` may be empty."""

    file: str
    line: int
    column: str
    value: str
    reason: str

    def __str__(self) -> str:
        where = self.file
        if self.line:
            where += _(", line %(line)s") % {"line": self.line}
        if self.column:
            where += _(", column %(column)s") % {"column": self.column}
            if self.value:
                where += _(', value "%(value)s"') % {"value": shortened(self.value)}
        elif self.value:
            where += f' "{shortened(self.value)}"'
        return on_one_line(f"{where}: {self.reason}")


@dataclass(frozen=True, order=True)
class Conflict:
    """A row whose key is already stored with different values. `column` is empty where that record is
    voided."""

    file: str
    line: int
    key: str
    column: str
    here: str
    there: str

    def __str__(self) -> str:
        where = self.file + _(", line %(line)s") % {"line": self.line} + f", {self.key}"
        if not self.column:
            return on_one_line(f"{where}: " + _("this record was crossed out here."))
        here, there = (f'"{shortened(text)}"' if text else _("nothing") for text in (self.here, self.there))
        said = _("%(here)s is stored here, the logbook has %(there)s.") % {"here": here, "there": there}
        return on_one_line(where + _(", column %(column)s") % {"column": self.column} + f": {said}")


def shortened(value: str, longest: int = 80) -> str:
    """A value on one line, truncated to `longest` characters."""
    line = on_one_line(value)
    return line if len(line) <= longest else f"{line[: longest - 1]}…"


def on_one_line(text: str) -> str:
    """The text with line breaks and other unprintable characters escaped."""
    return "".join(
        letter if letter.isprintable() else letter.encode("unicode_escape").decode() for letter in text
    )


class BadLogbook(Refused):
    """Some rows are invalid. Nothing was stored."""

    def __init__(self, rows: Sequence[BadRow]) -> None:
        self.rows = tuple(rows)
        count = len(self.rows)
        listed = "\n".join(str(row) for row in self.rows)
        said = ngettext(
            "%(count)s thing is wrong in this logbook.",
            "%(count)s things are wrong in this logbook.",
            count,
        ) % {"count": count}
        again = _("Nothing was stored: put that right and import again.")
        super().__init__(f"{listed}\n\n{said} {again}")


class Conflicting(Refused):
    """Some keys are already stored with different values. Nothing was stored."""

    def __init__(self, conflicts: Sequence[Conflict]) -> None:
        self.conflicts = tuple(conflicts)
        count = len(self.conflicts)
        listed = "\n".join(str(conflict) for conflict in self.conflicts)
        said = ngettext(
            "%(count)s conflict with what is stored here.",
            "%(count)s conflicts with what is stored here.",
            count,
        ) % {"count": count}
        keep = _(
            "Nothing was stored: import again with --on-conflict keep to leave what is here as it is, "
            "or with --on-conflict replace to take what the logbook says."
        )
        super().__init__(f"{listed}\n\n{said} {keep}")


class Unreadable(Refused):
    """A folder or archive that is no logbook, or that can't be read or written."""
