"""How surely the wear that costs are reckoned by is known: ranges held to mills whose true cost is known."""

from __future__ import annotations

import numpy as np
import pytest

from tests.calc.plain_edges import straight_fleet
from wearlog.calc.consumption import Floats, lives_of_crops, reach, relative_cases, together
from wearlog.calc.wear import EdgeRecord, TypeRecord, fit_type

PRICE, BUDGET = 60.0, 0.4
RATES = (1.0e-5, 1.6e-5, 0.7e-5)
MIX = np.array([0.5, 0.3, 0.2])


def a_tonne(rates: Floats) -> float:
    """What a tonne of the mix uses up of an edge."""
    return float(1000 * PRICE * (MIX @ rates) / BUDGET)


def told(edges: tuple[EdgeRecord, ...]) -> tuple[float, float, float]:
    """Low, middle and high of a tonne's cost, as costs take them from the wear model."""
    fit = fit_type(TypeRecord(key="die", new=5.0, limit=5.4, crops=3, expected_life_kg=None, edges=edges))
    assert fit.new_edge.scenarios is not None
    middle = [None if rate is None else rate.mid for rate in fit.rates]
    lives = lives_of_crops(BUDGET, middle)
    assert lives is not None
    each = 1000 * PRICE * MIX / lives
    less, more = together([reach((relative_cases(fit.new_edge.scenarios.rates, middle) - 1) @ each)])
    return float(each.sum() - less), float(each.sum()), float(each.sum() + more)


def bootstrapped(edges: tuple[EdgeRecord, ...], seed: int) -> float:
    """The width between the 10 % and 90 % points by drawing edges anew: their mean pace on a logarithmic
    scale by the last reading, with the crops' wear against each other as it is."""
    rng = np.random.default_rng(seed)
    paces = [(edge.gauges[-1].value - 5.0) / (edge.gauge_kg[-1] @ np.array(RATES)) for edge in edges]
    drawn = rng.choice(np.log(paces), (2000, len(paces)))
    low, high = np.quantile(np.exp(drawn.mean(axis=1)), (0.1, 0.9))
    return float(high - low) * a_tonne(np.array(RATES))


def mill(seed: int, spread: float = 0.3) -> tuple[EdgeRecord, ...]:
    """Twelve edges whose lives differ by `spread` (sd of the logarithm), all crops on each."""
    return straight_fleet(seed, parts=12, rates=RATES, spread=spread)


def test_about_eight_of_ten_ranges_hold_the_true_cost() -> None:
    true = a_tonne(np.array(RATES))
    ranges = [told(mill(seed)) for seed in range(50)]
    held = np.mean([low <= true <= high for low, _middle, high in ranges])
    assert 0.7 <= held <= 0.92  # three standard deviations of 50 mills are 0.17
    assert np.mean([middle for _low, middle, _high in ranges]) == pytest.approx(true, rel=0.03)


def test_ranges_are_about_as_wide_as_a_plain_bootstraps() -> None:
    ratios = []
    for seed in range(20):
        low, _middle, high = told(mill(seed))
        ratios.append((high - low) / bootstrapped(mill(seed), seed))
    assert 1.0 < np.median(ratios) < 1.7  # wider, since the model has to learn what each crop does


def test_a_crop_of_which_nothing_is_known_goes_with_the_others() -> None:
    cases = np.array([[1.0, 7.0, 4.0], [3.0, 9.0, 8.0]])
    found = relative_cases(cases, [2.0, None, 4.0])
    assert found.tolist() == [[0.5, pytest.approx(2.5 / 3), 1.0], [1.5, pytest.approx(5.5 / 3), 2.0]]
    assert relative_cases(cases, [None] * 3).tolist() == [[1.0] * 3] * 2


def test_independent_errors_add_up_by_their_squares() -> None:
    assert together([(3.0, 5.0), (4.0, 12.0)]) == (5.0, 13.0)
    assert together([]) == (0.0, 0.0)
    assert reach(np.linspace(-1.0, 2.0, 31)) == (pytest.approx(0.7), pytest.approx(1.7))
    assert reach(np.ones(5)) == (0.0, 1.0)
