"""Lives from ages: invariants, coverage, and what few failures can bear."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import optimize, stats

from wearlog.calc.life import Limits, fit_life, fixed_shape, kaplan_meier, median_life, remaining
from wearlog.calc.weibull.many import fit_many

Sample = list[tuple[float, bool]]
samples = st.lists(st.tuples(st.floats(min_value=1, max_value=1e4), st.booleans()), min_size=1, max_size=25)


def parted(sample: Sample) -> tuple[list[float], list[bool]]:
    return [age for age, _dead in sample], [dead for _age, dead in sample]


@given(sample=samples)
def test_any_parts_give_ranges_around_their_estimates_or_a_reason(sample: Sample) -> None:
    life = fit_life(*parted(sample))
    if life.shape is None:
        assert life.basis == "fixed_shape"
        assert life.reason
        assert len(life.fixed_shapes) == 4
        return
    for value, span in (
        (life.shape, life.shape_range),
        (life.scale, life.scale_range),
        (life.b10, life.b10_range),
    ):
        assert span.low is not None
        assert span.high is not None
        assert value is not None
        assert 0 < span.low < value < span.high < np.inf


@given(sample=samples, unit=st.floats(min_value=1e-6, max_value=1e6))
def test_hours_or_kilograms_or_tonnes_give_the_same_shape_and_a_scale_in_that_unit(
    sample: Sample, unit: float
) -> None:
    ages, failed = parted(sample)
    one, other = fit_life(ages, failed), fit_life([age * unit for age in ages], failed)
    assume(one.shape is not None and one.shape < 1e3)
    assert one.scale is not None
    assert other.shape == pytest.approx(one.shape, rel=1e-6)
    assert other.scale == pytest.approx(one.scale * unit, rel=1e-6)
    assert other.b10_range.high == pytest.approx((one.b10_range.high or 0) * unit, rel=1e-6)


@given(sample=samples, seed=st.integers(0, 1000))
def test_the_order_of_the_parts_does_not_matter(sample: Sample, seed: int) -> None:
    mixed = [sample[place] for place in np.random.default_rng(seed).permutation(len(sample))]
    one, other = fit_life(*parted(sample)), fit_life(*parted(mixed))
    assert (one.basis, one.failures) == (other.basis, other.failures)
    if one.shape is not None:
        assert other.shape == pytest.approx(one.shape, rel=1e-6)


@given(sample=samples)
def test_a_count_of_two_is_the_part_twice(sample: Sample) -> None:
    ages, failed = parted(sample)
    counted, repeated = fit_life(ages, failed, [2] * len(ages)), fit_life(ages * 2, failed * 2)
    assert counted.units == repeated.units
    if repeated.shape is not None:
        assert counted.shape == pytest.approx(repeated.shape, rel=1e-6)
        assert counted.shape_range.high == pytest.approx(repeated.shape_range.high, rel=1e-6)


def test_many_sets_in_one_call_give_what_each_gives_alone() -> None:
    rng = np.random.default_rng(2)
    ages = 1000 * rng.weibull(2, (40, 12))
    failed = rng.random((40, 12)) < 0.6
    together = fit_many(ages, failed)
    for place in range(40):
        alone = fit_life(ages[place], failed[place])
        if alone.shape is None:
            assert not together.fitted[place]
        else:
            assert together.shape[place] == pytest.approx(alone.shape, rel=1e-9)
            assert together.scale_high[place] == pytest.approx(alone.scale_range.high, rel=1e-8)
            assert together.b10_low[place] == pytest.approx(alone.b10_range.low, rel=1e-8)


def test_sets_of_different_size_are_padded_with_a_count_of_zero() -> None:
    padded = fit_many([[300, 420, 100, 500, 1, 1]], [[1, 1, 0, 0, 1, 0]], [[1, 1, 1, 1, 0, 0]])
    assert padded.shape[0] == pytest.approx(fit_life([300, 420, 100, 500], [1, 1, 0, 0]).shape)
    assert padded.units[0] == 4


def test_the_scales_limits_are_those_of_its_profile_likelihood() -> None:
    # The slow way round, with scipy: greatest likelihood over the shape for each scale, and its root.
    rng = np.random.default_rng(5)
    ages, limit = 1000 * rng.weibull(1.8, 20), 900.0
    failed = ages <= limit
    ages = np.minimum(ages, limit)
    life = fit_life(ages, failed)
    assert life.scale is not None
    assert life.log_likelihood is not None

    def profile(log_scale: float) -> float:
        def loss(log_shape: float) -> float:
            shape, scale = np.exp(log_shape), np.exp(log_scale)
            gains = failed * (np.log(shape / scale) + (shape - 1) * np.log(ages / scale))
            return -float(np.sum(gains - (ages / scale) ** shape))

        return -float(
            optimize.minimize_scalar(loss, bounds=(-3, 3), method="bounded", options={"xatol": 1e-12}).fun
        )

    floor = life.log_likelihood - stats.chi2.ppf(0.95, 1) / 2
    middle = np.log(life.scale)
    low = optimize.brentq(lambda x: profile(x) - floor, middle - 2, middle)
    high = optimize.brentq(lambda x: profile(x) - floor, middle, middle + 2)
    found = fit_many([ages], [failed], by_likelihood=True)
    assert found.scale_low[0] == pytest.approx(np.exp(low), rel=1e-6)
    assert found.scale_high[0] == pytest.approx(np.exp(high), rel=1e-6)


def test_limits_hold_the_truth_about_as_often_as_they_say_even_with_few_failures() -> None:
    # 2,000 mills with 12 parts of shape 2 and scale 1,000, censored so that about five fail.
    rng = np.random.default_rng(11)
    ages = 1000 * rng.weibull(2, (2000, 12))
    limit = 730.0
    found = fit_many(np.minimum(ages, limit), ages <= limit)
    kept = found.fitted & (found.failures >= 3)
    true_b10 = 1000 * (-np.log(0.9)) ** 0.5
    for low, high, truth in (
        (found.shape_low, found.shape_high, 2.0),
        (found.scale_low, found.scale_high, 1000.0),
        (found.b10_low, found.b10_high, true_b10),
    ):
        held = np.mean((low[kept] < truth) & (truth < high[kept]))
        assert 0.925 <= held <= 0.97


@pytest.mark.parametrize(
    ("ages", "failed", "reason"),
    [
        ([100.0, 50.0], [0, 0], "no failure yet"),
        ([100.0], [1], "two distinct failure ages"),
        ([100.0, 100.0, 100.0, 100.0], [1, 1, 1, 1], "two distinct failure ages"),
        ([100.0, 500.0], [1, 0], "two distinct failure ages"),
    ],
)
def test_one_failure_age_is_never_given_a_shape(ages: list[float], failed: list[int], reason: str) -> None:
    # surpyval 0.25 gives a shape near 1e25 for a single failure.
    life = fit_life(ages, failed)
    assert life.basis == "fixed_shape"
    assert reason in life.reason
    assert (life.shape, life.scale, life.log_likelihood) == (None, None, None)


def test_three_failures_are_fitted_and_shown_beside_the_assumed_shapes() -> None:
    life = fit_life([300.0, 420.0, 500.0, 600.0], [1, 1, 1, 0])
    assert life.basis == "mle"
    assert [each.shape for each in life.fixed_shapes] == [1.0, 2.0, 3.0, 4.0]
    assert fit_life([300.0, 420.0, 500.0, 600.0], [1, 1, 1, 1]).fixed_shapes == ()


def test_without_a_failure_there_is_a_lower_limit_only() -> None:
    # Exponential, 100 h without a failure: 95 % sure that the mean is above 100 / 2.9957.
    found = fixed_shape([60.0, 40.0], [0, 0], 1.0)
    assert found.scale is None
    assert found.scale_range.low == pytest.approx(100 / 2.995732, rel=1e-6)
    assert found.scale_range.high is None


def test_no_part_at_all_says_so() -> None:
    life = fit_life([], [])
    assert (life.basis, life.reason, life.units) == ("none", "no part on record", 0)
    assert life.shape_range == Limits(None, None)
    assert kaplan_meier([], []) == []


@pytest.mark.parametrize("age", [0.0, -1.0, float("nan"), float("inf")])
def test_an_age_that_is_none_is_refused(age: float) -> None:
    with pytest.raises(ValueError, match="Ages must be finite and above 0"):
        fit_life([age, 5.0], [1, 1])


@given(sample=samples)
def test_survival_falls_from_one_and_never_below_zero(sample: Sample) -> None:
    steps = kaplan_meier(*parted(sample))
    values = [1.0] + [step.survival for step in steps]
    assert all(after < before for before, after in pairwise(values))
    assert values[-1] >= 0
    assert all(
        0 <= step.low <= step.survival + 1e-12 and step.survival <= step.high + 1e-12 for step in steps
    )


def test_more_than_half_alive_has_no_median() -> None:
    assert median_life(kaplan_meier([10.0, 20.0, 20.0], [1, 0, 0])) is None


def test_an_old_part_has_less_left_when_wear_out_is_learned_and_as_much_when_it_is_chance() -> None:
    worn = remaining(3.0, 1000.0, [0.0, 500.0, 1000.0], 0.5)
    assert worn[0] > worn[1] > worn[2] > 0
    # Shape 1 has no memory: 1,000 ln 2 whatever the age.
    assert remaining(1.0, 1000.0, [0.0, 700.0], 0.5).tolist() == pytest.approx([693.147181, 693.147181])


@given(
    shape=st.floats(min_value=0.5, max_value=8),
    age=st.floats(min_value=0, max_value=5000),
    chance=st.floats(min_value=0.01, max_value=0.99),
)
def test_what_is_left_is_the_quantile_of_the_life_given_the_age(
    shape: float, age: float, chance: float
) -> None:
    scale = 1000.0
    left = float(remaining(shape, scale, age, chance))
    later = np.exp(-(((age + left) / scale) ** shape) + (age / scale) ** shape)
    assert later == pytest.approx(1 - chance, abs=1e-6)
