"""The value of a setting that went with the best figure, against a plain version and by simulation."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.examples import bounded
from wearlog.calc.settings import best_value


def plain(value: list[int], figure: list[float], week: list[int]) -> tuple[int, float, bool] | None:
    """The best value, its mean over weeks, and whether scipy's Welch test finds it better."""
    weeks: dict[int, dict[int, list[float]]] = {}
    for one, number, at in zip(value, figure, week, strict=True):
        weeks.setdefault(one, {}).setdefault(at, []).append(number)
    means = {one: [sum(own) / len(own) for own in by.values()] for one, by in weeks.items() if len(by) >= 3}
    if len(means) < 2:
        return None
    best = max(means, key=lambda one: sum(means[one]) / len(means[one]))
    others = [mean for one, own in means.items() if one != best for mean in own]
    tested = scipy.stats.ttest_ind(means[best], others, equal_var=False, alternative="greater")
    return best, sum(means[best]) / len(means[best]), bool(tested.pvalue < 0.025 / len(means))


@settings(max_examples=bounded(500, 40))
@given(st.integers(0, 10**6))
def test_the_best_value_agrees_with_a_plain_version(seed: int) -> None:
    chance = np.random.default_rng(seed)
    size = int(chance.integers(1, 60))
    value, week = chance.integers(0, 3, size), chance.integers(0, 8, size)
    figure = chance.normal(30, 2, size) + value
    found = best_value(value, figure, week)
    expected = plain(value.tolist(), figure.tolist(), week.tolist())
    assert (found is None) == (expected is None)
    if found is not None and expected is not None:
        assert (found.value, found.clear) == (expected[0], expected[2])
        assert found.mean == pytest.approx(expected[1])
        assert found.runs == int((value == found.value).sum())


def test_where_nothing_differs_a_value_is_seldom_called_clearly_better() -> None:
    """Four values without any difference, 12 weeks each: at most one mill in twenty is told otherwise."""
    chance, clear = np.random.default_rng(3), 0
    for _mill in range(400):
        value, week = np.repeat(np.arange(4), 12), np.arange(48)
        found = best_value(value, chance.normal(30, 1, 48), week)
        clear += found is not None and found.clear
    assert clear <= 24


def test_many_runs_of_one_week_count_once() -> None:
    week = np.array([0, 1, 2, *([3] * 50), 4, 5])
    value = np.array([0, 0, 0, *([1] * 50), 1, 1])
    figure = np.array([30.0, 31.0, 30.0, *([36.0] * 50), 30.0, 30.5])
    found = best_value(value, figure, week)
    assert found is not None
    assert (found.value, found.runs, found.clear) == (1, 52, False)
    assert found.mean == pytest.approx((36 + 30 + 30.5) / 3)


def test_one_value_alone_is_not_the_best_of_anything() -> None:
    assert best_value(np.zeros(9, dtype=np.int64), np.arange(9.0), np.arange(9)) is None


def test_lists_of_unequal_length_are_refused() -> None:
    with pytest.raises(ValueError, match="same length"):
        best_value(np.zeros(2, dtype=np.int64), np.zeros(3), np.zeros(2, dtype=np.int64))
