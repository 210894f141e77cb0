"""The likeliest step against an ordinary regression for each place, and against chance."""

from __future__ import annotations

import numpy as np
import pytest

from wearlog.calc.doubts.steps import EDGE, SLOW, step, steps


def plain(values: np.ndarray[tuple[int], np.dtype[np.float64]], place: int) -> tuple[float, float]:
    """Size and t of the third coefficient of a regression on 1, the number of the run, and a jump; a row more
    says that the slope is near 0."""
    n = values.size
    design = np.stack([np.ones(n), np.arange(n), np.arange(n) >= place], axis=1).astype(float)
    design = np.vstack([design, [0.0, SLOW**0.5, 0.0]])
    found, (left,), _rank, _singular = np.linalg.lstsq(design, np.r_[values, 0.0], rcond=None)
    error = np.sqrt(left / (n - 3) * np.linalg.inv(design.T @ design)[2, 2])
    return float(found[2]), float(found[2] / error)


@pytest.mark.parametrize("n", [2 * EDGE + 1, 24, 61])
def test_each_place_gets_the_size_and_t_of_a_regression_with_a_jump_there(n: int) -> None:
    chance = np.random.default_rng(n)
    values = 3.0 - 0.004 * np.arange(n) + chance.normal(0.0, 0.05, n)
    size, t = steps(values)
    tried = range(EDGE, n - EDGE + 1)
    assert np.flatnonzero(~np.isnan(t)).tolist() == list(tried)
    for place in tried:
        assert (size[place], t[place]) == pytest.approx(plain(values, place), rel=1e-9, abs=1e-12)


def test_a_slow_fall_is_no_step() -> None:
    assert step(3.0 - 0.01 * np.arange(60) + 0.001 * np.cos(np.arange(60.0))) is None


def test_a_forgotten_change_of_twelve_per_cent_is_found_at_its_place() -> None:
    hits = 0
    for seed in range(100):
        values = np.random.default_rng(seed).normal(0.0, 0.03, 40)
        values[22:] += np.log(1.12)
        found = step(values)
        hits += found is not None and abs(found.before - 22) <= 3
    assert hits >= 90


def test_of_a_thousand_stretches_without_a_step_hardly_any_is_doubted() -> None:
    chance = np.random.default_rng(20)
    assert sum(step(chance.normal(0.0, 0.08, 40)) is not None for _ in range(1_000)) <= 12


@pytest.mark.parametrize("n", [0, 1, 2, 2 * EDGE])
def test_of_too_few_runs_nothing_is_said(n: int) -> None:
    assert step(np.linspace(0.0, 1.0, n)) is None
