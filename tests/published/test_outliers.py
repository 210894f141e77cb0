"""Modified z-scores (Iglewicz and Hoaglin, "How to Detect and Handle Outliers", ASQC Quality Press 1993)
against numbers worked by hand from their formula, and how much of a normal sample they call odd."""

from __future__ import annotations

import math

import numpy as np
import pytest

from wearlog.calc.doubts.odd import ODD_SCORE, odd, scores, slip


def test_scores_are_those_of_the_formula() -> None:
    # Median 3; absolute deviations 2, 1, 0, 1, 97, so that their median is 1: 0.6745 (x - 3) / 1.
    found = scores(np.array([1.0, 2.0, 3.0, 4.0, 100.0]))
    assert found.tolist() == pytest.approx([-1.349, -0.6745, 0.0, 0.6745, 65.4265])


def test_one_of_two_thousand_normal_values_lies_beyond_the_bound() -> None:
    """A score is the value in standard deviations where all is normal: P(|z| > 3.5) = 0.000465."""
    found = np.abs(scores(np.random.default_rng(5).normal(12.0, 2.0, 200_000))) > ODD_SCORE
    assert 0.00033 < found.mean() < 0.00060


@pytest.mark.parametrize("factor", [0.001, 0.1, 10.0, 1_000.0])
def test_a_misplaced_decimal_point_is_found_and_undone(factor: float) -> None:
    pace = np.random.default_rng(3).normal(math.log(15.0), 0.05, 40)
    pace[17] += math.log(factor)
    found, away = odd(pace)
    assert np.flatnonzero(found).tolist() == [17]
    assert slip(float(away[17])) == factor


def test_half_the_pace_is_odd_but_no_slip_of_the_point() -> None:
    pace = np.random.default_rng(3).normal(math.log(15.0), 0.05, 40)
    pace[17] -= math.log(2.0)
    found, away = odd(pace)
    assert found[17]
    assert slip(float(away[17])) is None


@pytest.mark.parametrize("place", [0, 1, 38, 39])
def test_a_slip_at_either_end_is_found_too(place: int) -> None:
    pace = np.random.default_rng(3).normal(math.log(15.0), 0.05, 40)
    pace[place] += math.log(10.0)
    assert np.flatnonzero(odd(pace)[0]).tolist() == [place]


def test_of_runs_that_agree_to_the_last_digit_none_is_odd() -> None:
    assert not odd(np.full(30, math.log(15.0)))[0].any()
