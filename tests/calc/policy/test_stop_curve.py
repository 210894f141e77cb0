"""Trends of several ages at once, what is usual for a type, and the course of the average cost."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import linalg

from tests.calc.policy.figures import trend_within
from wearlog.calc.policy import Course, Trend, drawn_to_usual, trends_within, usual_trend


def made(seed: int, parts: int = 3) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    chance = np.random.default_rng(seed)
    runs = 60
    ages = chance.uniform(0, 20, (parts, runs))
    group, block = np.repeat(np.arange(3), 20), np.arange(runs)
    figure = 0.5 * ages[0] + 2.0 * ages[-1] + 10.0 * group + chance.normal(size=runs)
    return ages, figure, group, block


@pytest.mark.parametrize("seed", range(3))
def test_slopes_are_those_of_least_squares_with_a_mean_for_each_group(seed: int) -> None:
    ages, figure, group, block = made(seed)
    design = np.concatenate([ages, [group == each for each in range(3)]]).T.astype(float)
    slopes, left, _rank, _values = linalg.lstsq(design, figure)
    errors = np.sqrt(np.diagonal(linalg.inv(design.T @ design)) * left / (60 - 6))
    for index, trend in enumerate(trends_within(ages, [figure], group, block)[0]):
        assert trend is not None
        assert trend.slope == pytest.approx(slopes[index], rel=1e-9)
        # At least the plain standard error, since blocks that follow each other may be alike.
        assert trend.se >= errors[index] * (1 - 1e-9)


def test_one_age_alone_is_the_line_within_groups() -> None:
    ages, figure, group, block = made(4, parts=1)
    assert trends_within(ages, [figure], group, block)[0] == [trend_within(ages[0], figure, group, block)]


def test_an_age_that_is_another_is_told_by_the_first_alone() -> None:
    ages, figure, group, block = made(5, parts=2)
    same = np.stack([ages[0], ages[0] + 3.0, ages[1]])
    first, second, third = trends_within(same, [figure], group, block)[0]
    assert first is not None
    assert third is not None
    assert second is None


def test_too_few_blocks_tell_nothing_of_any() -> None:
    ages, figure, group, block = made(6)
    assert trends_within(ages[:, :6], [figure[:6]], group[:6], block[:6])[0] == [None, None, None]


def test_ages_of_different_lengths_are_refused() -> None:
    ages, figure, group, block = made(7)
    with pytest.raises(ValueError, match="same length"):
        trends_within(ages[:, 1:], [figure], group, block)


@given(
    slopes=st.lists(st.floats(-2, 5), min_size=3, max_size=8),
    errors=st.lists(st.floats(0.05, 2), min_size=8, max_size=8),
)
def test_where_parts_differ_no_more_than_their_errors_they_are_alike(
    slopes: list[float], errors: list[float]
) -> None:
    trends = [Trend(slope, sd, 10.0, 5.0) for slope, sd in zip(slopes, errors, strict=False)]
    usual = usual_trend(trends)
    assert usual is not None
    assert min(slopes) - 1e-9 <= usual.mean <= max(slopes) + 1e-9
    assert usual.between >= 0
    # Never surer than if all were one part, and no less sure than with the surest of them alone.
    weights = sum(each.se**-2 for each in trends)
    assert usual.variance >= (1 - 1e-9) / weights
    assert usual.variance <= min(each.se**2 + usual.between for each in trends) * (1 + 1e-9)
    same = usual_trend([Trend(1.0, sd, 10.0, 5.0) for sd in errors])
    assert same is not None
    assert same.between == 0.0


def test_two_parts_say_nothing_of_what_is_usual() -> None:
    assert usual_trend([Trend(1.0, 0.1, 10.0, 5.0)] * 2) is None


def test_a_sure_part_keeps_its_own_trend_and_an_unsure_one_takes_the_usual() -> None:
    usual = usual_trend([Trend(slope, 0.1, 20.0, 5.0) for slope in (0.9, 1.0, 1.1, 1.3, 0.7)])
    assert usual is not None
    sure, unsure = Trend(3.0, 0.001, 20.0, 5.0), Trend(3.0, 50.0, 20.0, 5.0)
    assert drawn_to_usual(sure, usual).slope == pytest.approx(3.0, abs=0.01)
    assert drawn_to_usual(unsure, usual).slope == pytest.approx(usual.mean, abs=0.01)
    nothing = drawn_to_usual(None, usual)
    assert (nothing.slope, nothing.freedom) == (usual.mean, 3)
    assert drawn_to_usual(unsure, usual).se <= nothing.se


def test_the_average_is_lowest_where_the_next_tonne_costs_as_much() -> None:
    # 600 and 1.2 a tonne and tonne: sqrt(2 * 600 / 1.2) = 31.62 t, at sqrt(2 * 600 * 1.2) = 37.95 a tonne.
    course = Course(600.0, 1.2)
    assert course.lowest == pytest.approx(31.6228, abs=1e-4)
    assert course.average(31.6228) == pytest.approx(37.9473, abs=1e-4)
    # What the next tonne then loses, 1.2 a tonne and tonne, is as much.
    assert course.average(31.6228) == pytest.approx(1.2 * 31.6228, abs=1e-3)


@given(cost=st.floats(1, 1e5), slope=st.floats(1e-3, 1e3), share=st.floats(0.05, 20))
def test_no_other_age_costs_less_and_within_the_bar_hardly_more(
    cost: float, slope: float, share: float
) -> None:
    course = Course(cost, slope)
    assert course.lowest is not None
    assert course.little is not None
    least, here = course.average(course.lowest), course.average(share * course.lowest)
    assert here >= least * (1 - 1e-9)
    inside = course.little[0] <= share * course.lowest <= course.little[1]
    assert inside == (here <= 1.05 * least) or here == pytest.approx(1.05 * least, rel=1e-6)


def test_where_nothing_is_lost_there_is_no_lowest_cost() -> None:
    assert Course(600.0, 0.0).lowest is None
    assert Course(600.0, -1.0).little is None
    assert Course(600.0, -1.0).average(60.0) == 10.0
