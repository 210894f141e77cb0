"""A pace that remembers itself, checked against sums over small steps written out (no source needed: the
covariance of an integral is the double integral of the covariance)."""

from __future__ import annotations

import numpy as np
import pytest

from wearlog.calc.wear.cases import progress_to_limit
from wearlog.calc.wear.noise import Noise

LENGTHS = [0.0, 0.1, 0.3]


def integrated(noise: Noise, u: float, v: float, steps: int = 2_000) -> float:
    """The double integral of the pace's covariance over [0, u] and [0, v] by the midpoint rule."""
    s, t = ((np.arange(steps) + 0.5) / steps * end for end in (u, v))
    pace = noise.pace_variance * np.exp(-np.abs(s[:, None] - t) / noise.length)
    return float(pace.sum() * (u / steps) * (v / steps))


@pytest.mark.parametrize("length", LENGTHS)
def test_the_variance_of_a_whole_life_is_the_size(length: float) -> None:
    assert Noise(0.03, length).between(np.ones(1), np.ones(1))[0, 0] == pytest.approx(0.03, rel=1e-12)


@pytest.mark.parametrize(("u", "v"), [(0.4, 0.4), (0.2, 0.9), (1.1, 0.3)])
def test_the_wear_is_the_integral_of_the_pace(u: float, v: float) -> None:
    noise = Noise(0.03, 0.3)
    found = noise.between(np.array([u]), np.array([v]))[0, 0]
    assert found == pytest.approx(integrated(noise, u, v), rel=1e-4)


def test_wear_so_far_tells_of_the_pace_now() -> None:
    noise, now = Noise(0.03, 0.3), 0.8
    slope = (
        noise.between(np.array([0.5]), np.array([now + 1e-6]))
        - noise.between(np.array([0.5]), np.array([now]))
    )[0, 0] / 1e-6
    assert noise.with_pace(np.array([0.5]), np.array([now]))[0] == pytest.approx(slope, rel=1e-4)


@pytest.mark.parametrize("length", [0.1, 0.3])
def test_what_is_to_come_is_what_the_pace_of_today_carries_and_the_rest(length: float) -> None:
    """B(now + x) - B(now) has, by the kernel, the variance of both together."""
    noise, now, x = Noise(0.05, length), 4.0, 0.35  # long after the start, where the pace has settled
    at = np.array([now, now + x])
    both = noise.between(at, at)
    total = both[1, 1] - 2 * both[0, 1] + both[0, 0]
    carried = noise.carried(np.array(x)) ** 2 * noise.pace_variance
    assert carried + noise.ahead(np.array(x)) == pytest.approx(total, rel=1e-9)


def test_without_memory_it_is_a_wiener_process() -> None:
    u = np.array([0.2, 0.7])
    np.testing.assert_allclose(Noise(0.02).between(u, u), 0.02 * np.array([[0.2, 0.2], [0.2, 0.7]]))
    assert Noise(0.02).ahead(np.array(0.5)) == pytest.approx(0.01)
    assert not Noise(0.02).with_pace(u, np.array([0.9])).any()


def test_progress_with_a_stray_pace_solves_its_equation() -> None:
    random = np.random.default_rng(2)
    theta, left = random.uniform(0.5, 2.0, 200), random.uniform(0.2, 1.0, 200)
    pace, doubt = random.uniform(-0.3, 0.3, 200), random.uniform(0.0, 0.01, 200)
    z, noise = np.clip(random.normal(size=200), -1.5, 1.5), Noise(0.02, 0.3)
    u = progress_to_limit(theta, left, doubt, noise, z, pace)
    found = theta * u + pace * noise.carried(u) + np.sqrt(doubt + noise.ahead(u)) * z
    np.testing.assert_allclose(found, left, atol=2e-3)  # in budgets: a fiftieth of what a gauge tells apart


def test_a_pace_that_is_fast_of_late_reaches_the_limit_sooner() -> None:
    one, zero = np.ones(1), np.zeros(1)
    slow, fast = (
        progress_to_limit(one, 0.5 * one, zero, Noise(0.02, 0.3), zero, p * one) for p in (-0.2, 0.2)
    )
    usual = progress_to_limit(one, 0.5 * one, zero, Noise(0.02, 0.3), zero, zero)
    assert fast < usual < slow
