"""Screw, die and barrel of a press age together; what each costs is told apart, on mills made by hand."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from tests.mills.forecast_shop import Shop, number
from wearlog.compare.ledger import ledger
from wearlog.compare.stopping import Asked, Stop, stops
from wearlog.compare.stopping.pressed import pressed
from wearlog.compare.stopping.seats import Lives
from wearlog.equipment.models import Fitting
from wearlog.history.record import load
from wearlog.runs.models import Price, Run

AS_OF = date(2026, 12, 31)
FIRST = date(2026, 1, 1)
OF_SCREW, OF_DIE = 0.4, 2.0
"""Kilograms of oil that a tonne loses for each tonne that the part has taken."""
EDGE_DAYS = 10


@pytest.fixture
def shop(db: None) -> Shop:
    made = Shop()
    for item, price in (("oil_kg", 3), ("labour_h", 30)):
        Price.objects.create(item=item, from_on=date(2025, 1, 1), price=number(price))
    return made


def worn(shop: Shop, *, days: int = 120, barrel: bool = False) -> None:
    """A press that presses a tonne a day. The screw stays; after ten days each edge of a die is changed."""
    screw = shop.type("SC60", "screw", unit_cost=600.0)
    die = shop.type("D5", "die", edges=2, unit_cost=60.0)
    shop.fit(shop.part("S1", screw), str(FIRST))
    if barrel:
        shop.fit(
            shop.part("B1", shop.type("barrel", "barrel", unit_cost=500.0)), str(FIRST), position="barrel"
        )
    for number_, begin in enumerate(range(0, days, 2 * EDGE_DAYS)):
        part = shop.part(f"D{number_:02d}", die)
        for edge, start in (("A", begin), ("B", begin + EDGE_DAYS)):
            end = FIRST + timedelta(days=start + EDGE_DAYS)
            until = "" if start + EDGE_DAYS >= days else f"{end} 00:00"
            shop.fit(part, f"{FIRST + timedelta(days=start)} 00:00", until, position="die", edge=edge)
    for index in range(days):
        run = shop.run(f"{FIRST + timedelta(days=index)} 06:00", 10, 1000)
        wobble = ((index * 7919) % 11 - 5) / 5  # as good as by chance, the same each time
        oil = 380 - OF_SCREW * index - OF_DIE * (index % EDGE_DAYS) + wobble
        Run.objects.filter(pk=run.pk).update(oil_kg=number(round(oil, 3)))


def found(asked: Asked | None = None) -> dict[str, Stop]:
    return {one.part.code: one for one in stops(load(AS_OF), ledger(), asked)}


def test_what_the_screw_loses_and_what_the_die_loses_are_told_apart(shop: Shop) -> None:
    worn(shop)
    screw, die = found()["S1"], found()["D05"]
    assert screw.loss is not None
    assert die.loss is not None
    # 0.4 and 2 kg a tonne and tonne at 3 each.
    assert screw.loss.slope == pytest.approx(3 * OF_SCREW, rel=0.05)
    assert die.loss.slope == pytest.approx(3 * OF_DIE, rel=0.05)
    limits = die.loss.limits(0.95)
    assert limits.low is not None
    assert limits.high is not None
    assert limits.low < 3 * OF_DIE < limits.high


def test_the_price_of_a_die_is_shared_by_its_edges(shop: Shop) -> None:
    worn(shop)
    die = found()["D05"]
    assert (die.edge, die.cost) == ("B", 30.0)
    assert die.seed_kg == 10_000.0  # of the edge in use, not of the die
    # 30 over 10 t and half of 60 a tonne: 3 + 30; and 60 is more than 33.
    assert die.average_so_far == pytest.approx(3 + 30, rel=0.05)
    assert die.stop is True


def test_a_part_that_always_aged_with_another_is_not_told_apart_from_it(shop: Shop) -> None:
    worn(shop, barrel=True)
    barrel, screw = found()["B1"], found()["S1"]
    # Each has one life of the same tonnes: all that both cost goes to the one that is asked for.
    assert barrel.loss is not None
    assert screw.loss is not None
    assert barrel.loss.slope == pytest.approx(screw.loss.slope, rel=1e-6)


def test_prices_to_try_take_the_place_of_those_on_record(shop: Shop) -> None:
    worn(shop)
    usual, dear = found()["S1"], found(Asked(oil=6.0))["S1"]
    assert usual.loss is not None
    assert dear.loss is not None
    assert dear.loss.slope == pytest.approx(2 * usual.loss.slope, rel=1e-9)
    assert found(Asked(part=1200.0))["S1"].cost == 1200.0
    Price.objects.all().delete()
    assert found(Asked(oil=6.0))["S1"].loss_now is not None  # though no price is on record


def test_oil_left_in_the_cake_costs_what_it_would_have_earned_more_as_oil(shop: Shop) -> None:
    worn(shop)
    alone = found()["S1"].loss
    Price.objects.create(item="cake_kg", from_on=date(2025, 1, 1), price=number(0.75))
    with_cake = found()["S1"].loss
    assert alone is not None
    assert with_cake is not None
    assert with_cake.slope == pytest.approx(0.75 * alone.slope, rel=1e-9)  # 2.25 of 3.00 a kilogram


def test_the_lowest_cost_lies_where_a_tonne_loses_what_a_tonne_has_cost(shop: Shop) -> None:
    worn(shop)
    courses = found()["S1"].courses
    assert courses is not None
    lowest = courses[1].lowest
    assert lowest is not None
    # sqrt(2 * 600 / 1.2) = 31.6 t.
    assert lowest == pytest.approx(31.6, rel=0.04)
    assert courses[1].average(lowest) == pytest.approx(courses[1].slope * lowest)


def test_ages_are_those_of_the_life_in_use(shop: Shop) -> None:
    worn(shop, days=40)
    screw = Fitting.objects.get(part__code="S1")
    shop.serve("2026-01-21 00:00", "rebuild", part=screw.part)
    record = load(AS_OF)
    (runs,) = pressed(record, set(record.presses)).values()
    seats = {seat.kind: seat for seat in Lives.of(record).seats(record, screw.position.press_id, runs.start)}
    assert seats["screw"].age_t.tolist() == pytest.approx([*range(20), *range(20)])
    assert seats["die"].age_t.tolist() == pytest.approx([day % EDGE_DAYS for day in range(40)])
    assert len(set(seats["die"].life.tolist())) == 4


def test_a_press_without_a_die_for_a_while_tells_nothing_of_dies_then(shop: Shop) -> None:
    worn(shop, days=40)
    Fitting.objects.filter(part__code="D00", edge="B").update(removed_at=datetime(2026, 1, 15, tzinfo=UTC))
    record = load(AS_OF)
    (runs,) = pressed(record, set(record.presses)).values()
    press_id = next(iter(record.presses))
    die = next(seat for seat in Lives.of(record).seats(record, press_id, runs.start) if seat.kind == "die")
    assert (die.life[14:20] == -1).all()
    assert (die.life[:14] >= 0).all()
