"""Whether a press can take what is planned, against sums made by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from tests.mills.forecast_shop import Shop, day
from wearlog.compare.capacity import Load, load_of
from wearlog.history.record import Record, load
from wearlog.runs.models import PlanEntry

pytestmark = pytest.mark.django_db
TODAY = day("2026-03-31")


def plan(shop: Shop, crop: str, start: str, end: str, kg: int, press: str = "P1") -> None:
    PlanEntry.objects.create(
        press=shop.press(press), crop=shop.crop(crop), start_on=day(start), end_on=day(end), seed_kg=kg
    )


def planned(record: Record, crop: str) -> Load:
    row = next(each for each in record.plan if record.crops[each.crop] == crop)
    return load_of(record, record.plan, row)


@pytest.fixture
def shop() -> Shop:
    """Three runs of ten hours at 14, 15 and 16 kg/h, on three days."""
    made = Shop()
    for number, kg in enumerate((140, 150, 160)):
        made.run(f"2026-03-{number + 10} 06:00", 10, kg)
    return made


def test_hours_are_seed_over_the_median_pace_and_spread_over_the_days(shop: Shop) -> None:
    plan(shop, "rapeseed", "2026-04-01", "2026-04-10", 1500)
    found = planned(load(TODAY), "rapeseed")
    assert found.pace == pytest.approx(15.0)
    assert found.hours == pytest.approx(100.0)
    assert found.per_day == pytest.approx(10.0)
    assert found.usual_per_day == pytest.approx(10.0)
    assert (found.impossible, found.more_than_usual) == (False, False)
    assert found.slow == pytest.approx(14.2)  # a tenth of the way, linear between 14 and 15
    assert found.fast == pytest.approx(15.8)


def test_two_campaigns_of_one_press_add_up_where_they_meet(shop: Shop) -> None:
    for number in range(3):
        shop.run(f"2026-03-{number + 20} 06:00", 10, 100, crop="flax")
    plan(shop, "rapeseed", "2026-04-01", "2026-04-10", 1500)
    plan(shop, "flax", "2026-04-10", "2026-04-14", 800)  # 80 h in five days: 16 h a day
    record = load(TODAY)
    assert planned(record, "rapeseed").per_day == pytest.approx(10.0 + 16.0)
    assert planned(record, "rapeseed").impossible
    assert planned(record, "flax").per_day == pytest.approx(26.0)


def test_the_same_seed_in_half_the_time_is_more_than_usual(shop: Shop) -> None:
    plan(shop, "rapeseed", "2026-04-01", "2026-04-05", 1500)
    found = planned(load(TODAY), "rapeseed")
    assert found.per_day == pytest.approx(20.0)
    assert found.more_than_usual
    assert not found.impossible


def test_of_a_crop_that_it_hardly_pressed_nothing_is_said(shop: Shop) -> None:
    shop.run("2026-03-20 06:00", 10, 100, crop="flax")
    plan(shop, "flax", "2026-04-01", "2026-04-05", 500)
    found = planned(load(TODAY), "flax")
    assert (found.pace, found.hours, found.per_day) == (None, None, None)


def test_a_mistyped_run_does_not_count(shop: Shop) -> None:
    for number in range(4):
        shop.run(f"2026-03-{number + 14} 06:00", 10, 150)
    shop.run("2026-03-25 06:00", 10, 150_000)
    plan(shop, "rapeseed", "2026-04-01", "2026-04-10", 1500)
    assert planned(load(TODAY), "rapeseed").pace == pytest.approx(15.0)


def test_a_campaign_under_way_is_looked_at_from_today_on(shop: Shop) -> None:
    plan(shop, "rapeseed", "2026-03-01", "2026-04-09", 1500)
    record = load(TODAY)
    (row,) = record.plan
    assert load_of(record, record.plan, row).per_day == pytest.approx(100.0 / 40)
    over = replace(row, end_on=date(2026, 3, 20))
    assert load_of(record, [over], over).per_day is None
