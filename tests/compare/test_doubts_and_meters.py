"""What a meter says of days without a run, and of hours that nobody logged."""

from __future__ import annotations

from datetime import timedelta

import pytest

from tests.mills.forecast_shop import Shop, day
from wearlog.compare.doubts.looking import doubts
from wearlog.history.record import load
from wearlog.runs.models import Cause

pytestmark = pytest.mark.django_db
MONDAY, LAST = day("2026-03-02"), day("2026-06-30")
IDLE_DAY = MONDAY + timedelta(days=60)


def pressed(shop: Shop, *, press: str, without: bool = False) -> None:
    """Ten hours from 6:00 on each of 120 days; `without` the idle day."""
    for number in range(120):
        on = MONDAY + timedelta(days=number)
        if not (without and on == IDLE_DAY):
            shop.run(f"{on} 06:00", 10, (150, 154, 147, 151)[number % 4], press=press)


def read_weekly(shop: Shop, *, first: int = 0, more_h: float = 0.0) -> None:
    """A reading of P1 each seventh day before its run, with what the runs give. more_h: after ten weeks so
    much more."""
    for number in range(first, 120, 7):
        on = MONDAY + timedelta(days=number)
        idle = 1 if on > IDLE_DAY else 0
        shop.read(f"{on} 05:00", 500 + 10 * (number - idle) + (more_h if number >= 70 else 0.0))


def causes(shop: Shop) -> list[tuple[Cause, str]]:
    record = load(LAST)
    return [(each.cause, record.presses[each.press].code) for each in doubts(record)]


def test_a_day_without_a_run_is_asked_about_where_other_presses_ran(mill_of_two: Shop) -> None:
    assert causes(mill_of_two) == [(Cause.GAP, "P1")]


def test_where_the_meter_counted_what_the_runs_say_the_day_is_known_to_be_idle(mill_of_two: Shop) -> None:
    read_weekly(mill_of_two)
    assert causes(mill_of_two) == []


def test_that_holds_for_the_day_of_a_reading_itself(mill_of_two: Shop) -> None:
    assert (IDLE_DAY - MONDAY).days % 7 == 4
    read_weekly(mill_of_two, first=4)
    assert causes(mill_of_two) == []


def test_hours_that_nobody_logged_are_asked_about(mill_of_two: Shop) -> None:
    read_weekly(mill_of_two, more_h=12.0)
    assert causes(mill_of_two) == [(Cause.UNLOGGED, "P1")]


def test_a_reading_of_the_evening_under_the_time_of_the_morning_is_not_doubted(db: None) -> None:
    """The press begins on a day of a reading: as it stands the meter counted ten hours before the run."""
    shop = Shop()
    pressed(shop, press="P1")
    shop.read("2026-02-23 05:00", 500)
    for number in range(0, 120, 7):
        shop.read(f"{MONDAY + timedelta(days=number)} 05:00", 500 + 10 * (number + 1))
    assert causes(shop) == []


@pytest.fixture
def mill_of_two(db: None) -> Shop:
    shop = Shop()
    pressed(shop, press="P1", without=True)
    pressed(shop, press="P2")
    return shop
