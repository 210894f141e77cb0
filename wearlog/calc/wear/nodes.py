"""Fixed points that represent a normal distribution, used instead of random ones so that results repeat."""

from __future__ import annotations

import numpy as np
from scipy import special

from wearlog.calc.wear.records import Floats


def nodes(dimensions: int, count: int) -> Floats:
    """Points that represent independent standard normals, shape (count, dimensions); `count` is even.

    A low-discrepancy lattice (additive recurrence with the roots of x^(d+1) = x + 1), mirrored about 0. With
    at least two points for each dimension it is transformed to have exactly unit variance in every direction,
    not only along the axes, because uncertain results are sums over many dimensions."""
    if dimensions == 0:
        return np.zeros((count, 0))
    root = 1.5
    for _ in range(60):
        root = (1.0 + root) ** (1.0 / (dimensions + 1.0))
    alphas = root ** -np.arange(1.0, dimensions + 1.0)
    lattice = (0.5 + np.arange(1.0, count // 2 + 1.0)[:, None] * alphas) % 1.0
    half = special.ndtri(np.clip(lattice, 1e-6, 1 - 1e-6))
    if len(half) >= dimensions:
        values, vectors = np.linalg.eigh(half.T @ half / len(half))
        half = half @ (vectors / np.sqrt(values)) @ vectors.T
    full = np.concatenate([half, -half])
    return np.asarray(full / full.std(axis=0))
