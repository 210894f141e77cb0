"""A person's local hours as instants: when a mail may be sent, and when lists are.

Pure over a wish and a zone. A local time that does not exist takes the offset before the gap, one that comes
twice takes the first (RFC 5545, 3.3.5): that is what `fold=0` of an aware datetime means (PEP 495).
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from wearlog.reminders.models import ReminderWish, Rhythm

DAY = timedelta(days=1)
LOOK_AHEAD_DAYS = 16
"""How far ahead to look for a slot: two weeks, so that each weekday occurs twice, as a time zone may skip a
day."""


def instant_of(day: date, at: time, zone: ZoneInfo, *, second: bool = False) -> datetime:
    """The instant of a local day and time, in UTC; `second` for the later one of a time that comes twice."""
    return datetime.combine(day, at, tzinfo=zone).replace(fold=int(second)).astimezone(UTC)


def is_there(day: date, zone: ZoneInfo) -> bool:
    """Whether the day exists in the zone; one that moved across the date line skipped a day."""
    return instant_of(day, time(), zone) < instant_of(day + DAY, time(), zone)


def is_quiet(wish: ReminderWish, at: time) -> bool:
    """Whether a local time lies in the quiet hours, whose end is excluded."""
    if wish.quiet_from is None or wish.quiet_until is None:
        return False
    if wish.quiet_from <= wish.quiet_until:
        return wish.quiet_from <= at < wish.quiet_until
    return at >= wish.quiet_from or at < wish.quiet_until


def may_leave(wish: ReminderWish, zone: ZoneInfo, at: datetime) -> bool:
    """Whether a mail may be sent to this person at that instant, by weekday, hour and quiet hours."""
    local = at.astimezone(zone)
    return (
        str(local.isoweekday()) in wish.weekdays
        and local.time() >= wish.from_time
        and not is_quiet(wish, local.time())
    )


def next_slot(wish: ReminderWish, zone: ZoneInfo, at: datetime) -> datetime:
    """The first instant from `at` on at which a mail may be sent; `at` itself where the wish allows none,
    since a reminder that is never sent is worse than one at a bad hour."""
    if may_leave(wish, zone, at):
        return at
    today = at.astimezone(zone).date()
    for ahead in range(LOOK_AHEAD_DAYS):
        starts = (wish.from_time, wish.quiet_until or wish.from_time)
        instants = sorted(
            instant_of(today + ahead * DAY, start, zone, second=second)
            for start in starts
            for second in (False, True)
        )
        for instant in instants:
            if instant > at and may_leave(wish, zone, instant):
                return instant
    return at


def list_days(wish: ReminderWish) -> str:
    """The weekdays of the person's list. A person who gets single mails has a weekly list of long overdue
    tasks."""
    return wish.weekdays if wish.rhythm == Rhythm.DAILY else min(wish.weekdays)


def firings(
    wish: ReminderWish, zone: ZoneInfo, *, after: datetime, until: datetime
) -> Iterator[tuple[date, datetime]]:
    """The local days and instants of the person's lists in (after, until], in order: one for each of the
    list's days that the zone has."""
    day = after.astimezone(zone).date() - DAY  # a time in a gap before midnight may fall on the next day
    last = until.astimezone(zone).date()
    while day <= last:
        instant = instant_of(day, wish.from_time, zone)
        if after < instant <= until and str(day.isoweekday()) in list_days(wish) and is_there(day, zone):
            yield day, instant
        day += DAY


def period_of(wish: ReminderWish, day: date) -> str:
    """The name of the list's period, a day or a week: `2026-05-02`, `2026-W18`."""
    if wish.rhythm == Rhythm.DAILY:
        return day.isoformat()
    year, week, _weekday = day.isocalendar()
    return f"{year}-W{week:02}"
