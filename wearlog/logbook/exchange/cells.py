"""How a cell is read and written. Each Form is a pair of inverse functions: `read` returns the value that
`write` was given.

`read` gets a non-empty cell and raises `BadCell`, whose text says what to do;
an empty cell has the value `empty`.
"""

from __future__ import annotations

import re
from abc import ABC, abstractmethod
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, tzinfo
from decimal import Decimal
from typing import TYPE_CHECKING, ClassVar, TypeVar

from django.utils.translation import gettext as _

from wearlog.people.fields import MOST, Limits, plain
from wearlog.people.spreadsheets import guarded, unguarded

if TYPE_CHECKING:
    from wearlog.people.fields import Words

Moment = TypeVar("Moment", bound=date)

FIRST_YEAR, LAST_YEAR = 1900, 2199
STORABLE = Limits.of(-MOST, MOST)

NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)")
DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
INSTANT = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]{1,6})?)?"
    r"(?:Z|[+-][0-9]{2}(?::?[0-9]{2}(?::?[0-9]{2})?)?)?"
)


class BadCell(ValueError):
    """A cell that can't be read; its text is the reason."""


class Form(ABC):
    """The text format of a column's cells; `kind` is the type of the values that `read` returns."""

    kind: ClassVar[type[object]]
    empty: ClassVar[object] = None

    @abstractmethod
    def read(self, cell: str, zone: tzinfo) -> object:
        """The value of a non-empty cell. `zone` is the mill's time zone. Raises BadCell."""

    @abstractmethod
    def write(self, value: object, zone: tzinfo) -> str:
        """The text of the cell for a value."""


@dataclass(frozen=True)
class Text(Form):
    """Any text. What a spreadsheet would run as a formula gets one `'` in front."""

    kind: ClassVar[type[object]] = str
    empty: ClassVar[object] = ""

    def read(self, cell: str, zone: tzinfo) -> str:
        return unguarded(cell)

    def write(self, value: object, zone: tzinfo) -> str:
        return guarded(str(value))


@dataclass(frozen=True)
class Tags(Text):
    """Words separated by spaces; `known` lists the allowed ones, if the format restricts them."""

    known: tuple[str, ...] = ()

    def read(self, cell: str, zone: tzinfo) -> str:
        tags = super().read(cell, zone).split()
        unknown = [tag for tag in tags if self.known and tag not in self.known]
        if unknown:
            raise BadCell(
                _('"%(unknown)s" is not known; known are %(known)s')
                % {"unknown": unknown[0], "known": listed(self.known)}
            )
        return " ".join(tags)


@dataclass(frozen=True)
class Code(Form):
    """One of the words that the format allows."""

    known: tuple[str, ...]
    kind: ClassVar[type[object]] = str
    empty: ClassVar[object] = ""

    def read(self, cell: str, zone: tzinfo) -> str:
        if cell not in self.known:
            raise BadCell(_("write one of %(known)s") % {"known": listed(self.known)})
        return cell

    def write(self, value: object, zone: tzinfo) -> str:
        return str(value)


@dataclass(frozen=True)
class YesNo(Form):
    kind: ClassVar[type[object]] = bool
    empty: ClassVar[object] = False

    def read(self, cell: str, zone: tzinfo) -> bool:
        if cell != "yes":
            raise BadCell(_("write yes or leave the cell empty"))
        return True

    def write(self, value: object, zone: tzinfo) -> str:
        return "yes" if value else ""


@dataclass(frozen=True)
class Number(Form):
    """A decimal with at most six decimals, within the limits."""

    limits: Limits = STORABLE
    unit: Words = ""
    kind: ClassVar[type[object]] = Decimal

    def read(self, cell: str, zone: tzinfo) -> Decimal:
        if not NUMBER.fullmatch(cell):
            if "," in cell:
                raise BadCell(_("write a plain number with a decimal point, as in 1234.5, and no comma"))
            raise BadCell(_("write a plain number with a decimal point, as in 1234.5"))
        if len(cell.partition(".")[2]) > 6:
            raise BadCell(_("write at most 6 decimals"))
        number = Decimal(cell)
        if not self.limits.hold(number):
            raise BadCell(self.limits.refusal(self.unit).removesuffix("."))
        return number or Decimal(0)  # zero without a minus sign

    def write(self, value: object, zone: tzinfo) -> str:
        if value is None:
            return ""
        text = f"{value:f}"
        if "." in text:
            text = text.rstrip("0").rstrip(".")
        return "0" if text == "-0" else text


@dataclass(frozen=True)
class WholeNumber(Form):
    limits: Limits
    kind: ClassVar[type[object]] = int

    def read(self, cell: str, zone: tzinfo) -> int:
        if not (cell.isascii() and cell.isdigit() and len(cell) <= 10) or not self.limits.hold(int(cell)):
            raise BadCell(
                _("write a whole number from %(least)s to %(most)s")
                % {"least": plain(self.limits.least), "most": plain(self.limits.most)}
            )
        return int(cell)

    def write(self, value: object, zone: tzinfo) -> str:
        return "" if value is None else str(value)


@dataclass(frozen=True)
class Day(Form):
    kind: ClassVar[type[object]] = date

    def read(self, cell: str, zone: tzinfo) -> date:
        if not DAY.fullmatch(cell):
            raise BadCell(_("write the day as YYYY-MM-DD, as in 2026-03-01"))
        try:
            day = date.fromisoformat(cell)
        except ValueError as error:
            raise BadCell(_("there is no such day")) from error
        return with_likely_year(day)

    def write(self, value: object, zone: tzinfo) -> str:
        return value.isoformat() if isinstance(value, date) else ""


@dataclass(frozen=True)
class Instant(Form):
    """An instant, stored in UTC. Without an offset it is the mill's local time: a time skipped by the change
    to summer time gets the offset before the change, a time that occurs twice in autumn is the first one."""

    kind: ClassVar[type[object]] = datetime

    def read(self, cell: str, zone: tzinfo) -> datetime:
        if not INSTANT.fullmatch(cell):
            raise BadCell(_("write the time as in 2026-03-01T06:30:00+01:00"))
        try:
            moment = datetime.fromisoformat(cell)
        except ValueError as error:
            raise BadCell(_("there is no such time")) from error
        with_likely_year(moment)
        # fold is 0 here: the offset before a gap, and the first occurrence of an ambiguous time.
        return (moment if moment.tzinfo else moment.replace(tzinfo=zone)).astimezone(UTC)

    def write(self, value: object, zone: tzinfo) -> str:
        if not isinstance(value, datetime):
            return ""
        local = value.astimezone(zone)
        if not local.microsecond:
            return local.isoformat()
        text = local.isoformat()
        return text[:19] + f".{local.microsecond:06}".rstrip("0") + text[26:]


def with_likely_year(moment: Moment) -> Moment:
    if not FIRST_YEAR <= moment.year <= LAST_YEAR:
        raise BadCell(
            _("the year must lie between %(first_year)s and %(last_year)s")
            % {"first_year": FIRST_YEAR, "last_year": LAST_YEAR}
        )
    return moment


def listed(words: Iterable[str]) -> str:
    *most, last = words
    return _("%(names)s or %(last)s") % {"names": ", ".join(most), "last": last} if most else last
