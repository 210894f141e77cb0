"""The replay: which edges came to their limits and when, and what would have been said before."""

from __future__ import annotations

from datetime import timedelta

import pytest

from tests.mills.dies_in_turn import many
from tests.mills.forecast_shop import Shop, day
from wearlog.calc.conformal import RangeFactors
from wearlog.equipment.models import Part, PartType
from wearlog.forecasts.edges import Edges
from wearlog.forecasts.track.reached import Reached, reached_edges
from wearlog.forecasts.track.record import LEADS, STEP_DAYS, step_before, track_record
from wearlog.forecasts.track.replays import replay
from wearlog.history.record import load


@pytest.fixture
def die(shop: Shop) -> PartType:
    """A die of two edges that opens from 5.00 to 5.40 mm."""
    return shop.type("D5", "die", edges=2, new_mm=5.0, limit_mm=5.4, expected_life_kg=40_000.0)


@pytest.fixture
def screw(shop: Shop) -> PartType:
    """A screw that shrinks from 60 to 59 mm."""
    return shop.type("S", "screw", new_mm=60.0, limit_mm=59.0, expected_life_kg=40_000.0)


def found(as_of: str = "2026-12-31") -> list[Reached]:
    return reached_edges(Edges(load(day(as_of))))


def edge(shop: Shop, die: PartType, until: str = "", **fields: object) -> Part:
    """A die on edge A from 1 January, 500 kg a day for 300 days."""
    part = shop.part("D-1", die, **fields)
    shop.fit(part, "2026-01-01", until, edge="A", position="die")
    shop.runs("2026-01-01", 300)
    return part


def test_an_edge_gauged_on_both_sides_of_its_limit_is_dated_along_the_seed(shop: Shop, die: PartType) -> None:
    part = edge(shop, die)
    shop.gauge("2026-02-10", part, 5.3, edge="A")
    shop.gauge("2026-03-02", part, 5.5, edge="A")
    # Half of the wear between the gauges, so half of the 20 days of equal seed: at the end of 19 February
    assert [(one.part, one.key[1], one.came, one.how) for one in found()] == [
        ("D-1", "A", day("2026-02-19"), "gauged")
    ]
    assert found()[0].between == (day("2026-02-10"), day("2026-03-02"))
    assert found()[0].known_on == day("2026-03-02")


def test_idle_days_do_not_move_the_day_of_the_limit(shop: Shop, die: PartType) -> None:
    part = shop.part("D-1", die)
    shop.fit(part, "2026-01-01", edge="A", position="die")
    shop.runs("2026-01-01", 10)
    shop.runs("2026-06-01", 10)
    shop.gauge("2026-01-02", part, 5.1, edge="A")
    shop.gauge("2026-06-10", part, 5.41, edge="A")
    # The limit is passed after 0.30 / 0.31 of the seed between: on one of the days pressed in June
    assert day("2026-06-01") <= found()[0].came <= day("2026-06-10")


def test_a_slip_that_the_next_gauge_contradicts_is_no_limit(shop: Shop, die: PartType) -> None:
    part = edge(shop, die)
    shop.gauge("2026-02-10", part, 5.5, edge="A")
    shop.gauge("2026-03-02", part, 5.2, edge="A")
    assert found() == []


def test_a_screw_that_shrinks_comes_to_its_limit_from_above(shop: Shop, screw: PartType) -> None:
    part = shop.part("S-1", screw)
    shop.fit(part, "2026-01-01")
    shop.runs("2026-01-01", 100)
    shop.gauge("2026-02-01", part, 59.5)
    shop.gauge("2026-03-01", part, 58.9)
    assert [one.between for one in found()] == [(day("2026-02-01"), day("2026-03-01"))]


def test_a_pin_that_goes_in_at_the_limit_tells_and_one_that_does_not_says_nothing(
    shop: Shop, die: PartType
) -> None:
    part = edge(shop, die)
    shop.gauge("2026-02-10", part, 5.2, edge="A")
    pin = shop.gauge("2026-03-02", part, 5.4, edge="A")
    pin.bound = "below"
    pin.save()
    assert found() == []
    pin.bound = "at_least"
    pin.save()
    assert [one.came for one in found()] == [day("2026-03-01")]


def test_a_part_retired_as_worn_is_dated_by_the_day_on_which_it_came_off(shop: Shop, die: PartType) -> None:
    edge(shop, die, "2026-03-01", retired_on=day("2026-03-04"), retired_because="worn")
    assert [(one.came, one.known_on, one.between, one.how) for one in found()] == [
        (day("2026-03-01"), day("2026-03-04"), None, "retired")
    ]


@pytest.mark.parametrize("because", ["broken", "remade", "lost", "other"])
def test_a_part_that_ended_otherwise_did_not_come_to_its_limit(
    because: str, shop: Shop, die: PartType
) -> None:
    edge(shop, die, "2026-03-01", retired_on=day("2026-03-01"), retired_because=because)
    assert found() == []


@pytest.mark.parametrize(
    ("finding", "counts"),
    [
        ("", True),
        ("worn", True),
        ("Edge is WORN, past the limit", True),
        ("cracked by a bolt", False),
        ("not worn, scored", False),
        ("not at the limit", False),
    ],
)
def test_an_edge_turned_where_it_sat_is_worn_unless_the_finding_says_otherwise(
    finding: str, counts: bool, shop: Shop, die: PartType
) -> None:
    part = edge(shop, die, "2026-03-01 12:00")
    shop.fit(part, "2026-03-01 12:30", edge="B", position="die")
    work = shop.serve("2026-03-01 12:00", "flip", position="die", part=part, edge="A")
    work.finding = finding
    work.save()
    assert [(one.key[1], one.came, one.how) for one in found()] == (
        [("A", day("2026-03-01"), "turned")] if counts else []
    )


def test_an_edge_taken_off_for_the_season_did_not_come_to_its_limit(shop: Shop, die: PartType) -> None:
    part = edge(shop, die, "2026-03-01")
    shop.fit(part, "2026-09-01", edge="A", position="die")
    assert found() == []


def test_a_rebuilt_screw_has_two_lives(shop: Shop, screw: PartType) -> None:
    part = shop.part("S-1", screw, retired_on=day("2026-10-01"), retired_because="worn")
    shop.fit(part, "2026-01-01", "2026-10-01")
    shop.runs("2026-01-01", 300)
    shop.gauge("2026-02-01", part, 59.5)
    shop.gauge("2026-03-01", part, 58.9)
    shop.serve("2026-03-02", "hard-face", part=part, position="screw")
    shop.gauge("2026-05-01", part, 59.8)
    assert [(one.begun, one.how) for one in found()] == [
        (day("2026-01-01"), "gauged"),
        (day("2026-03-02"), "retired"),
    ]


def test_a_screw_rebuilt_off_the_press_and_never_put_back_has_one_life(shop: Shop, screw: PartType) -> None:
    part = shop.part("S-1", screw)
    shop.fit(part, "2026-01-01", "2026-03-01")
    shop.runs("2026-01-01", 100)
    taken = shop.serve("2026-03-01", "replace", part=part, position="screw")
    taken.finding = "worn"
    taken.save()
    shop.serve("2026-03-20", "rebuild", part=part, position="screw")
    assert [(one.begun, one.came, one.how) for one in found()] == [
        (day("2026-01-01"), day("2026-03-01"), "turned")
    ]


def test_what_was_said_is_what_the_log_of_that_day_says(shop: Shop, die: PartType) -> None:
    many(shop, die)
    record = track_record(as_of=day("2026-06-01"))
    assert len(record.edges) == 6
    told = 0
    for one in record.edges:
        for lead, (made_on, forecast) in one.forecasts.items():
            assert lead <= (one.reached.came - made_on).days < lead + STEP_DAYS
            assert made_on >= one.reached.begun
            assert forecast == replay(load(made_on))[one.reached.key]
            told += 1
    # Each edge lasts 80 days: it was in use 30 days ahead and 60 (at most 74) days ahead, never 90
    assert told == 12
    assert record.leads[90].edges == 0


def test_what_is_recorded_for_later_changes_nothing_that_was_said(shop: Shop, die: PartType) -> None:
    many(shop, die)
    before = track_record(as_of=day("2026-06-01"))
    other = shop.part("D-9", die)
    shop.fit(other, "2026-06-02", edge="A", position="die")
    shop.gauge("2026-06-20", other, 5.9, edge="A")
    shop.runs("2026-06-02", 30, kg=900)
    shop.plan("2026-06-02", "2026-07-30", 90_000, planned="2026-06-02")
    assert track_record(as_of=day("2026-06-01")) == before


def test_steady_wear_is_foretold_and_the_days_are_near(shop: Shop, die: PartType) -> None:
    many(shop, die)
    ahead = track_record(as_of=day("2026-06-01")).leads[30]
    assert ahead.edges == 6
    assert ahead.held >= 4
    assert ahead.mean_error is not None
    assert ahead.mean_error < 20


def test_with_few_edges_no_end_of_a_range_is_moved(shop: Shop, die: PartType) -> None:
    many(shop, die)
    record = track_record(as_of=day("2026-06-01"))
    assert record.learned.judged == 6
    assert record.learned.factors == record.in_force == RangeFactors()


def test_only_edges_that_came_to_their_limits_since_a_day_are_replayed(shop: Shop, die: PartType) -> None:
    many(shop, die)
    record = track_record(as_of=day("2026-06-01"), since=day("2026-01-01"))
    assert {one.reached.part for one in record.edges} == {"D-4", "D-5"}


def test_an_empty_mill_has_an_empty_record(shop: Shop) -> None:
    record = track_record(as_of=day("2026-06-01"))
    assert (record.edges, record.learned.judged, record.replayed) == ((), 0, 0)
    assert record.learned.factors == RangeFactors()
    assert all(record.leads[lead].edges == 0 for lead in LEADS)


def test_replays_stand_on_days_that_all_leads_share() -> None:
    for back in range(40):
        came = day("2026-06-01") - timedelta(days=back)
        days = [step_before(came - timedelta(days=lead)) for lead in LEADS]
        assert [(days[0] - other).days for other in days] == [0, 30, 60]
