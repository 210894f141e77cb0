"""Where the time axis of a chart has its ticks, and what stands there."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

from wearlog.history.record import Record
from wearlog.people.dates import written

BY_WEEK_UP_TO_D = 45
DAY_S = 86400.0


def ticks(record: Record, left: float, right: float) -> list[tuple[float, str]]:
    """The starts of the months between two instants, or of the weeks (from Monday) where these are at most 45
    days apart: each with its word."""
    by_week = right - left <= BY_WEEK_UP_TO_D * DAY_S
    first = record.day_of(left)
    days = _mondays(first) if by_week else _months(first)
    found = []
    for day in days:
        at = record.start_of(day)
        if at > right:
            break
        if at >= left:
            found.append((at, written(day, "j M" if by_week else "M")))
    return found


def _mondays(day: date) -> Iterator[date]:
    day -= timedelta(days=day.weekday())
    while True:
        yield day
        day += timedelta(days=7)


def _months(day: date) -> Iterator[date]:
    day = day.replace(day=1)
    while True:
        yield day
        day = (day + timedelta(days=31)).replace(day=1)
