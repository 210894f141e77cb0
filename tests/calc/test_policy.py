"""When work pays: least cost, and where advice is withheld."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from wearlog.calc.policy import (
    Choice,
    dies_to_make,
    mend_or_buy,
    oil_per_kg,
    order_by,
    replacement,
    replacement_of,
    stop_rule,
)


def cost(age: float, shape: float, scale: float, planned: float, failure: float) -> float:
    """The cost per unit of age by brute force."""
    worked, _error = integrate.quad(lambda t: np.exp(-((t / scale) ** shape)), 0, age, limit=200)
    alive = np.exp(-((age / scale) ** shape))
    return float((planned * alive + failure * (1 - alive)) / worked)


@given(
    shape=st.floats(min_value=1.3, max_value=8),
    scale=st.floats(min_value=1, max_value=1e4),
    ratio=st.floats(min_value=2, max_value=100),
)
def test_no_other_age_costs_less(shape: float, scale: float, ratio: float) -> None:
    found = replacement(shape=shape, scale=scale, planned_cost=1, failure_cost=ratio, least_saving=0)
    assert found.best_age is not None
    best = cost(found.best_age, shape, scale, 1, ratio)
    assert found.cost_rate == pytest.approx(best, rel=1e-6)
    for factor in (0.5, 0.9, 1.1, 2.0):
        assert cost(found.best_age * factor, shape, scale, 1, ratio) >= best * (1 - 1e-9)


@given(shape=st.floats(min_value=1.5, max_value=6), unit=st.floats(min_value=1e-3, max_value=1e3))
def test_hours_or_tonnes_give_the_same_advice(shape: float, unit: float) -> None:
    one = replacement(shape=shape, scale=100, planned_cost=1, failure_cost=8)
    other = replacement(shape=shape, scale=100 * unit, planned_cost=1, failure_cost=8)
    assert one.best_age is not None
    assert other.best_age == pytest.approx(one.best_age * unit, rel=1e-6)
    assert other.saving == pytest.approx(one.saving, rel=1e-6)


@pytest.mark.parametrize(
    ("numbers", "reason"),
    [
        ({"shape": 1.0}, "fail by chance"),
        ({"shape": 0.7}, "fail by chance"),
        ({"shape": 2.0, "shape_low": 0.9}, "range includes 1"),
        ({"shape": 2.0, "shape_low": 1.0}, "range includes 1"),
        ({"shape": 2.0, "failure_cost": 1.0}, "no more than planned work"),
        ({"shape": 2.0, "failure_cost": 0.5}, "no more than planned work"),
        ({"shape": 1.3, "failure_cost": 2.0}, "save only"),
    ],
)
def test_advice_is_withheld_where_it_would_not_bear_weight(numbers: dict[str, float], reason: str) -> None:
    found = replacement(**{"scale": 1000.0, "planned_cost": 1.0, "failure_cost": 5.0, **numbers})
    assert found.best_age is None
    assert reason in found.reason
    assert found.cost_rate <= found.run_to_failure_cost
    assert found.saving < 0.05


def test_a_range_of_the_shape_above_one_leaves_the_advice() -> None:
    found = replacement(shape=2.5, shape_low=1.2, scale=1000, planned_cost=1, failure_cost=5)
    assert found.best_age is not None
    assert found.reason == ""


def test_a_flat_optimum_far_out_is_withheld_and_not_placed_at_an_edge() -> None:
    # Grid searches print the last point of their grid here.
    found = replacement(shape=1.01, scale=10, planned_cost=10, failure_cost=11)
    assert found.best_age is None
    assert found.saving == pytest.approx(0, abs=1e-3)


@pytest.mark.parametrize(
    "wrong",
    [
        {"shape": 0.0},
        {"shape": float("nan")},
        {"scale": -1.0},
        {"planned_cost": 0.0},
        {"failure_cost": float("inf")},
    ],
)
def test_numbers_that_are_none_are_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="must be finite and above 0"):
        replacement(**{"shape": 2.0, "scale": 10.0, "planned_cost": 1.0, "failure_cost": 5.0, **wrong})


def test_a_life_with_a_falling_hazard_has_no_best_age() -> None:
    found = replacement_of(
        survival=lambda t: 1 / (1 + t),
        hazard=lambda t: 1 / (1 + t),
        greatest_age=100,
        planned_cost=1,
        failure_cost=5,
    )
    assert found.best_age is None
    assert "run to failure" in found.reason


def test_oil_in_cake_and_seed_are_checked() -> None:
    assert oil_per_kg(0.42, 0.0) == pytest.approx(0.42)
    assert oil_per_kg(0.42, 0.42) == pytest.approx(0.0)
    with pytest.raises(ValueError, match=r"fractions between 0 and 1"):
        oil_per_kg(42, 12)
    with pytest.raises(ValueError, match="check the two figures"):
        oil_per_kg(0.10, 0.12)


def worn_screw(**changes: float) -> dict[str, float]:
    return {
        "part_and_work_cost": 700.0,
        "losses_so_far": 300.0,
        "tonnes_so_far": 100.0,
        "lost_oil_kg_per_t": 2.0,
        "oil_price_per_kg": 3.0,
        "extra_h_per_t": 1.0,
        "hour_cost": 5.0,
    } | changes


def test_a_part_is_stopped_once_a_tonne_loses_more_than_one_has_cost() -> None:
    # 2 kg x 3 + 1 h x 5 = 11 a tonne now, against 1,000 over 100 t = 10 so far.
    found = stop_rule(**worn_screw())
    assert (found.stop, found.loss_now, found.average_so_far) == (True, 11.0, 10.0)
    early = stop_rule(**worn_screw(lost_oil_kg_per_t=0.5))
    assert (early.stop, early.loss_now) == (False, 6.5)


def test_a_press_that_does_better_than_new_loses_nothing() -> None:
    assert stop_rule(**worn_screw(lost_oil_kg_per_t=-5.0, extra_h_per_t=-1.0)).loss_now == 0.0


def test_no_tonne_yet_is_no_advice() -> None:
    found = stop_rule(**worn_screw(tonnes_so_far=0.0))
    assert found.stop is None
    assert "no tonne" in found.reason


def test_the_cheaper_way_per_expected_tonne_is_named() -> None:
    # A rebuild near half the price of new pays if it lasts more than about half as long.
    mend = Choice("rebuild", 320, 40, 60)
    buy = Choice("new screw", 640, 40, 90)
    found = mend_or_buy(mend, buy)
    assert found.better == "rebuild"
    assert found.cost_per_tonne == (pytest.approx(6.0), pytest.approx(7.5556, abs=1e-4))


def test_ways_that_cost_about_the_same_or_are_unknown_are_left_to_people() -> None:
    assert mend_or_buy(Choice("a", 100, 0, 10), Choice("b", 102, 0, 10)).better is None
    unknown = mend_or_buy(Choice("a", 100, 0, None), Choice("b", 102, 0, 10))
    assert unknown.better is None
    assert unknown.reason == "nothing is known of how long this lasts: a"


@pytest.mark.parametrize(
    ("planned", "shelf", "edges", "presses", "dies"),
    [
        (60.0, 0.0, 2, 1, 4),  # 60 t over two edges of 10 t: 3 dies and one for the press
        (60.0, 25.0, 2, 1, 3),  # 35 t short: 1.75 dies
        (60.0, 60.0, 2, 2, 2),  # nothing short: one for each press
        (0.0, 0.0, 2, 0, 0),
        (61.0, 0.0, 1, 1, 8),
    ],
)
def test_dies_for_a_season(planned: float, shelf: float, edges: int, presses: int, dies: int) -> None:
    found = dies_to_make(
        planned_t=planned, edge_life_t=10.0, edges=edges, left_on_shelf_t=shelf, presses=presses
    )
    assert found == dies


def test_a_part_is_ordered_its_lead_time_before_the_early_date() -> None:
    assert order_by(date(2026, 9, 1), lead_days=14) == date(2026, 8, 18)
    assert order_by(date(2026, 9, 1), lead_days=13.5, margin_days=3) == date(2026, 8, 15)
    with pytest.raises(ValueError, match="not be negative"):
        order_by(date(2026, 9, 1), lead_days=-1)
