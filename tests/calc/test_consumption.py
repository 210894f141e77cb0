"""The use of a part's price, against a plain loop, and what must hold of any charges."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.examples import bounded
from wearlog.calc.consumption import charge, lives_of_crops, shares_within

FRACTIONS = st.lists(st.floats(0, 0.7), max_size=12)


def plain_charges(value: float, used: list[float], before: float) -> list[float]:
    """What each run is charged, one after the other, until the life is over."""
    left, charges = max(0.0, 1.0 - before), []
    for fraction in used:
        taken = min(fraction, left)
        left -= taken
        charges.append(value * taken)
    return charges


@settings(max_examples=bounded(2000, 100))
@given(st.floats(0, 1e4), FRACTIONS, st.floats(0, 1.5))
def test_charges_agree_with_a_plain_loop_and_add_up_to_the_price(
    value: float, used: list[float], before: float
) -> None:
    found = charge(value, np.array(used, dtype=float), before=before)
    assert found.each == pytest.approx(plain_charges(value, used, before), abs=1e-8)
    assert found.each.sum() + found.left == pytest.approx(value * max(0.0, 1.0 - before), abs=1e-8)


@settings(max_examples=bounded(1000, 60))
@given(FRACTIONS, st.integers(0, 12), st.floats(0, 1))
def test_charging_in_two_goes_is_charging_in_one(used: list[float], cut: int, before: float) -> None:
    whole = charge(100.0, np.array(used, dtype=float), before=before)
    first = charge(100.0, np.array(used[:cut], dtype=float), before=before)
    then = charge(100.0, np.array(used[cut:], dtype=float), before=before + sum(used[:cut]))
    assert np.concatenate([first.each, then.each]) == pytest.approx(whole.each, abs=1e-9)
    assert then.left == pytest.approx(whole.left, abs=1e-9)


def test_a_part_that_outlives_its_expected_life_is_charged_once() -> None:
    found = charge(58.0, np.array([0.5, 0.4, 0.3, 0.2]))
    assert found.each.tolist() == pytest.approx([29.0, 23.2, 5.8, 0.0])
    assert found.left == 0.0


@pytest.mark.parametrize(("value", "used"), [(-1.0, [0.1]), (1.0, [-0.1]), (1.0, [np.nan]), (np.inf, [0.1])])
def test_impossible_numbers_are_refused(value: float, used: list[float]) -> None:
    with pytest.raises(ValueError, match="Price and use"):
        charge(value, np.array(used))


def test_a_run_counts_by_the_share_of_it_in_which_the_part_was_fitted() -> None:
    start, end = np.array([0.0, 10.0, 20.0, 25.0, 30.0]), np.array([10.0, 20.0, 30.0, 25.0, 40.0])
    assert shares_within(start, end, 5.0, 27.0).tolist() == [0.5, 1.0, 0.7, 1.0, 0.0]
    assert shares_within(start, end, 25.0, np.inf).tolist() == [0.0, 0.0, 0.5, 1.0, 1.0]
    assert shares_within(start, end, 0.0, 25.0).tolist() == [1.0, 1.0, 0.5, 0.0, 0.0]


@settings(max_examples=bounded(1000, 60))
@given(st.lists(st.floats(0, 100), min_size=2, max_size=6, unique=True), st.floats(0, 90), st.floats(0, 10))
def test_fittings_that_follow_each_other_share_a_run_without_rest(
    knots: list[float], start: float, length: float
) -> None:
    knots = [-1.0, *sorted(knots), np.inf]
    runs = np.array([start]), np.array([start + length])
    shares = [shares_within(*runs, a, b)[0] for a, b in pairwise(knots)]
    assert sum(shares) == pytest.approx(1.0)


def test_the_crop_that_wears_most_has_the_shortest_life() -> None:
    # 0.4 mm to the limit; 0.04 mm and 0.01 mm for a tonne, by hand: 10 t and 40 t; unknown: 0.025 mm, 16 t.
    lives = lives_of_crops(0.4, [0.04e-3, 0.01e-3, None])
    assert lives is not None
    assert lives.tolist() == pytest.approx([10_000.0, 40_000.0, 16_000.0])


@pytest.mark.parametrize(("budget", "rates"), [(0.0, [1e-5]), (0.4, [None, None]), (0.4, [0.0]), (0.4, [])])
def test_without_a_rate_or_anything_to_wear_there_is_no_life(
    budget: float, rates: list[float | None]
) -> None:
    assert lives_of_crops(budget, rates) is None
