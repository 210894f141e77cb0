"""Planned or after failure, mend or buy, stop or go on, dies to order; and why advice is withheld."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from tests.mills.forecast_shop import Shop, number
from wearlog.compare.ledger import ledger
from wearlog.compare.orders import NoOrder, Order, orders
from wearlog.compare.reliability import type_lives
from wearlog.compare.replacing import Mending, PlannedReplacement, Withheld, mend_or_buy, planned_replacement
from wearlog.compare.stopping import NoStop, Stop, stops
from wearlog.equipment.models import Fitting, Part, PartType
from wearlog.forecasts.edges import Edges
from wearlog.history.record import load
from wearlog.runs.models import Price, Run
from wearlog.service.models import Service

AS_OF = date(2026, 12, 31)


@pytest.fixture
def shop(db: None) -> Shop:
    return Shop()


def price(item: str, value: float, from_on: str = "2025-01-01") -> None:
    Price.objects.create(item=item, from_on=date.fromisoformat(from_on), price=number(value))


def bill(service: Service, **fields: float) -> None:
    Service.objects.filter(pk=service.pk).update(**{key: number(value) for key, value in fields.items()})


# -------- planned or after failure


def bearings(shop: Shop, ages: list[int]) -> PartType:
    """Bearings that broke after so many days of 10 h, each replaced in 8 h of stand-still, and one that was
    changed before it failed, in 1 h."""
    kind = shop.type("bearing", "bearing", unit_cost=90.0)
    first = date(2026, 1, 1)
    shop.runs("2026-01-01", sum(ages) + 12)
    for index, days in enumerate([*ages, 10]):
        over = first + timedelta(days=days)
        because = "broken" if index < len(ages) else "other"
        part = shop.part(f"B{index}", kind, retired_on=over, retired_because=because)
        shop.fit(part, f"{first} 00:00", f"{over} 00:00", position="bearing")
        work = shop.serve(f"{over} 00:00", "replace", part=part)
        bill(work, downtime_h=8 if because == "broken" else 1)
        first = over
    return kind


WEARING = [30, 31, 29, 32, 30, 28, 31, 30]


def planned(code: str = "bearing", as_of: date = AS_OF) -> PlannedReplacement:
    record = load(as_of)
    (lives,) = [one for one in type_lives(record) if one.type.code == code]
    return planned_replacement(record, ledger(), lives)


def test_parts_that_wear_out_are_changed_before_they_fail(shop: Shop) -> None:
    bearings(shop, WEARING)
    price("stand_still_h", 50)
    found = planned()
    # 90 + 1 h at 50, and 90 + 8 h at 50 (by hand).
    assert (found.planned_cost, found.failure_cost, found.why) == (140.0, 490.0, None)
    assert found.best_age is not None
    assert 150 < found.best_age < 290  # before the first failure at 280 h
    assert 0.5 < found.saving < 1 - 140 / 490  # never more than the ratio of the costs allows


@pytest.mark.parametrize(
    ("ages", "why"),
    [([30, 31], Withheld.FEW_FAILURES), ([1, 2, 60, 5, 30, 11, 3, 90], Withheld.MAY_BE_CHANCE)],
)
def test_too_few_failures_and_failures_by_chance_get_no_advice(
    shop: Shop, ages: list[int], why: Withheld
) -> None:
    bearings(shop, ages)
    price("stand_still_h", 50)
    found = planned()
    assert (found.best_age, found.why in (why, Withheld.BY_CHANCE)) == (None, True)


def test_a_missing_price_is_named(shop: Shop) -> None:
    kind = bearings(shop, WEARING)
    assert planned().why is Withheld.NO_STAND_STILL_PRICE
    price("stand_still_h", 50)
    Service.objects.update(labour_h=Decimal(1))
    assert planned().why is Withheld.NO_LABOUR_PRICE
    PartType.objects.filter(pk=kind.pk).update(unit_cost=None)
    assert planned().why is Withheld.NO_PART_PRICE


def test_work_without_its_stand_still_tells_nothing(shop: Shop) -> None:
    bearings(shop, WEARING)
    price("stand_still_h", 50)
    Service.objects.filter(part__retired_because="broken").update(downtime_h=None)
    assert planned().why is Withheld.NO_FAILURE_WORK
    Service.objects.update(downtime_h=None)
    assert planned().why is Withheld.NO_PLANNED_WORK


def test_a_failure_that_costs_no_more_than_planned_work_is_waited_for(shop: Shop) -> None:
    bearings(shop, WEARING)
    price("stand_still_h", 50)
    Service.objects.update(downtime_h=Decimal(2))
    assert planned().why is Withheld.NO_DEARER


def test_a_failure_that_costs_a_trifle_more_saves_too_little(shop: Shop) -> None:
    bearings(shop, WEARING)
    price("stand_still_h", 1)
    Service.objects.filter(part__retired_because="broken").update(downtime_h=Decimal(3))
    assert planned().why in (Withheld.SAVES_LITTLE, Withheld.BEYOND)


def test_what_was_recorded_later_gives_no_advice_on_an_earlier_day(shop: Shop) -> None:
    bearings(shop, WEARING)
    price("stand_still_h", 50)
    assert planned(as_of=date(2026, 3, 4)).why is Withheld.FEW_FAILURES  # two had failed


# -------- mend or buy


def mending(shop: Shop, *, rebuilt_t: float, cost: float, screws: int = 6) -> Mending | None:
    """Screws of 600 that took about 50 t each as new, were rebuilt, took about `rebuilt_t` more and broke."""
    kind = shop.type("SC60", "screw", unit_cost=600.0)
    over = date(2025, 1, 1)
    wobble = [0, 3, -3, 1, -1, 2]
    lives = [(50 + wobble[n], round(rebuilt_t * (1 + wobble[n] / 50))) for n in range(screws)]
    shop.runs("2025-01-01", sum(new + again for new, again in lives), kg=1000)
    for number_, (new, again) in enumerate(lives):
        begun, rebuilt = over, over + timedelta(days=new)
        over = rebuilt + timedelta(days=again)
        part = shop.part(f"S{number_}", kind, retired_on=over, retired_because="broken")
        shop.fit(part, f"{begun} 00:00", f"{over} 00:00")
        bill(shop.serve(f"{rebuilt} 00:00", "rebuild", part=part), cost=cost)
    record = load(AS_OF)
    return mend_or_buy(record, ledger(), type_lives(record)[0])


def test_the_cheaper_way_per_tonne_is_named_with_its_range(shop: Shop) -> None:
    found = mending(shop, rebuilt_t=40, cost=280)
    assert found is not None
    # 280 over 40 t is 7 a tonne, 600 over 50 t is 12 (by hand).
    assert found.mend.cost_per_t == pytest.approx(7.0, rel=0.02)
    assert found.buy.cost_per_t == pytest.approx(12.0, rel=0.02)
    assert (found.better, found.why) == ("mend", None)
    assert found.difference.low is not None
    assert found.difference.high is not None
    assert found.difference.low < 7 - 12 < found.difference.high < 0


def test_a_rebuild_that_soon_breaks_is_the_dearer_way(shop: Shop) -> None:
    found = mending(shop, rebuilt_t=10, cost=280)
    assert found is not None
    assert found.mend.cost_per_t == pytest.approx(28.0, rel=0.03)
    assert found.better == "buy"


def test_one_life_of_each_is_too_close_to_call(shop: Shop) -> None:
    found = mending(shop, rebuilt_t=40, cost=280, screws=1)
    assert found is not None
    assert (found.mend.cost_per_t, found.buy.cost_per_t) == (pytest.approx(7.0), pytest.approx(12.0))
    assert (found.better, found.why) == (None, Withheld.ABOUT_THE_SAME)
    assert (found.mend.lives, found.buy.lives) == (1, 1)


def test_about_the_same_is_left_to_people(shop: Shop) -> None:
    found = mending(shop, rebuilt_t=25, cost=295)  # 11.8 against 12
    assert found is not None
    assert (found.better, found.why) == (None, Withheld.ABOUT_THE_SAME)


def test_a_part_that_was_never_rebuilt_poses_no_question(shop: Shop) -> None:
    shop.runs("2026-01-01", 5)
    shop.fit(shop.part("S1", shop.type("SC60", "screw", unit_cost=600.0)), "2026-01-01")
    record = load(AS_OF)
    assert mend_or_buy(record, ledger(), type_lives(record)[0]) is None


def test_a_rebuilt_part_that_still_works_says_nothing_of_its_life(shop: Shop) -> None:
    shop.runs("2026-01-01", 60)
    part = shop.part("S1", shop.type("SC60", "screw", unit_cost=600.0))
    shop.fit(part, "2026-01-01")
    bill(shop.serve("2026-02-01 00:00", "rebuild", part=part), cost=280)
    record = load(AS_OF)
    found = mend_or_buy(record, ledger(), type_lives(record)[0])
    assert found is not None
    assert (found.better, found.why) == (None, Withheld.LIFE_UNKNOWN)


# -------- stop or go on


def screw(shop: Shop, *, fall: float, noise: float = 0.0, days: int = 60) -> None:
    """A screw of 600 that pressed 1 t a day; the oil fell evenly by `fall` kg per tonne."""
    shop.fit(shop.part("S1", shop.type("SC60", "screw", unit_cost=600.0)), "2026-01-01")
    for index in range(days):
        run = shop.run(f"{date(2026, 1, 1) + timedelta(days=index)} 06:00", 10, 1000)
        wobble = noise * (1 if index % 2 else -1)
        oil = 380 - fall * index / (days - 1) + wobble
        Run.objects.filter(pk=run.pk).update(oil_kg=number(round(oil, 3)))


def stop(as_of: date = AS_OF) -> Stop:
    (found,) = stops(load(as_of), ledger())
    return found


def test_a_screw_that_loses_more_now_than_it_has_cost_is_stopped(shop: Shop) -> None:
    screw(shop, fall=60)
    price("oil_kg", 3)
    found = stop()
    # 60 kg in 59 t are 61.017 kg in 60 t (by hand).
    assert found.lost_oil_kg_per_t == pytest.approx(61.017, abs=0.001)
    assert found.loss_now == pytest.approx(183.05, abs=0.01)
    # 600 over 60 t, and half of the loss now.
    assert found.average_so_far == pytest.approx(10 + 91.525, abs=0.01)
    assert (found.stop, found.analysed) == (True, False)


def test_taking_a_screw_off_for_two_hours_does_not_lose_its_age(shop: Shop) -> None:
    screw(shop, fall=60)
    price("oil_kg", 3)
    before = stop()
    Fitting.objects.update(removed_at=datetime(2026, 2, 20, 0, tzinfo=UTC))
    shop.fit(Part.objects.get(code="S1"), "2026-02-20 02:00")
    after = stop()
    assert (after.stop, after.seed_kg) == (True, before.seed_kg)
    assert after.loss_now == pytest.approx(before.loss_now, rel=1e-6)


def test_a_poorer_harvest_is_not_taken_for_a_worn_screw(shop: Shop) -> None:
    # Four weeks of each of two harvests; the second has 60 kg less oil a tonne, the screw is as new.
    shop.fit(shop.part("S1", shop.type("SC60", "screw", unit_cost=600.0)), "2026-05-01")
    price("oil_kg", 3)
    for begin, oil in ((date(2026, 5, 1), 380), (date(2026, 8, 1), 320)):
        for index in range(28):
            run = shop.run(f"{begin + timedelta(days=index)} 06:00", 10, 1000)
            Run.objects.filter(pk=run.pk).update(oil_kg=number(oil + (index % 3) / 10))
    found = stop()
    assert found.stop is False
    assert found.loss_now == pytest.approx(0.0, abs=0.3)


def test_a_screw_that_loses_little_goes_on(shop: Shop) -> None:
    screw(shop, fall=1)
    price("oil_kg", 3)
    assert stop().stop is False


def test_runs_that_differ_too_much_among_themselves_give_no_advice(shop: Shop) -> None:
    screw(shop, fall=12, noise=60)
    price("oil_kg", 3)
    assert (stop().stop, stop().why) == (None, NoStop.UNSURE)


def test_oil_in_seed_and_cake_goes_before_weighed_oil(shop: Shop) -> None:
    screw(shop, fall=0)
    price("oil_kg", 3)
    runs = Run.objects.order_by("started_at")
    for place, run in enumerate(runs):
        cake = 8.6 + 2.9 * place / 59
        Run.objects.filter(pk=run.pk).update(seed_oil_pct=Decimal(42), cake_oil_pct=number(round(cake, 4)))
    found = stop()
    assert found.analysed
    # At 42 % in the seed, cake going from 8.6 to 11.5 % costs 20.8 kg of oil a tonne (calc.policy, own
    # arithmetic on Kem. Ind. 53(9) 2004 393), in 59 t; very nearly in a straight line.
    assert found.lost_oil_kg_per_t == pytest.approx(20.8 * 60 / 59, abs=0.1)


def test_slower_pressing_without_a_price_of_stand_still_is_said_to_be_left_out(shop: Shop) -> None:
    screw(shop, fall=60)
    price("oil_kg", 3)
    assert stop().left_out == ("stand_still_h",)
    price("stand_still_h", 20)
    assert stop().left_out == ()


def test_each_missing_figure_has_its_own_reason(shop: Shop) -> None:
    screw(shop, fall=60)
    assert stop().why is NoStop.NO_OIL_PRICE
    price("oil_kg", 3)
    Run.objects.update(oil_kg=None)
    assert stop().why is NoStop.NO_OIL_FIGURES
    PartType.objects.update(unit_cost=None)
    assert stop().why is NoStop.NO_PART_PRICE


def test_each_crop_is_compared_with_itself_and_all_tell_together(shop: Shop) -> None:
    # Rapeseed loses 60 kg over 59 t; flax, which gives 200 kg less, goes on losing as much for each tonne.
    screw(shop, fall=60)
    price("oil_kg", 3)
    for index in range(60):
        run = shop.run(f"{date(2026, 3, 2) + timedelta(days=index)} 06:00", 10, 1000, crop="flax")
        Run.objects.filter(pk=run.pk).update(oil_kg=number(round(120 - 60 * index / 59, 3)))
    found = stop()
    assert found.seed_kg == 120_000.0
    # 60 / 59 kg a tonne over 120 t (by hand).
    assert found.lost_oil_kg_per_t == pytest.approx(60 / 59 * 120, abs=0.05)
    assert found.stop is True


def test_oil_that_is_known_of_a_small_part_of_the_life_says_too_little(shop: Shop) -> None:
    screw(shop, fall=60, days=150)
    price("oil_kg", 3)
    Run.objects.filter(started_at__lt="2026-04-15T00:00:00Z").update(oil_kg=None)
    assert stop().why is NoStop.TOO_LITTLE_SEEN


def test_runs_recorded_later_do_not_leak_into_an_earlier_day(shop: Shop) -> None:
    screw(shop, fall=60)
    price("oil_kg", 3)
    then = stop(date(2026, 2, 9))
    Run.objects.filter(started_at__gte="2026-02-10T00:00:00Z").delete()
    assert stop(date(2026, 2, 9)) == then
    assert then.seed_kg == 40_000.0


# -------- dies to make


def order(as_of: date, code: str = "D5") -> Order:
    record = load(as_of)
    (found,) = [one for one in orders(record, Edges(record), ledger()) if one.type.code == code]
    return found


def test_dies_to_make_are_so_many_that_all_their_lives_last_for_the_plan(shop: Shop) -> None:
    shop.type("D5", "die", size_mm=5.0, edges=2, expected_life_kg=10_000.0, lead_time_days=14.0)
    shop.plan("2027-08-01", "2027-08-30", 60_000)
    shop.plan("2027-08-01", "2027-08-30", 30_000, press="P2")
    found = order(date(2027, 7, 1))
    # An edge lasts 10.81 t with a relative spread of 39 %, 28 % of it shared with all (Swanson's rule on 10 t
    # times exp(-0.51), 1, exp(0.51)). Five dies take 108 t on average, seven enough in 19 of 20 seasons.
    # Adding up pessimistic edges of 5.99 t, and a spare for each press, makes ten.
    assert found.edge_life_kg == pytest.approx(10_806, abs=1)
    assert found.make == 7
    assert found.enough is not None
    assert 0.95 <= found.enough < 0.98
    assert (found.needed_on, found.order_by) == (date(2027, 8, 1), date(2027, 7, 18))


def test_dies_on_the_shelf_are_taken_off_and_put_the_day_off(shop: Shop) -> None:
    kind = shop.type("D5", "die", size_mm=5.0, edges=2, expected_life_kg=10_000.0, lead_time_days=14.0)
    for code in ("D1", "D2"):
        shop.part(code, kind)
    shop.plan("2027-08-01", "2027-08-30", 60_000)
    found = order(date(2027, 7, 1))
    assert (found.at_hand, found.make) == (2, 3)
    # Four edges take 43.2 t on average with a spread of 12.2 and 8.3 t: as a gamma variable 27.3 t at least
    # with nine chances in ten.
    assert found.at_hand_kg == pytest.approx(27_317, abs=20)
    assert found.needed_on == date(2027, 8, 14)  # 2 t a day: 28 t on the fourteenth
    assert found.order_by == date(2027, 7, 31)


def test_the_spares_that_were_set_are_kept_beyond_the_season(shop: Shop) -> None:
    shop.type("D5", "die", size_mm=5.0, edges=2, expected_life_kg=10_000.0)
    shop.plan("2027-08-01", "2027-08-30", 60_000)
    without = order(date(2027, 7, 1))
    PartType.objects.update(min_spares=2)
    found = order(date(2027, 7, 1))
    assert (without.keep, found.keep) == (0, 2)
    assert without.make is not None
    assert found.make is not None
    assert found.make - without.make in (2, 3)


def test_each_press_that_is_to_run_a_bore_gets_a_die(shop: Shop) -> None:
    shop.type("D5", "die", edges=2, expected_life_kg=100_000.0)
    for press in ("P1", "P2"):
        shop.plan("2027-08-01", "2027-08-30", 1_000, press=press)
    assert order(date(2027, 7, 1)).make == 2


def test_a_shelf_that_holds_the_spares_too_asks_for_none(shop: Shop) -> None:
    kind = shop.type("D5", "die", size_mm=5.0, edges=2, expected_life_kg=10_000.0)
    for index in range(4):
        shop.part(f"D{index}", kind)
    shop.plan("2027-08-01", "2027-08-30", 20_000)
    assert order(date(2027, 7, 1)).make == 0


def test_without_a_lead_time_no_day_to_order_by_is_named(shop: Shop) -> None:
    shop.type("D5", "die", edges=2, expected_life_kg=10_000.0)
    shop.plan("2027-08-01", "2027-08-30", 20_000)
    found = order(date(2027, 7, 1))
    assert (found.make is not None, found.order_by) == (True, None)


def test_a_bore_without_a_plan_or_without_a_known_life_can_not_be_said(shop: Shop) -> None:
    shop.type("D5", "die", edges=2, expected_life_kg=10_000.0)
    assert order(date(2027, 7, 1)).why is NoOrder.NO_PLAN
    shop.type("D9", "die", edges=2, for_crops="flax")
    shop.plan("2027-08-01", "2027-08-30", 20_000, crop="flax")
    assert order(date(2027, 7, 1), "D9").why is NoOrder.NO_LIFE


def test_a_plan_that_can_only_be_a_slip_asks_for_no_dies(shop: Shop) -> None:
    shop.type("D5", "die", edges=2, expected_life_kg=10_000.0, lead_time_days=60.0)
    shop.plan("2027-08-01", "2027-08-30", 999_999_999)
    found = order(date(2027, 7, 1))
    assert (found.make, found.why) == (None, NoOrder.TOO_MANY)


def test_a_plan_made_later_is_not_known_yet(shop: Shop) -> None:
    shop.type("D5", "die", edges=2, expected_life_kg=10_000.0)
    shop.plan("2027-08-01", "2027-08-30", 20_000, planned="2027-07-10")
    assert order(date(2027, 7, 1)).why is NoOrder.NO_PLAN
    assert order(date(2027, 7, 10)).make is not None
