"""Inverses of matrices that rounding makes indefinite, as records do that contradict each other."""

from __future__ import annotations

import numpy as np
import pytest

from wearlog.calc.wear.state import inverse


def nearly_indefinite(chance: np.random.Generator) -> np.ndarray:
    """A correlation matrix (8, 8) whose least eigenvalue is that which `inverse` adds to all, with the other
    sign, but for rounding."""
    turned, _ = np.linalg.qr(chance.normal(size=(8, 8)))
    whole = (turned * 10 ** chance.uniform(-3, 1, 8)) @ turned.T
    scale = 1 / np.sqrt(np.diagonal(whole))
    alike = whole * scale[:, None] * scale
    rounding = chance.choice([-1, 1]) * 10 ** chance.uniform(-17, -14)
    return np.asarray(alike - np.eye(8) * (np.linalg.eigvalsh(alike)[0] + 1e-11 - rounding))


def deceives(matrix: np.ndarray) -> bool:
    """Whether it has its roots, as a positive definite one has, and an inverse with a negative variance."""
    try:
        np.linalg.cholesky(matrix)
        return bool((np.diagonal(np.linalg.inv(matrix)) <= 0).any())
    except np.linalg.LinAlgError:
        return False


def test_no_variance_is_below_nought_where_a_matrix_has_its_roots_by_rounding_alone() -> None:
    chance = np.random.default_rng(1)
    hard = [nearly_indefinite(chance) for _ in range(2000)]
    assert all((np.diagonal(inverse(each)) > 0).all() for each in hard)
    assert any(deceives(each + 1e-11 * np.eye(8)) for each in hard)


@pytest.mark.parametrize("scale", [1e-6, 1.0, 1e6])
def test_a_sound_matrix_has_its_plain_inverse(scale: float) -> None:
    chance = np.random.default_rng(2)
    root = chance.normal(size=(5, 9, 4)) * [1.0, 1.0, scale, 1.0]
    whole = root.swapaxes(1, 2) @ root
    found = inverse(whole)
    for each, back in zip(whole, found, strict=True):
        assert back == pytest.approx(np.linalg.inv(each), rel=1e-6)
