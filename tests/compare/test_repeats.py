"""Work that comes again, from a mill's own log."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from tests.mills.forecast_shop import Shop
from wearlog.compare.repeats import Repeat, Trend, repeats
from wearlog.history.record import load

AS_OF = date(2026, 12, 31)


@pytest.fixture
def shop(db: None) -> Shop:
    """A press that takes 500 kg a day from 1 January for 200 days: 100 t."""
    shop = Shop()
    shop.runs("2026-01-01", 200)
    return shop


def of(action: str = "", incident: str = "", as_of: date = AS_OF) -> Repeat:
    (found,) = [one for one in repeats(load(as_of)) if (one.action, one.incident) == (action, incident)]
    return found


def on(number: int) -> str:
    """The day after which so many days have been worked."""
    return f"{date(2026, 1, 1) + timedelta(days=number)} 00:00"


def polish(shop: Shop, days: list[int]) -> None:
    screw = shop.part("S1", shop.type("SC60", "screw"))
    shop.fit(screw, "2026-01-01")
    for number in days:
        shop.serve(on(number), "polish", part=screw)


def test_ages_are_the_seed_through_the_part(shop: Shop) -> None:
    polish(shop, [40, 120])
    (thing,) = of("polish").things
    assert thing.name == "S1"
    assert thing.unit.events.tolist() == [20.0, 60.0]
    assert thing.unit.end == 100.0


def test_polishing_that_comes_faster_and_faster_is_said_to(shop: Shop) -> None:
    polish(shop, [100, 140, 160, 170, 176, 182, 186, 190, 193, 196])
    analysis = of("polish").analysis
    assert analysis.trend is Trend.FASTER
    assert analysis.every_t == 10.0
    assert analysis.every_t_now is not None
    assert analysis.every_t_now < 5


def test_work_that_becomes_rarer_is_said_to(shop: Shop) -> None:
    polish(shop, [2, 4, 7, 10, 14, 19, 25, 40, 60, 110])
    assert of("polish").analysis.trend is Trend.RARER


def test_even_work_shows_no_trend(shop: Shop) -> None:
    polish(shop, [20, 40, 60, 80, 100, 120, 140, 160, 180])
    analysis = of("polish").analysis
    assert analysis.trend is Trend.EVEN
    # Nine events at 10, 20 ... 90 of 100 t lie evenly about the middle: their sum is n T / 2 (by hand).
    assert analysis.laplace_z == pytest.approx(0.0, abs=1e-9)


def test_one_time_shows_no_trend(shop: Shop) -> None:
    polish(shop, [50])
    analysis = of("polish").analysis
    assert (analysis.trend, analysis.law.shape) == (Trend.ONCE, None)


def test_like_things_on_which_it_was_never_done_are_watched_too(shop: Shop) -> None:
    polish(shop, [50, 90])
    shop.fit(shop.part("S2", shop.type("other", "screw")), "2026-01-01", press="P2")
    shop.runs("2026-01-01", 10, press="P2")
    never = [thing for thing in of("polish").things if thing.name == "S2"]
    assert [thing.analysis.trend for thing in never] == [Trend.NEVER]
    # No event in 5 t: at most 3.0 / T (-ln 0.05 / 5 = 0.599 a tonne).
    assert never[0].analysis.rate.high == pytest.approx(0.599, abs=0.001)


def test_the_mean_function_divides_by_what_is_still_watched(shop: Shop) -> None:
    polish(shop, [4, 8, 120])
    shop.fit(shop.part("S2", shop.type("other", "screw")), "2026-01-01", press="P2")
    shop.runs("2026-01-01", 10, press="P2")
    # At 2 and 4 t two screws are watched, at 60 t one: 1/2, 1, 2 (by hand).
    assert [(point.age, point.value) for point in of("polish").mean] == [(2.0, 0.5), (4.0, 1.0), (60.0, 2.0)]


def test_a_rebuild_begins_the_count_anew(shop: Shop) -> None:
    polish(shop, [40, 120])
    screw = shop.part("S1", shop.type("unused", "screw"))
    shop.serve(on(100), "hard-face", part=screw)
    first, second = of("polish").things
    assert (first.unit.events.tolist(), first.unit.end) == ([20.0], 50.0)
    assert (second.unit.events.tolist(), second.unit.end) == ([10.0], 50.0)


def test_work_that_names_only_a_place_belongs_to_the_part_there(shop: Shop) -> None:
    polish(shop, [])
    shop.serve(on(60), "polish", position="screw")
    (thing,) = of("polish").things
    assert (thing.name, thing.unit.events.tolist()) == ("S1", [30.0])


def test_plugging_is_counted_for_the_press(shop: Shop) -> None:
    shop.incident(on(20), "plugged")
    shop.incident(on(70), "plugged")
    (thing,) = of(incident="plugged").things
    assert (thing.part_id, thing.unit.events.tolist()) == (None, [10.0, 35.0])


def test_work_before_the_first_seed_counts_nowhere(shop: Shop) -> None:
    polish(shop, [])
    screw = shop.part("S1", shop.type("unused", "screw"))
    shop.serve("2025-12-01 00:00", "polish", part=screw)
    assert [one for one in repeats(load(AS_OF)) if one.action == "polish"] == []


def test_nothing_that_was_recorded_later_leaks_into_an_earlier_day(shop: Shop) -> None:
    polish(shop, [40, 120])
    (thing,) = of("polish", as_of=date(2026, 2, 19)).things  # 50 days worked
    assert (thing.unit.events.tolist(), thing.unit.end) == ([20.0], 25.0)
