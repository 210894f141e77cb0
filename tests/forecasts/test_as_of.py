"""A forecast for a past day knows nothing that came later: the same as from a log cut off at that day."""

from __future__ import annotations

import random
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import transaction

from tests.mills.busy_mill import DAYS, FIRST, a_busy_mill, cut_off
from tests.mills.forecast_shop import Shop
from wearlog.forecasts.memory.queries import due_items
from wearlog.history.record import load
from wearlog.words.printing import as_data


def due_items_on(as_of: date) -> list[dict[str, Any]]:
    return [as_data(one) for one in due_items(as_of=as_of)]


@pytest.mark.parametrize("seed", range(3))
def test_a_forecast_for_a_past_day_is_that_of_a_log_cut_off_there(shop: Shop, seed: int) -> None:
    chance = random.Random(seed)
    a_busy_mill(shop, chance)
    for _ in range(5):
        as_of = FIRST + timedelta(days=chance.randint(5, DAYS))
        full = due_items_on(as_of)
        assert full
        with transaction.atomic():
            cut_off(as_of)
            assert due_items_on(as_of) == full, as_of
            transaction.set_rollback(True)


def test_the_same_log_and_day_give_the_same_forecast_to_the_last_digit(shop: Shop) -> None:
    a_busy_mill(shop, random.Random(7))
    as_of = FIRST + timedelta(days=300)
    assert due_items(as_of=as_of) == due_items(as_of=as_of)


def test_every_item_of_a_busy_mill_keeps_the_promises_of_the_format(shop: Shop) -> None:
    a_busy_mill(shop, random.Random(11))
    for number in (10, 100, 200, 300, 419):
        as_of = FIRST + timedelta(days=number)
        items = due_items(as_of=as_of)
        assert len({(one.rule, one.press, one.position, one.part) for one in items}) == len(items)
        for one in items:
            dates = (one.early_on, one.due_on, one.late_on)
            known = [each for each in dates if each is not None]
            assert known == sorted(known), one
            assert one.state in ("later", "coming", "due", "overdue", "unknown")
            assert one.basis in ("measured", "fleet", "expected_life", "interval", "none")
            assert (one.state == "unknown") == (one.basis == "none")
            if one.due_on is None:
                assert one.state in ("later", "unknown")
                assert one.left_days is None
            else:
                assert one.left_days == (one.due_on - as_of).days
                assert (one.due_on <= as_of) == (one.state in ("due", "overdue"))
            assert one.why.endswith(".")
            assert one.caution.text
            assert one.caution.isolation_points


def test_the_parts_that_have_a_limit_item_are_those_that_the_fittings_say(shop: Shop) -> None:
    a_busy_mill(shop, random.Random(5))
    for number in (20, 150, 333):
        as_of = FIRST + timedelta(days=number)
        record = load(as_of)
        last = {}
        for row in sorted(record.fittings, key=lambda fitting: fitting.fitted):
            if record.parts[row.part_id].retired_on is None:
                last[record.parts[row.part_id].code] = row.edge
        dies = {part: edge for part, edge in last.items() if "die" in part}
        assert {one.part: one.edge for one in due_items(as_of=as_of) if one.rule == "die at limit"} == dies
