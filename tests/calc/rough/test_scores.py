"""The interval score, and what is told of the mills of a kind."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from tests.calc.rough.cases import ALONE, FORECAST, KNOWN, ORACLE, PLAIN, Case
from tests.calc.rough.scores import interval_score, result


def test_the_score_is_the_width_and_ten_times_the_days_outside() -> None:
    assert interval_score((10, 20, 30), 15) == 20
    assert interval_score((10, 20, 30), 10) == 20
    assert interval_score((10, 20, 30), 7) == 20 + 30
    assert interval_score((10, 20, 30), 34) == 20 + 40
    assert interval_score(None, 34) == 400


def test_no_other_range_scores_better_than_the_true_tenths() -> None:
    """The score is proper: days normal about 200 with a standard deviation of 30 are best told as from 200 -
    1.28 * 30 to 200 + 1.28 * 30, which scores 2 * 10 * 30 * phi(1.2816) = 105.3 on average."""
    days = np.round(stats.norm(200, 30).ppf((np.arange(20_000) + 0.5) / 20_000)).astype(int)

    def mean(half: int) -> float:
        return float(np.mean([interval_score((200 - half, 200, 200 + half), int(day)) for day in days]))

    assert mean(38) == pytest.approx(105.3, abs=0.5)
    assert mean(38) < min(mean(30), mean(46))


def case(came: int, forecast: tuple[int, int, int] | None, plain: tuple[int, int, int] = (0, 0, 0)) -> Case:
    said = dict.fromkeys((*PLAIN, ORACLE, KNOWN, ALONE), plain)
    return Case(0, ("part", "A"), came, {FORECAST: forecast, **said})


def test_the_result_counts_by_hand() -> None:
    mills = [
        [case(100, (90, 95, 110), (60, 90, 160)), case(100, (105, 120, 130), (60, 90, 160))],
        [case(100, None, (60, 90, 160)), case(100, (60, 70, 80), (60, 90, 160))],
    ]
    found = result("by hand", mills)
    assert (found.mills, found.cases, found.missing) == (2, 4, 1)
    assert found.coverage.value == pytest.approx(1 / 3)
    assert found.before.value == pytest.approx(1 / 3)
    assert found.against_oracle.value == pytest.approx((5 + 20 + 30) / 30)
    assert found.score.value == pytest.approx((20 + 25 + 50 + 400 + 20 + 200) / 4)
    assert found.best_score == pytest.approx(100)
    assert found.against_best.value == pytest.approx(715 / 400)
    assert found.coverage.low == 0.0
    assert found.coverage.high == pytest.approx(0.5)
