"""What to order: by day, for parts of every kind, with what is on the shelf and on order counted first."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from math import log
from statistics import NormalDist

import pytest

from tests.mills.forecast_shop import Shop
from wearlog.compare.ledger import ledger
from wearlog.compare.shopping.files import as_csv
from wearlog.compare.shopping.lines import Reason, ShoppingList, ToOrder, Untold, shopping_list
from wearlog.compare.shopping.stock import Terms
from wearlog.equipment.models import PartOrder, PartType
from wearlog.forecasts.edges import Edges
from wearlog.forecasts.memory.queries import due_items
from wearlog.history import versions
from wearlog.history.record import load
from wearlog.people.models import Mill

AS_OF = date(2026, 12, 31)


@pytest.fixture
def shop(db: None) -> Shop:
    """A press that runs 10 h and 1 t each day of 2026, with a plan for as much in 2027."""
    shop = Shop()
    shop.runs("2026-01-01", 365, kg=1000)
    shop.plan("2027-01-01", "2027-12-31", 365_000)
    return shop


def found() -> ShoppingList:
    versions.touch()
    record = load(AS_OF)
    return shopping_list(record, Edges(record), ledger(), due_items(as_of=AS_OF), Mill.current())


def line_of(code: str) -> ToOrder:
    (line,) = (line for line in found().lines if line.type.code == code)
    return line


def barrels(shop: Shop, seats: int, **fields: object) -> PartType:
    kind = shop.type("barrel", "barrel", expected_life_h=8000.0, lead_time_days=56.0, **fields)
    for seat in range(seats):
        shop.fit(shop.part(f"B{seat}", kind), "2026-01-01 00:00", position=f"{seat} barrel")
    return kind


def lasting(hours: float, age: float) -> float:
    """The chance that a barrel of this age lasts so many hours more; lognormal about 8,000 h, spread 0.4."""
    life = NormalDist(0, 0.4)
    return (1 - life.cdf(log((age + hours) / 8000))) / (1 - life.cdf(log(age / 8000)))


def test_a_part_is_ordered_a_lead_time_before_one_in_ten_of_its_kind_is_worn(shop: Shop) -> None:
    barrels(shop, 1)
    line = line_of("barrel")
    assert (line.count, line.reason, [need.part.code for need in line.needs]) == (1, Reason.WEAR, ["B0"])
    # By the log: 3,650 h worked, 10 h a day to come. The plan's own spread makes the early day a little
    # earlier than the life alone would.
    hours = next(h for h in range(0, 9000, 10) if lasting(h, 3650) <= 0.9)
    alone = AS_OF + timedelta(days=hours // 10)
    assert line.needed_on is not None
    assert line.by == line.needed_on - timedelta(days=56)
    assert alone - timedelta(days=40) <= line.needed_on <= alone


def test_a_twin_needs_one_for_each_seat_and_a_spare_serves_whichever_wears_first(shop: Shop) -> None:
    kind = barrels(shop, 2)
    one = sum(line.count for line in found().lines if line.type.code == "barrel")
    assert one == 2
    shop.part("spare", kind)
    assert sum(line.count for line in found().lines if line.type.code == "barrel") == 1


def test_spares_that_are_to_be_kept_are_ordered_at_once_and_not_counted_for_wear(shop: Shop) -> None:
    shop.type("belt", "belt", min_spares=2, lead_time_days=7.0)
    line = line_of("belt")
    assert (line.count, line.by, line.needed_on, line.reason) == (2, AS_OF, None, Reason.SPARES)


def test_what_is_on_order_is_not_ordered_again(shop: Shop) -> None:
    belt = shop.type("belt", "belt", min_spares=2, lead_time_days=7.0)
    order = PartOrder.objects.create(ref="o", part_type=belt, count=2, ordered_on=AS_OF)
    assert [line for line in found().lines if line.type == belt] == []
    assert found().under_way == (order,)


def test_dies_are_ordered_for_the_day_by_which_those_at_hand_may_be_used_up(shop: Shop) -> None:
    die = shop.type(
        "D5", "die", size_mm=5.0, edges=2, expected_life_kg=20_000.0, lead_time_days=14.0, bar_mm=42.0,
        kerf_mm=3.0, unit_cost=58.0,
    )  # fmt: skip
    for number in range(5):
        shop.part(f"D5-{number}", die)
    line = line_of("D5")
    assert line.reason is Reason.SEASON
    # Ten edges of about 20 t at 1 t a day: 200 days at best guess, and earlier to be safe; the season began
    # on 1 January.
    assert line.needed_on is not None
    assert date(2027, 3, 15) < line.needed_on < date(2027, 7, 20)
    assert line.by == line.needed_on - timedelta(days=14)
    assert line.bar_mm == line.count * 45.0
    assert line.cost == line.count * 58.0


def test_a_bolder_owner_orders_later(shop: Shop) -> None:
    barrels(shop, 1)
    before = line_of("barrel").by
    Mill.objects.update(late_orders_pct=Decimal(30))
    after = line_of("barrel").by
    assert before is not None
    assert after is not None
    assert after > before


def test_types_of_which_nothing_tells_how_long_they_last_are_named(shop: Shop) -> None:
    shop.fit(shop.part("G", shop.type("gearbox", "gearbox")), "2026-01-01 00:00", position="gearbox")
    assert [(type_.code, why) for type_, why in found().untold] == [("gearbox", Untold.NO_LIFE)]


def test_without_a_lead_time_the_line_has_the_day_of_the_need_alone(shop: Shop) -> None:
    PartType.objects.filter(pk=barrels(shop, 1).pk).update(lead_time_days=None)
    line = line_of("barrel")
    assert line.by is None
    assert line.needed_on is not None


def test_the_length_of_bar_is_pieces_times_length_and_cut() -> None:
    assert Terms(bar_mm=42.0, kerf_mm=3.0).bar_for(6) == 270.0
    assert Terms().bar_for(6) is None


def test_a_file_holds_each_line_and_prices_for_those_who_may_see_them(shop: Shop) -> None:
    shop.type("=belt", "belt", min_spares=2, lead_time_days=7.0, unit_cost=34.0)
    header, line = as_csv(found(), currency="EUR").splitlines()
    assert dict(zip(header.split(","), line.split(","), strict=True)) == {
        "order_by": "2026-12-31", "part_type": "'=belt", "kind": "belt", "size_mm": "", "count": "2",
        "reason": "spares", "needed_on": "", "for_parts": "", "lead_time_days": "7.0", "bar_mm": "",
        "supplier": "", "on_shelf": "0", "unused_edges_on_shelf": "0", "on_order": "0", "unit_cost": "34.0",
        "cost": "68.0", "currency": "EUR",
    }  # fmt: skip
    assert "34" not in as_csv(found(), currency=None)


def test_no_part_that_is_at_work_is_needed_before_today(shop: Shop) -> None:
    """Each was to last 3,000 h and has done 3,650: by the forecast alone it would be needed in the past."""
    PartType.objects.filter(pk=barrels(shop, 3).pk).update(expected_life_h=3000)
    line = next(line for line in found().lines if line.type.code == "barrel")
    assert line.needed_on is not None
    assert AS_OF <= line.needed_on <= AS_OF + timedelta(days=30)
    assert line.by == line.needed_on - timedelta(days=56)
    assert line.is_late(AS_OF)
