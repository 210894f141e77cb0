"""When to stop a worn part: harvests and lots must not pass for wear."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from tests.calc.policy.figures import EVEN, screw_runs, stop_advice, trend_within
from wearlog.calc.policy import Trend, oil_per_kg, stop_rule


def plain_trend(
    age: np.ndarray, figure: np.ndarray, group: np.ndarray, block: np.ndarray
) -> tuple[float, float, float]:
    """Slope, standard error and its inflation by least squares on the means of the blocks, with a column for
    each group."""
    keys = sorted(set(zip(group.tolist(), block.tolist(), strict=True)))
    means = [
        (age[own].mean(), figure[own].mean(), key[0])
        for key in keys
        for own in [(group == key[0]) & (block == key[1])]
    ]
    ages, figures, names = (np.array(column) for column in zip(*means, strict=True))
    columns = np.column_stack([ages, *(names == name for name in np.unique(names))])
    answer = np.linalg.lstsq(columns, figures, rcond=None)[0]
    left = figures - columns @ answer
    variance = left @ left / (len(figures) - columns.shape[1])
    pairs = [left[n] * left[n + 1] for n in range(len(left) - 1) if names[n] == names[n + 1]]
    alike = min(max(0.0, sum(pairs) / (left @ left) + 1 / len(left)), 0.8)
    variance *= (1 + alike) / (1 - alike)
    slope_variance = variance * np.linalg.inv(columns.T @ columns)[0, 0]
    return float(answer[0]), float(np.sqrt(slope_variance)), float((1 + alike) / (1 - alike))


def test_the_trend_is_least_squares_with_a_mean_for_each_harvest() -> None:
    given = screw_runs(np.random.default_rng(3), grows=0.1, harvest=15, lot=5, noise=8)
    found = trend_within(*given)
    assert found is not None
    slope, se, more = plain_trend(*given)
    assert (found.slope, found.se) == (pytest.approx(slope, rel=1e-9), pytest.approx(se, rel=1e-9))
    assert found.freedom == pytest.approx((36 - 3 - 1) / more, rel=1e-9)
    assert found.seen == 3 * 118.0  # sixty runs of 2 t in each harvest
    span = found.limits(0.95)
    assert span.high == pytest.approx(found.slope + stats.t.ppf(0.975, found.freedom) * found.se, rel=1e-9)


@pytest.mark.parametrize("share", [0.0, 0.5, 0.9])
@pytest.mark.parametrize(
    ("harvest", "lot", "alike"), [(0.0, 0.0, 0.0), (15.0, 5.0, 0.0), (15.0, 10.0, 0.0), (15.0, 10.0, 0.6)]
)
def test_harvests_and_lots_that_differ_stop_no_screw_that_should_go_on(
    share: float, harvest: float, lot: float, alike: float
) -> None:
    # False stops: at most 2.5 % at the break-even point, fewer below; three standard errors of 1,000 sets
    # are 1.5 %. Thirds of all runs against each other stopped 20 to 37 % of such screws.
    found, thirds = stop_advice(share * EVEN, 1000, harvest=harvest, lot=lot, alike=alike)
    assert found.count(True) / 1000 < 0.025 + 0.015
    assert not harvest or thirds.count(True) > 200


def test_a_screw_that_loses_much_is_stopped_and_one_that_loses_little_goes_on() -> None:
    assert stop_advice(20 * EVEN, 200)[0].count(True) > 195
    quiet, _thirds = stop_advice(0.1 * EVEN, 200, lot=0.1, noise=0.2)
    assert quiet.count(False) > 190


def test_a_part_is_stopped_once_a_tonne_loses_more_than_one_has_cost() -> None:
    # After 100 t at 0.2 a tonne and tonne a tonne loses 20; so far one has cost 700 / 100 + 20 / 2 = 17.
    found = stop_rule(part_and_work_cost=700, tonnes=100, loss=Trend(0.2, 0.001, 30, 1.0))
    assert (found.stop, found.loss_now, found.average_so_far) == (True, 20.0, 17.0)
    early = stop_rule(part_and_work_cost=700, tonnes=100, loss=Trend(0.1, 0.001, 30, 1.0))
    assert (early.stop, early.loss_now, early.average_so_far) == (False, 10.0, 12.0)


def test_a_wide_range_gives_no_advice_and_says_so() -> None:
    found = stop_rule(part_and_work_cost=700, tonnes=100, loss=Trend(0.2, 0.1, 30, 1.0))
    assert found.stop is None
    assert "more or less" in found.reason
    assert found.loss_range.low == 0.0


def test_a_press_that_does_better_than_new_loses_nothing() -> None:
    found = stop_rule(part_and_work_cost=700, tonnes=100, loss=Trend(-0.2, 0.001, 30, 1.0))
    assert (found.stop, found.loss_now, found.average_so_far) == (False, 0.0, 7.0)


def test_no_tonne_or_too_few_runs_are_no_advice() -> None:
    none = stop_rule(part_and_work_cost=700, tonnes=0, loss=None)
    assert (none.stop, "no tonne" in none.reason) == (None, True)
    few = stop_rule(part_and_work_cost=700, tonnes=10, loss=None)
    assert (few.stop, "too few runs" in few.reason) == (None, True)
    age = np.arange(5.0)
    assert trend_within(age, age, np.zeros(5), np.arange(5)) is None  # three degrees of freedom
    assert trend_within(np.ones(9), np.ones(9), np.zeros(9), np.arange(9)) is None  # one age
    assert trend_within([], [], [], []) is None


def test_numbers_that_are_none_are_refused() -> None:
    with pytest.raises(ValueError, match="not be negative"):
        stop_rule(part_and_work_cost=-1, tonnes=1, loss=None)
    with pytest.raises(ValueError, match="must be finite"):
        stop_rule(part_and_work_cost=float("nan"), tonnes=1, loss=None)
    with pytest.raises(ValueError, match="same length"):
        trend_within([1.0], [1.0, 2.0], [0], [0])
    with pytest.raises(ValueError, match="must be finite"):
        trend_within([float("inf")], [1.0], [0], [0])


def test_oil_in_cake_and_seed_are_checked() -> None:
    assert oil_per_kg(0.42, 0.0) == pytest.approx(0.42)
    assert oil_per_kg(0.42, 0.42) == pytest.approx(0.0)
    with pytest.raises(ValueError, match=r"fractions between 0 and 1"):
        oil_per_kg(42, 12)
    with pytest.raises(ValueError, match="check the two figures"):
        oil_per_kg(0.10, 0.12)
