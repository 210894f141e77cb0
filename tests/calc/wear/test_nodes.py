"""Fixed points in place of random ones, against a plain version that makes them one by one."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import linalg, optimize, stats

from wearlog.calc.wear.nodes import nodes


def plain(dimensions: int, count: int) -> np.ndarray:
    """Each point by the recurrence of its number, the cloud made round by the root of its covariance, then
    mirrored about the origin."""
    root = optimize.brentq(lambda x: x ** (dimensions + 1) - x - 1, 1.0, 2.0)
    half = np.empty((count // 2, dimensions))
    for number in range(count // 2):
        for place in range(dimensions):
            share = (0.5 + (number + 1) * root ** -(place + 1)) % 1.0
            half[number, place] = stats.norm.ppf(share)
    if len(half) >= dimensions:
        half = half @ np.linalg.inv(np.real(linalg.sqrtm(half.T @ half / len(half))))
    both = np.concatenate([half, -half])
    return both / both.std(axis=0)


@pytest.mark.parametrize(("dimensions", "count"), [(1, 8), (3, 64), (9, 64), (12, 20)])
def test_points_are_those_of_the_plain_version(dimensions: int, count: int) -> None:
    assert nodes(dimensions, count) == pytest.approx(plain(dimensions, count), rel=1e-6, abs=1e-8)


@pytest.mark.parametrize(("dimensions", "count"), [(1, 8), (3, 64), (9, 64)])
def test_points_have_the_mean_and_covariance_of_standard_normals(dimensions: int, count: int) -> None:
    found = nodes(dimensions, count)
    assert found.mean(axis=0) == pytest.approx(np.zeros(dimensions), abs=1e-12)
    assert found.T @ found / count == pytest.approx(np.eye(dimensions), abs=1e-9)


def test_nothing_unknown_has_points_without_coordinates() -> None:
    assert nodes(0, 64).shape == (64, 0)
