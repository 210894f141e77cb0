"""Standardising to a common mix: what it must do whatever the numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from wearlog.calc.mix import (
    NeverRan,
    NoMix,
    Standardised,
    common_ground,
    standardise_counts,
    standardise_hours,
    without_company,
)

positive = st.floats(min_value=0.1, max_value=1e4)


def result_of(found: Standardised | NeverRan | NoMix) -> Standardised:
    assert isinstance(found, Standardised)
    return found


def test_a_press_with_the_slow_crop_is_not_called_slow() -> None:
    # Both presses take 20 h per tonne of one crop and 40 h of the other; one ran mostly the slow crop.
    fast = result_of(standardise_hours([1800, 400], [90, 10], [100, 100]))
    slow = result_of(standardise_hours([200, 3600], [10, 90], [100, 100]))
    assert fast.crude == pytest.approx(22.0)
    assert slow.crude == pytest.approx(38.0)
    assert fast.rate == pytest.approx(30.0)
    assert slow.rate == pytest.approx(30.0)


def test_a_press_that_never_ran_a_crop_of_the_mix_is_not_scored() -> None:
    found = standardise_hours([100, 0, 50], [10, 0, 2], [5, 5, 5])
    assert found == NeverRan(missing=(1,), crude=pytest.approx(12.5))


def test_a_crop_that_the_mix_lacks_is_not_asked_for() -> None:
    assert result_of(standardise_hours([100, 0], [10, 0], [5, 0])).rate == pytest.approx(10.0)


def test_an_empty_mix_says_so() -> None:
    assert standardise_hours([1, 2], [1, 2], [0, 0]) == NoMix()


def test_one_block_of_work_bounds_nothing() -> None:
    found = result_of(standardise_hours([10, 8], [1, 1], [1, 1], [([10], [1]), ([4, 4], [0.5, 0.5])]))
    assert (found.low, found.high) == (None, None)


def test_more_weeks_of_the_same_spread_narrow_the_range() -> None:
    def width(weeks: int) -> float:
        hours, tonnes = np.tile([9.0, 11.0], weeks), np.ones(2 * weeks)
        found = result_of(standardise_hours([hours.sum()], [tonnes.sum()], [1], [(hours, tonnes)]))
        assert found.low is not None
        assert found.high is not None
        assert found.low < 10 < found.high
        return found.high - found.low

    assert width(20) < width(5) < width(2)


def test_the_range_of_hours_holds_the_truth_about_as_often_as_it_says() -> None:
    # 400 mills of 12 weeks and two crops, weekly rates spread by 15 %: 95 % ranges should hold in
    # 92 to 98 % of them (a binomial's 3 standard deviations around 95 % are 1.7 to 2 points wide a side).
    rng = np.random.default_rng(7)
    held = 0
    for _ in range(400):
        tonnes = rng.uniform(2, 6, size=(2, 12))
        hours = tonnes * np.array([[20.0], [35.0]]) * rng.normal(1, 0.15, size=(2, 12))
        found = result_of(
            standardise_hours(
                hours.sum(1), tonnes.sum(1), [60, 40], [(hours[0], tonnes[0]), (hours[1], tonnes[1])]
            )
        )
        assert found.low is not None
        assert found.high is not None
        held += found.low <= 26.0 <= found.high  # 0.6 x 20 + 0.4 x 35
    assert 0.92 <= held / 400 <= 0.98


@given(
    rates=st.lists(positive, min_size=1, max_size=6),
    data=st.data(),
)
def test_the_standardised_rate_lies_between_the_rates_of_the_crops(
    rates: list[float], data: st.DataObject
) -> None:
    size = len(rates)
    tonnes = data.draw(st.lists(positive, min_size=size, max_size=size))
    mix = data.draw(st.lists(positive, min_size=size, max_size=size))
    hours = [rate * amount for rate, amount in zip(rates, tonnes, strict=True)]
    found = result_of(standardise_hours(hours, tonnes, mix))
    assert min(rates) * (1 - 1e-9) <= found.rate <= max(rates) * (1 + 1e-9)


@given(
    counts=st.lists(st.integers(min_value=0, max_value=500), min_size=2, max_size=5),
    data=st.data(),
    scale=st.floats(min_value=1e-3, max_value=1e3),
)
def test_the_unit_of_the_mix_does_not_matter(counts: list[int], data: st.DataObject, scale: float) -> None:
    assume(sum(counts) > 0)
    size = len(counts)
    exposure = data.draw(st.lists(positive, min_size=size, max_size=size))
    mix = data.draw(st.lists(positive, min_size=size, max_size=size))
    one = result_of(standardise_counts(counts, exposure, mix))
    other = result_of(standardise_counts(counts, exposure, [weight * scale for weight in mix]))
    assert other.rate == pytest.approx(one.rate)
    assert other.high == pytest.approx(one.high)
    assert one.low is not None
    assert one.high is not None
    assert one.low <= one.rate <= one.high


def test_no_event_at_all_has_a_lower_bound_of_zero_and_an_upper_one_above() -> None:
    # One stratum, nothing seen in 100: the exact Poisson upper limit is 3.689 / 100 (chi2(0.975; 2) / 2).
    found = result_of(standardise_counts([0], [100], [1]))
    assert found.low == 0
    assert found.high == pytest.approx(0.0368888, abs=1e-7)


def test_negative_or_ragged_input_is_refused() -> None:
    with pytest.raises(ValueError, match="not negative"):
        standardise_hours([-1], [1], [1])
    with pytest.raises(ValueError, match="same length"):
        standardise_hours([1, 2], [1], [1])


def test_the_common_ground_holds_what_all_ran_and_says_what_it_leaves_out() -> None:
    # 10 of 220 t are left out: 4.5 %.
    ground = common_ground([[100, 10, 0], [80, 30, 0], [0, 0, 0]][:2])
    assert ground is not None
    assert ground.mix == (180, 40, 0)
    assert ground.left_out == (0, 0, 0)
    other = common_ground([[100, 10], [110, 0]])
    assert other is not None
    assert other.mix == (210, 0)
    assert other.left_out == (0, pytest.approx(10 / 220))


def test_presses_without_a_common_crop_have_no_ground() -> None:
    assert common_ground([[1, 0], [0, 1]]) is None
    assert common_ground(np.zeros((0, 3))) is None


def test_who_shares_no_crop_is_without_company_and_the_only_press_is_not() -> None:
    assert without_company([[1, 2, 0], [0, 3, 0], [0, 0, 4], [0, 0, 0]]) == (2, 3)
    assert without_company([[1, 2, 0]]) == ()
    assert without_company([[1, 0], [0, 1]]) == (0, 1)
    assert without_company([[1, 0], [0, 0]]) == (1,)


def test_a_table_that_is_no_table_is_refused() -> None:
    with pytest.raises(ValueError, match="a row for each press"):
        common_ground([1, 2])
    with pytest.raises(ValueError, match="not negative"):
        without_company([[-1, 2]])


@given(
    ran=st.lists(st.lists(st.sampled_from([0.0, 0.5, 7.0]), min_size=3, max_size=3), min_size=1, max_size=5)
)
def test_every_press_on_a_common_ground_has_a_rate_and_company_means_a_shared_crop(
    ran: list[list[float]],
) -> None:
    ground = common_ground(ran)
    if ground is not None:
        for tonnes in ran:
            assert isinstance(standardise_hours([1.0] * 3, tonnes, ground.mix), Standardised)
    alone = without_company(ran)
    pressing = [place for place, tonnes in enumerate(ran) if any(tonnes)]
    for place in pressing:
        shares = any(
            common_ground([ran[place], ran[other]]) is not None for other in pressing if other != place
        )
        assert (place in alone) == (not shares and len(pressing) > 1)
