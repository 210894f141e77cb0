"""The statistics behind doubts, beside plain versions, a reference library and cases made by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from tests.examples import bounded
from wearlog.calc.doubts import gaps, odd, steps, swapped

RUNS = st.lists(st.floats(1.0, 50.0), min_size=1, max_size=60).map(lambda kg: np.log(np.array(kg)))


class TestOddPaces:
    def test_the_modified_z_score_is_that_of_a_reference_library(self) -> None:
        """Iglewicz and Hoaglin's M = 0.6745 (x - median) / MAD, the MAD by scipy."""
        values = np.random.default_rng(3).normal(5.0, 2.0, 31)
        mad = stats.median_abs_deviation(values)
        assert odd.scores(values) == pytest.approx(0.6745 * (values - np.median(values)) / mad)

    @given(RUNS)
    @settings(max_examples=bounded(200, 60))
    def test_deviations_are_those_from_the_median_of_the_neighbours_one_by_one(
        self, pace: np.ndarray
    ) -> None:
        found = odd.deviations(pace)
        for own in range(pace.size):
            others = [pace[each] for each in range(max(own - 7, 0), min(own + 8, pace.size)) if each != own]
            if len(others) < 5:
                assert math.isnan(found[own])
            else:
                assert found[own] == pytest.approx(pace[own] - np.median(others), abs=1e-12)

    @given(RUNS, st.floats(0.01, 100.0))
    @settings(max_examples=bounded(200, 40))
    def test_the_unit_of_the_weights_does_not_matter(self, pace: np.ndarray, unit: float) -> None:
        one, two = odd.odd(pace)[0], odd.odd(pace + math.log(unit))[0]
        near = np.isclose(np.abs(odd.deviations(pace)), odd.LEAST_STEP, atol=1e-9)
        assert (one == two)[~near].all()

    def test_a_run_ten_times_too_heavy_is_odd_and_its_neighbours_are_not(self) -> None:
        pace = np.log(np.full(30, 15.0)) + np.random.default_rng(1).normal(0, 0.03, 30)
        pace[11] += math.log(10)
        assert np.flatnonzero(odd.odd(pace)[0]).tolist() == [11]
        assert odd.slip(float(odd.odd(pace)[1][11])) == 10.0

    @pytest.mark.parametrize(
        ("ratio", "factor"),
        [(10.4, 10.0), (0.098, 0.1), (1_030.0, 1_000.0), (2.0, None), (0.5, None), (4.0, None)],
    )
    def test_a_misplaced_point_is_told_from_another_mistake(self, ratio: float, factor: float | None) -> None:
        assert odd.slip(math.log(ratio)) == factor


class TestSteps:
    def test_size_and_t_are_those_of_ridge_regression(self) -> None:
        """Against the normal equations written out, for each place; the ridge is a row more of the design."""
        pace = np.random.default_rng(5).normal(0, 0.03, 24) - 0.002 * np.arange(24)
        size, t = steps.steps(pace)
        for place in range(5, 20):
            design = np.stack([np.ones(24), np.arange(24.0), (np.arange(24) >= place).astype(float)], axis=1)
            design = np.vstack([design, [0.0, math.sqrt(steps.SLOW), 0.0]])
            inverse = np.linalg.inv(design.T @ design)
            beta = inverse @ design.T @ np.r_[pace, 0.0]
            variance = ((np.r_[pace, 0.0] - design @ beta) ** 2).sum() / (24 - 3)
            assert size[place] == pytest.approx(beta[2])
            assert t[place] == pytest.approx(beta[2] / math.sqrt(variance * inverse[2, 2]))
        assert np.isnan(t[:5]).all()
        assert np.isnan(t[20:]).all()

    def test_chance_makes_a_step_as_seldom_as_is_promised(self) -> None:
        """2,000 stretches of pure scatter, wide enough that the least size plays no part."""
        random = np.random.default_rng(11)
        found = sum(steps.step(random.normal(0, 0.3, 30)) is not None for _ in range(2_000))
        assert found / 2_000 <= steps.CHANCE + 3 * math.sqrt(steps.CHANCE / 2_000)

    def test_a_step_is_found_where_it_is_and_a_slow_fall_is_none(self) -> None:
        scatter = np.random.default_rng(2).normal(0, 0.02, 40)
        fall = scatter - 0.004 * np.arange(40)
        assert steps.step(fall) is None
        fall[22:] += math.log(1.15)
        found = steps.step(fall)
        assert found is not None
        assert abs(found.before - 22) <= 1
        assert found.size == pytest.approx(math.log(1.15), abs=0.05)

    @pytest.mark.parametrize("runs", range(12))
    def test_of_few_runs_nothing_is_said(self, runs: int) -> None:
        assert steps.step(np.where(np.arange(runs) >= runs // 2, 1.0, 0.0)) is None or runs >= 11


class TestMixedUp:
    def test_only_the_day_on_which_each_ran_at_the_others_pace_is_found(self) -> None:
        usual = np.tile([2.7, 3.0], (4, 1))
        pace = np.array([2.7, 3.01, 3.0, 2.71])  # as usual; mixed up; this one alone; as usual
        other = np.array([3.0, 2.69, 3.0, 3.3])
        found = swapped.swapped(pace, other, usual, usual[:, ::-1], np.full(4, 0.03))
        assert found.tolist() == [False, True, False, False]

    def test_presses_that_are_as_fast_as_each_other_are_never_mixed_up(self) -> None:
        usual = np.full((3, 2), 2.7)
        assert not swapped.swapped(usual[:, 0], usual[:, 0], usual, usual, np.full(3, 0.03)).any()


class TestGaps:
    WORKING_DAYS = np.array([day % 7 != 6 for day in range(84)])

    def test_a_working_day_that_is_missing_is_found_and_sundays_are_not(self) -> None:
        ran = self.WORKING_DAYS.copy()
        assert gaps.gaps(ran, np.zeros(84, dtype=bool)) == []
        ran[38] = False
        assert gaps.gaps(ran, np.zeros(84, dtype=bool)) == [(38, 38)]

    def test_the_saturday_before_a_sunday_is_found_though_the_mill_was_shut_on_sunday(self) -> None:
        ran = self.WORKING_DAYS.copy()
        ran[40] = False  # a Saturday: 40 % 7 == 5
        assert gaps.gaps(ran, ~self.WORKING_DAYS) == [(40, 40)]

    def test_a_day_of_which_it_is_known_why_and_a_long_pause_are_no_gap(self) -> None:
        ran, closed = self.WORKING_DAYS.copy(), np.zeros(84, dtype=bool)
        ran[38] = False
        closed[38] = True
        assert gaps.gaps(ran, closed) == []
        ran[35:45] = False
        assert gaps.gaps(ran, np.zeros(84, dtype=bool)) == []
