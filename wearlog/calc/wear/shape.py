"""The shape of wear over a life: fast at first, steady, or ever faster, learned rather than assumed.

With v the progress in parts of the budget (0 new, 1 the limit of an average edge), wear = multiplier * budget
* G(v). G is piecewise linear; `h`, the logarithm of its slope in each stretch, has a normal prior that is 0
on average (a straight line), bends early within short stretches and late within longer ones. G(1) = 1, so
that the rates of the crops speak of a whole life whatever the shape.
"""

from __future__ import annotations

import numpy as np

from wearlog.calc.wear.records import Floats

# The ends of the stretches; the last one goes on for ever with its slope.
KNOTS = np.array([0.0, 0.02, 0.05, 0.09, 0.14, 0.2, 0.28, 0.38, 0.5, 0.62, 0.74, 0.86, 1.0, 1.15, 1.35, 1.7])
LENGTHS = np.diff(KNOTS)
WITHIN = KNOTS[1:] <= 1.0
STRETCHES = len(LENGTHS)


def prior_covariance() -> Floats:
    """Of h for a bend of size 1, shape (STRETCHES, STRETCHES)."""
    middle = 0.5 * (KNOTS[:-1] + KNOTS[1:])
    early = np.log(middle + 0.03)
    late = middle**3
    covariance = np.exp(-0.5 * (early[:, None] - early) ** 2)
    covariance += np.outer(late, late)
    covariance += 0.25 * np.exp(-0.5 * ((middle[:, None] - middle) / 0.3) ** 2)
    return np.asarray(covariance + 1e-3 * np.eye(STRETCHES))


def heights(h: Floats) -> Floats:
    """G at the knots: shape (..., STRETCHES) -> (..., STRETCHES + 1)."""
    rise = np.exp(h) * LENGTHS
    total = rise[..., WITHIN].sum(axis=-1, keepdims=True)
    zero = np.zeros((*h.shape[:-1], 1))
    return np.concatenate([zero, np.cumsum(rise / total, axis=-1)], axis=-1)


def value(h: Floats, v: Floats) -> tuple[Floats, Floats, Floats]:
    """G, its slope, and its derivative by each h, at points v of shape (N,) for one h."""
    slope = np.exp(h)
    total = float((slope * LENGTHS)[WITHIN].sum())
    inside = np.clip(v[:, None] - KNOTS[:-1], 0.0, None)
    inside[:, :-1] = np.minimum(inside[:, :-1], LENGTHS[:-1])
    parts = inside * slope / total
    g = parts.sum(axis=1)
    at = np.clip(np.searchsorted(KNOTS, v, side="right") - 1, 0, STRETCHES - 1)
    by_h = parts - g[:, None] * (slope * LENGTHS * WITHIN / total)
    return g, slope[at] / total, by_h


def forward(tables: Floats, v: Floats) -> Floats:
    """G(v) for many shapes: heights (G, STRETCHES + 1) and v (G, ...) with the same first axis."""
    at = np.clip(np.searchsorted(KNOTS, v, side="right") - 1, 0, STRETCHES - 1)
    rows = np.arange(len(tables)).reshape((-1,) + (1,) * (v.ndim - 1))
    low = tables[rows, at]
    slope = (tables[rows, at + 1] - low) / LENGTHS[at]
    return np.asarray(low + slope * (v - KNOTS[at]))


def backward(tables: Floats, g: Floats) -> Floats:
    """v with G(v) = g, for heights (G, STRETCHES + 1) and g (G, ...); below 0 the first slope goes on."""
    rows = np.arange(len(tables)).reshape((-1,) + (1,) * (g.ndim - 1))
    at = np.zeros(g.shape, dtype=np.int64)
    for knot in range(1, STRETCHES):
        at += g >= tables[:, knot].reshape(rows.shape)
    low = tables[rows, at]
    slope = (tables[rows, at + 1] - low) / LENGTHS[at]
    return np.asarray(KNOTS[at] + (g - low) / slope)
