"""F7: a person's local hour as an instant, over every change of the clocks."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.dates import at
from wearlog.reminders.hours import firings, instant_of, is_there, may_leave, next_slot, period_of
from wearlog.reminders.models import ReminderWish, Rhythm

VIENNA = ZoneInfo("Europe/Vienna")
DAY = timedelta(days=1)
MINUTE = timedelta(minutes=1)


def wish(**changed: object) -> ReminderWish:
    return ReminderWish(**changed)


def daily(hour: time) -> ReminderWish:
    return wish(rhythm=Rhythm.DAILY, from_time=hour, quiet_from=None, quiet_until=None)


# -------- one instant


@pytest.mark.parametrize(
    ("zone", "day", "clock", "instant"),
    [
        # Rules of the zones by the tz database; the days are checked by the offsets of the neighbours below.
        ("Europe/Vienna", date(2026, 3, 28), "02:30", "2026-03-28 01:30"),
        ("Europe/Vienna", date(2026, 3, 29), "02:30", "2026-03-29 01:30"),  # skipped: the clock shows 03:30
        ("Europe/Vienna", date(2026, 3, 30), "02:30", "2026-03-30 00:30"),
        ("Europe/Vienna", date(2026, 10, 25), "02:30", "2026-10-25 00:30"),  # twice: the first
        ("Europe/Vienna", date(2026, 10, 25), "03:00", "2026-10-25 02:00"),
        ("America/New_York", date(2026, 3, 8), "02:30", "2026-03-08 07:30"),
        ("America/New_York", date(2026, 11, 1), "01:30", "2026-11-01 05:30"),
        ("Australia/Lord_Howe", date(2026, 10, 4), "02:15", "2026-10-03 15:45"),  # half an hour is skipped
        ("Australia/Lord_Howe", date(2026, 4, 5), "01:45", "2026-04-04 14:45"),
        ("America/Santiago", date(2025, 9, 7), "00:30", "2025-09-07 04:30"),  # midnight is skipped
    ],
)
def test_a_time_that_is_skipped_takes_the_offset_before_and_one_that_comes_twice_the_first(
    zone: str, day: date, clock: str, instant: str
) -> None:
    """RFC 5545, 3.3.5."""
    assert instant_of(day, time.fromisoformat(clock), ZoneInfo(zone)) == at(instant)


def test_a_day_that_a_zone_left_out_is_not_there() -> None:
    """Samoa went from 29 to 31 December 2011."""
    apia = ZoneInfo("Pacific/Apia")
    assert [is_there(date(2011, 12, day), apia) for day in (29, 30, 31)] == [True, False, True]


# -------- one firing a day


ZONES = [
    "Europe/Vienna", "Europe/London", "America/New_York", "America/Santiago", "America/Nuuk",
    "Africa/Casablanca", "Asia/Beirut", "Asia/Tehran", "Asia/Kolkata", "Australia/Lord_Howe",
    "Pacific/Chatham", "Pacific/Apia",
]  # fmt: skip
YEARS = (2016, 2026)


def changes(zone: ZoneInfo) -> Iterator[datetime]:
    """The hours (UTC) within which the zone's offset changes, in ten years."""
    hour = datetime(YEARS[0], 1, 1, tzinfo=UTC)
    while hour.year < YEARS[1]:
        tomorrow = hour + DAY
        if hour.astimezone(zone).utcoffset() != tomorrow.astimezone(zone).utcoffset():
            while (
                hour.astimezone(zone).utcoffset() == (hour + timedelta(hours=1)).astimezone(zone).utcoffset()
            ):
                hour += timedelta(hours=1)
            yield hour
        hour = tomorrow


def test_the_changes_are_found() -> None:
    """Two a year in Vienna, none in Kolkata."""
    assert len(list(changes(VIENNA))) == 20
    assert list(changes(ZoneInfo("Asia/Kolkata"))) == []


def fired(zone: ZoneInfo, hour: time, begin: datetime, end: datetime, step: timedelta) -> list[date]:
    """The days for which a scan every `step` finds that the hour has come."""
    found, last = [], begin
    while last < end:
        found += [day for day, _ in firings(daily(hour), zone, after=last, until=last + step)]
        last += step
    return found


@pytest.mark.parametrize("name", ZONES)
def test_there_is_exactly_one_firing_for_each_local_day_over_every_change_in_ten_years(name: str) -> None:
    zone = ZoneInfo(name)
    windows = [(change - 2 * DAY, change + 2 * DAY) for change in changes(zone)]
    windows += [(datetime(2020, 2, 27, tzinfo=UTC), datetime(2020, 3, 2, tzinfo=UTC))]
    for begin, end in windows:
        around = begin.astimezone(zone).date()
        for hour in (time(0, 0), time(0, 30), time(2, 0), time(2, 30), time(6, 0), time(23, 30)):
            days = fired(zone, hour, begin, end, timedelta(minutes=37))
            assert len(days) == len(set(days))
            inside = [around + n * DAY for n in range(1, 4)]
            assert set(inside) <= set(days), (name, hour, begin)


@pytest.mark.parametrize("name", [*ZONES, "Pacific/Kiritimati"])
def test_ten_years_have_as_many_firings_as_days_however_the_scans_fall(name: str) -> None:
    """3,653 days from 2016 to 2025, with the leap days of 2016, 2020 and 2024."""
    zone = ZoneInfo(name)
    begin = instant_of(date(2016, 1, 1), time(), zone) - MINUTE
    end = instant_of(date(2026, 1, 1), time(), zone) - MINUTE
    days = fired(zone, time(2, 30), begin, end, timedelta(hours=7, minutes=13))
    assert [day for day in days if day.year < 2026] == [date(2016, 1, 1) + n * DAY for n in range(3653)]


def test_a_left_out_day_has_no_firing() -> None:
    apia = ZoneInfo("Pacific/Apia")
    days = fired(apia, time(6), at("2011-12-28 12:00"), at("2012-01-01 12:00"), timedelta(minutes=10))
    assert days == [date(2011, 12, 28), date(2011, 12, 29), date(2011, 12, 31), date(2012, 1, 1)]


def test_scans_that_were_missed_leave_no_day_out_and_repeat_none() -> None:
    days = [
        day
        for day, _ in firings(
            daily(time(6)), VIENNA, after=at("2026-03-20 12:00"), until=at("2026-03-30 12:00")
        )
    ]
    assert days == [date(2026, 3, 21) + n * DAY for n in range(10)]


@pytest.mark.parametrize(
    ("rhythm", "weekdays", "days", "period"),
    [
        (Rhythm.DAILY, "135", [1, 3, 6, 8, 10, 13], "2026-04-13"),  # April 2026: the 1st is a Wednesday
        (Rhythm.WEEKLY, "35", [1, 8], "2026-W15"),
        (Rhythm.SINGLE, "1234567", [6, 13], "2026-W16"),  # the list of what is long overdue, on Mondays
    ],
)
def test_lists_come_on_the_days_that_were_chosen(
    rhythm: str, weekdays: str, days: list[int], period: str
) -> None:
    chosen = wish(rhythm=rhythm, weekdays=weekdays)
    found = list(firings(chosen, VIENNA, after=at("2026-03-31 12:00"), until=at("2026-04-13 12:00")))
    assert [day.day for day, _ in found] == days
    assert {instant.astimezone(VIENNA).time() for _, instant in found} == {time(6)}
    assert period_of(chosen, found[-1][0]) == period


# -------- when a mail may leave


@pytest.mark.parametrize(
    ("local", "leaves"),
    [
        ("2026-04-01 06:00", "2026-04-01 06:00"),
        ("2026-04-01 19:59", "2026-04-01 19:59"),
        ("2026-04-01 20:00", "2026-04-02 06:00"),
        ("2026-04-01 00:00", "2026-04-01 06:00"),
        ("2026-04-01 05:59", "2026-04-01 06:00"),
    ],
)
def test_by_default_mail_leaves_between_six_and_eight_in_the_evening(local: str, leaves: str) -> None:
    asked = datetime.fromisoformat(local).replace(tzinfo=VIENNA)
    assert next_slot(wish(), VIENNA, asked) == datetime.fromisoformat(leaves).replace(tzinfo=VIENNA)


def test_quiet_hours_over_noon_and_days_off_are_kept() -> None:
    chosen = wish(from_time=time(7), quiet_from=time(12), quiet_until=time(13, 30), weekdays="14")
    for local, leaves in (
        ("2026-04-02 12:10", "2026-04-02 13:30"),  # a Thursday
        ("2026-04-02 23:00", "2026-04-02 23:00"),
        ("2026-04-03 09:00", "2026-04-06 07:00"),  # to the Monday
        ("2026-04-06 06:59", "2026-04-06 07:00"),
    ):
        asked = datetime.fromisoformat(local).replace(tzinfo=VIENNA)
        assert next_slot(chosen, VIENNA, asked) == datetime.fromisoformat(leaves).replace(tzinfo=VIENNA)


times = st.builds(time, st.integers(0, 23), st.sampled_from([0, 15, 30, 45]))
quiet = st.one_of(st.just((None, None)), st.tuples(times, times).filter(lambda pair: pair[0] != pair[1]))


@settings(max_examples=150)
@given(
    name=st.sampled_from(ZONES),
    quarters=st.integers(0, 347_000),  # of an hour since 2016, to 2025
    hour=times,
    pause=quiet,
    weekdays=st.sets(st.sampled_from("1234567"), min_size=1),
)
def test_the_slot_is_the_first_quarter_of_an_hour_at_which_mail_may_leave(
    name: str, quarters: int, hour: time, pause: tuple[time | None, time | None], weekdays: set[str]
) -> None:
    zone = ZoneInfo(name)
    chosen = wish(
        from_time=hour, quiet_from=pause[0], quiet_until=pause[1], weekdays="".join(sorted(weekdays))
    )
    begin = datetime(2016, 1, 1, tzinfo=UTC) + quarters * timedelta(minutes=15)
    slot = next_slot(chosen, zone, begin)
    assert slot >= begin
    quarter, tried = begin, 0
    while not may_leave(chosen, zone, quarter) and tried < 15 * 96:
        quarter += timedelta(minutes=15)
        tried += 1
    if tried == 15 * 96:
        assert slot == begin, "where a wish forbids every hour, the mail leaves all the same"
    else:
        assert slot == quarter
