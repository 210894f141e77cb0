"""The `--as-of` option of commands."""

from __future__ import annotations

from datetime import date

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone

from wearlog.people.models import Mill

EARLIEST, LATEST = date(1900, 1, 1), date(2999, 12, 31)


def add_as_of(parser: CommandParser) -> None:
    parser.add_argument(
        "--as-of",
        metavar="DAY",
        help="day at whose end (24:00 in the mill's zone) the log is read, YYYY-MM-DD (default: today)",
    )


def parse_as_of(text: str | None) -> date:
    """The day given to `--as-of`; without one, today in the mill's zone. Raises CommandError with a hint."""
    if text is None:
        return timezone.now().astimezone(Mill.current().zone).date()  # the clock is read in commands only
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise CommandError(f"--as-of {text}: write a day of the calendar as YYYY-MM-DD.") from None
    if not EARLIEST <= day <= LATEST:
        raise CommandError(f"--as-of {text}: write a day from {EARLIEST} to {LATEST}, as YYYY-MM-DD.")
    return day
