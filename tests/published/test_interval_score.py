"""The interval score against its definition: Gneiting and Raftery, "Strictly proper scoring rules,
prediction, and estimation", Journal of the American Statistical Association 102, 2007, equation 43.

The equation was read in the manual of the R package scoringfunctions 1.1, which names its number:
S(x1, x2, y, p) = (x2 - x1) + (2 / p)(x1 - y) 1{y < x1} + (2 / p)(y - x2) 1{y > x2}. Neither prints a number;
the worked values are reckoned by hand from it.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from tests.calc.rough.scores import interval_score as score_of_cases
from wearlog.calc.conformal import DayRange, interval_score

OUTSIDE = 0.2
"""A range of 80 %."""


def by_definition(low: float, high: float, came: float) -> float:
    return (
        (high - low) + 2 / OUTSIDE * (low - came) * (came < low) + 2 / OUTSIDE * (came - high) * (came > high)
    )


@pytest.mark.parametrize(
    ("came", "score"),
    [
        (25.0, 20.0),  # within: the width alone
        (10.0, 20.0),  # at an end
        (7.0, 50.0),  # three days early: 20 + (2 / 0.2) * 3
        (34.5, 65.0),  # four and a half late: 20 + (2 / 0.2) * 4.5
    ],
)
def test_worked_values(came: float, score: float) -> None:
    given = DayRange(early=10.0, mid=20.0, late=30.0)
    assert interval_score(given, came) == score == by_definition(10.0, 30.0, came)
    if came == int(came):
        assert score_of_cases((10, 20, 30), int(came)) == score


def test_it_is_proper_the_true_tenth_and_nine_tenths_score_best() -> None:
    # For a standard normal day the least mean score is (4 / p) times the density at the 10 % point: 3.50998
    # (by integrating the definition); ranges that are moved, narrower or wider score worse.
    came = stats.norm.ppf((np.arange(20_000) + 0.5) / 20_000)

    def mean_score(low: float, high: float) -> float:
        given = DayRange(early=low, mid=0.0, late=high)
        return float(np.mean([interval_score(given, float(day)) for day in came]))

    end = stats.norm.ppf(0.9)
    best = mean_score(-end, end)
    assert best == pytest.approx(4 / OUTSIDE * stats.norm.pdf(end), rel=1e-3)
    assert best == pytest.approx(3.50998, rel=1e-3)
    moved = ((-end, end + 0.2), (-end + 0.2, end), (-end - 0.2, end - 0.2))
    for low, high in (*moved, (-0.8, 0.8), (-2.0, 2.0)):
        assert mean_score(low, high) > best + 0.01
