"""The past replayed: what was said 30, 60 and 90 days before an edge came to its limit."""

from __future__ import annotations

import io
import json

import pytest
from django.core.management import call_command

from tests.forecasts.shop import Shop, day
from wearlog.forecasts.track import track_record


@pytest.fixture
def worn_screw(shop: Shop) -> Shop:
    """A screw that loses 0.002 mm a day from 1 January; its 250th day, 7 September, takes it to 69.5 mm."""
    type_ = shop.type("SC", "screw", new_mm=70.0, limit_mm=69.5, expected_life_kg=125_000.0)
    screw = shop.part("S1", type_)
    shop.fit(screw, "2025-01-01 00:00")
    shop.runs("2025-01-01", 300)
    shop.rule("screw at limit", "replace", kind="screw", at_limit=True)
    for month, taken in zip(range(2, 11), (31, 59, 90, 120, 151, 181, 212, 243, 273), strict=True):
        shop.gauge(f"2025-{month:02d}-01 00:00", screw, 70 - 0.002 * taken)
    return shop


def test_the_day_is_dated_between_the_two_gauges_around_the_limit(worn_screw: Shop) -> None:
    (edge,) = track_record(as_of=day("2025-10-20")).edges
    assert edge.reached.part == "S1"
    assert edge.reached.how == "gauged"
    assert edge.reached.came == day("2025-09-07")
    assert edge.reached.between == (day("2025-09-01"), day("2025-10-01"))
    assert sorted(edge.said) == [30, 60, 90]


def test_before_the_gauge_past_the_limit_there_is_nothing_to_tell(worn_screw: Shop) -> None:
    assert track_record(as_of=day("2025-09-20")).edges == ()


def test_what_was_said_ahead_is_near_what_came(worn_screw: Shop) -> None:
    record = track_record(as_of=day("2025-10-20"))
    for lead in (30, 60, 90):
        one = record.leads[lead]
        assert (one.edges, one.held) == (1, 1)
        assert one.mean_error is not None
        assert one.mean_error < 20
        assert one.share_held is None


def test_later_records_do_not_change_what_was_said(worn_screw: Shop) -> None:
    before = track_record(as_of=day("2025-10-20")).edges[0].said
    worn_screw.runs("2025-10-28", 30, kg=900)
    worn_screw.plan("2025-10-28", "2025-12-31", 90_000, planned="2025-10-28")
    after = track_record(as_of=day("2025-10-20")).edges[0].said
    assert {lead: said.range for lead, (_, said) in before.items()} == {
        lead: said.range for lead, (_, said) in after.items()
    }


def test_the_command_prints_the_same_as_a_table_and_as_data(worn_screw: Shop) -> None:
    table, data = io.StringIO(), io.StringIO()
    call_command("track_record", "--as-of", "2025-10-20", stdout=table)
    call_command("track_record", "--as-of", "2025-10-20", "--format", "json", stdout=data)
    assert "1 of 1" in table.getvalue()
    told = json.loads(data.getvalue())
    assert told["leads"]["60"]["held"] == 1
    assert told["edges"][0]["came_on"] == "2025-09-07"
    assert told["widening"] == 1


def test_a_mill_without_worn_edges_is_told_what_to_do(shop: Shop) -> None:
    shop.press()
    told = io.StringIO()
    call_command("track_record", "--as-of", "2025-10-20", stdout=told)
    assert "nothing yet to hold forecasts to" in told.getvalue()
