"""How surely a press's cost is known, and when it is a toss-up which of two costs more."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from wearlog.compare.costs.kinds import CostKind, Sort
from wearlog.compare.costs.money import PressCost
from wearlog.compare.costs.season import season_costs
from wearlog.logbook import demo

DEMO_DAY = date(2026, 12, 1)
DEVIATIONS = np.linspace(-5.0, 5.0, 101)
"""Of which 80 % lie within 4 of 0."""


def press(cost: float, *doubt: np.ndarray) -> PressCost:
    rates = ((CostKind(Sort.PARTS, "die"), cost),)
    return PressCost(
        press="P", press_name="P", tonnes=1.0, pressed=rates, common=rates, apart=(), doubt=doubt
    )


def test_the_range_lies_about_the_cost_and_types_add_up_by_squares() -> None:
    assert press(50.0, DEVIATIONS).span == pytest.approx((46.0, 54.0))
    assert press(50.0, DEVIATIONS, 0.75 * DEVIATIONS).span == pytest.approx((45.0, 55.0))
    assert press(50.0).span is None
    assert press(50.0, np.zeros(5)).span is None


def test_what_is_not_known_of_a_type_is_the_same_for_two_presses_that_use_it() -> None:
    assert not press(50.0, DEVIATIONS).is_toss_up(press(49.0, DEVIATIONS))


def test_presses_with_different_parts_are_a_toss_up_where_the_difference_may_be_none() -> None:
    none = np.zeros_like(DEVIATIONS)
    mine = press(50.0, DEVIATIONS, none)
    assert mine.is_toss_up(press(45.0, none, DEVIATIONS))  # the difference is known to within 5.66
    assert press(45.0, none, DEVIATIONS).is_toss_up(mine)
    assert not mine.is_toss_up(press(44.0, none, DEVIATIONS))


def test_the_demos_presses_have_ranges_that_hold_their_cost(db: None) -> None:
    demo.load(by=None, today=DEMO_DAY)
    found = season_costs(on=DEMO_DAY)
    assert found is not None
    for one in found.basket.presses:
        assert one.span is not None
        low, high = one.span
        assert low < one.total < high
        assert high - low < one.total
