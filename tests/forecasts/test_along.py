"""An edge against its seed: points, gauges, crops, times off and the limit, from log to numbers."""

from __future__ import annotations

from datetime import date

import pytest

from tests.mills.forecast_shop import Shop, day
from wearlog.equipment.models import Part
from wearlog.forecasts.along import WearAlong, wear_along
from wearlog.forecasts.edges import Edges
from wearlog.forecasts.outlook import Outlook
from wearlog.history.record import load


@pytest.fixture
def shop(db: None) -> Shop:
    return Shop()


@pytest.fixture
def die(shop: Shop) -> Part:
    kind = shop.type("die-6", "die", edges=2, new_mm=6.0, limit_mm=6.4, expected_life_kg=20_000)
    return shop.part("D6-11", kind)


def shown(part: Part, edge: str = "A", at: str = "2026-10-31") -> WearAlong:
    record = load(day(at))
    found = wear_along(Edges(record), Outlook(record), part.pk, edge)
    assert found is not None
    return found


def test_the_line_so_far_ends_at_the_seed_of_today_and_the_one_ahead_begins_there(
    shop: Shop, die: Part
) -> None:
    shop.fit(die, "2026-09-01", edge="A", position="die")
    shop.runs("2026-09-01", 20, kg=500)  # 10 t
    shop.gauge("2026-09-10 20:00", die, 6.1, edge="A")
    shop.gauge("2026-09-20 20:00", die, 6.2, edge="A")
    found = shown(die)
    assert found.now_kg == pytest.approx(10_000)
    assert found.so_far[0].seed_kg == 0
    assert found.so_far[0].mid_mm == pytest.approx(6.0)
    assert found.so_far[-1].seed_kg == found.ahead[0].seed_kg == pytest.approx(10_000)
    assert found.so_far[-1].mid_mm == pytest.approx(6.2, abs=0.02)
    # 0.4 mm at 0.02 mm a tonne
    assert found.limit is not None
    assert found.limit.mid_kg == pytest.approx(20_000, rel=0.1)
    assert found.limit.high_kg is not None
    assert found.limit.low_kg < found.limit.mid_kg < found.limit.high_kg
    assert not found.passed
    # The line drawn crosses the limit where the words say.
    after = next(point for point in found.ahead if point.mid_mm >= 6.4)
    before = found.ahead[found.ahead.index(after) - 1]
    assert before.seed_kg <= found.limit.mid_kg <= after.seed_kg


def test_a_gauge_stands_at_the_seed_that_the_edge_had_taken_by_then(shop: Shop, die: Part) -> None:
    shop.fit(die, "2026-09-01", edge="A", position="die")
    shop.runs("2026-09-01", 20, kg=500)
    shop.gauge("2026-09-10 20:00", die, 6.1, edge="A")  # after ten runs
    shop.gauge("2026-09-20 20:00", die, 6.2, edge="A")
    gauges = shown(die).gauges
    assert [(gauge.seed_kg, gauge.value_mm) for gauge in gauges] == [
        (pytest.approx(5_000), 6.1),
        (pytest.approx(10_000), 6.2),
    ]
    assert [gauge.mid_mm for gauge in gauges] == [pytest.approx(6.1, abs=0.02), pytest.approx(6.2, abs=0.02)]
    assert not any(gauge.counts_little or gauge.beside for gauge in gauges)


def test_a_slip_counts_little_and_of_places_gauged_together_the_most_worn_counts(
    shop: Shop, die: Part
) -> None:
    shop.fit(die, "2026-09-01", edge="A", position="die")
    shop.runs("2026-09-01", 20, kg=500)
    for number in range(1, 11):
        shop.gauge(f"2026-09-{2 * number:02d} 20:00", die, 6.0 + 0.02 * number, edge="A")
    shop.gauge("2026-09-11 20:00", die, 6.36, edge="A")  # a quarter of a millimetre off
    shop.gauge("2026-09-20 20:00", die, 6.17, edge="A")
    gauges = shown(die).gauges
    assert [gauge.value_mm for gauge in gauges if gauge.counts_little] == [6.36]
    assert [gauge.value_mm for gauge in gauges if gauge.beside] == [6.17]


def test_crops_stand_in_the_order_in_which_they_were_pressed(shop: Shop, die: Part) -> None:
    shop.fit(die, "2026-09-01", edge="A", position="die")
    shop.runs("2026-09-01", 4, kg=500)
    shop.runs("2026-09-05", 6, kg=400, crop="sunflower")
    shop.runs("2026-09-11", 2, kg=500)
    assert [(one.crop, round(one.from_kg), round(one.to_kg)) for one in shown(die).stretches] == [
        ("rapeseed", 0, 2000),
        ("sunflower", 2000, 4400),
        ("rapeseed", 4400, 5400),
    ]


def test_a_long_log_gives_a_line_of_few_points_with_all_its_seed_and_every_change_of_crop(
    shop: Shop, die: Part
) -> None:
    shop.fit(die, "2024-01-01", edge="A", position="die")
    shop.runs("2024-01-01", 450, kg=10)
    shop.runs("2025-03-26", 450, kg=12, crop="sunflower")
    found = shown(die)
    assert len(found.so_far) <= 60
    assert found.so_far[-1].seed_kg == pytest.approx(9_900)
    assert [(one.crop, round(one.to_kg)) for one in found.stretches] == [
        ("rapeseed", 4500),
        ("sunflower", 9900),
    ]


def test_seed_from_before_the_log_has_no_crop(shop: Shop, die: Part) -> None:
    Part.objects.filter(pk=die.pk).update(used_kg=3000)
    shop.fit(die, "2026-09-01", edge="A", position="die")
    shop.runs("2026-09-01", 4, kg=500)
    found = shown(die)
    assert [(one.crop, round(one.from_kg), round(one.to_kg)) for one in found.stretches] == [
        ("", 0, 3000),
        ("rapeseed", 3000, 5000),
    ]


def test_a_time_on_the_other_edge_is_marked_where_it_began_and_a_swap_within_a_day_is_not(
    shop: Shop, die: Part
) -> None:
    shop.fit(die, "2026-09-01", "2026-09-05 00:00", edge="A", position="die")
    shop.fit(die, "2026-09-05 01:00", "2026-09-11 00:00", edge="B", position="die")
    shop.fit(die, "2026-09-11 01:00", "2026-09-13 00:00", edge="A", position="die")
    shop.fit(die, "2026-09-13 02:00", edge="A", position="die")
    shop.runs("2026-09-01", 20, kg=500)
    found = shown(die)
    assert [(one.on, one.seed_kg, one.to_edge, one.back_on) for one in found.turnings] == [
        (date(2026, 9, 5), pytest.approx(2000), "B", date(2026, 9, 11))
    ]
    assert found.in_place
    other = shown(die, "B")
    assert not other.in_place
    assert [(one.to_edge, one.back_on) for one in other.turnings] == [("A", None)]


def test_a_polish_is_marked_and_lifts_the_line_on_the_spot(shop: Shop) -> None:
    screw = shop.part("S-1", shop.type("screw", "screw", new_mm=60.0, limit_mm=59.0, expected_life_kg=40_000))
    shop.fit(screw, "2026-09-01")
    shop.runs("2026-09-01", 20, kg=500)
    shop.gauge("2026-09-05 20:00", screw, 59.95)
    polish = shop.serve("2026-09-10 20:00", "polish", part=screw)
    shop.gauge("2026-09-10 19:00", screw, 59.88, service=polish, phase="before")
    shop.gauge("2026-09-10 21:00", screw, 59.68, service=polish, phase="after")
    shop.gauge("2026-09-20 20:00", screw, 59.55)
    found = shown(screw, "")
    assert [(one.action, one.seed_kg) for one in found.turnings] == [("polish", pytest.approx(5000))]
    at = [point.mid_mm for point in found.so_far if point.seed_kg == pytest.approx(5000)]
    assert at[0] - at[-1] == pytest.approx(0.2, abs=0.04)
    before, after = found.gauges[1], found.gauges[2]
    assert before.mid_mm == pytest.approx(59.88, abs=0.03)
    assert after.mid_mm == pytest.approx(59.68, abs=0.03)


def test_a_limit_behind_the_edge_has_no_line_ahead(shop: Shop, die: Part) -> None:
    shop.fit(die, "2026-09-01", edge="A", position="die")
    shop.runs("2026-09-01", 20, kg=500)
    for on, value in (("04", 6.1), ("08", 6.2), ("12", 6.3), ("20", 6.5)):
        shop.gauge(f"2026-09-{on} 20:00", die, value, edge="A")
    found = shown(die)
    assert found.passed
    assert found.ahead == ()
    # 0.05 mm a tonne: 8 t
    assert found.limit is not None
    assert found.limit.mid_kg == pytest.approx(8_000, rel=0.1)
    assert found.limit.low_kg <= found.limit.mid_kg <= (found.limit.high_kg or 0)


def test_an_edge_not_used_yet_begins_new(shop: Shop, die: Part) -> None:
    shop.fit(die, "2026-09-01", edge="A", position="die")
    shop.runs("2026-09-01", 4, kg=500)
    found = shown(die, "B")
    assert (found.used, found.now_kg, found.stretches, found.gauges) == (False, 0, (), ())
    assert found.ahead[0].mid_mm == pytest.approx(6.0)
    assert found.limit is not None
    assert found.limit.mid_kg == pytest.approx(20_000, rel=0.15)


def test_after_a_rebuilding_it_is_counted_from_there(shop: Shop, die: Part) -> None:
    shop.fit(die, "2026-09-01", edge="A", position="die")
    shop.runs("2026-09-01", 20, kg=500)
    shop.gauge("2026-09-05 20:00", die, 6.1, edge="A")
    shop.serve("2026-09-08 00:00", "rebuild", part=die, edge="A")
    shop.gauge("2026-09-12 20:00", die, 6.08, edge="A")
    found = shown(die)
    assert found.since == date(2026, 9, 8)
    assert found.now_kg == pytest.approx(13 * 500)
    assert [gauge.value_mm for gauge in found.gauges] == [6.08]


def test_without_gauges_and_expected_life_there_is_no_line(shop: Shop) -> None:
    die = shop.part("D-1", shop.type("die-8", "die", new_mm=8.0, limit_mm=8.4))
    shop.fit(die, "2026-09-01", position="die")
    shop.runs("2026-09-01", 4, kg=500)
    found = shown(die, "")
    assert (found.so_far, found.ahead, found.limit, found.basis) == ((), (), None, "none")
    assert found.now_kg == pytest.approx(2000)


def test_a_type_without_a_limit_has_nothing_to_show(shop: Shop) -> None:
    die = shop.part("D-1", shop.type("die-8", "die", new_mm=8.0))
    record = load(day("2026-10-31"))
    assert wear_along(Edges(record), Outlook(record), die.pk, "") is None
