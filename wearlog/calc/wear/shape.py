"""The shape of wear over a life, learned rather than assumed: fast at first, steady, or ever faster.

With v the progress in fractions of the budget (0 is new, 1 the limit of an average edge), wear = multiplier *
budget * G(v). The slope of G is linear between knots and constant beyond the last. `h`, the logarithm of the
slope at each knot, has a normal prior with mean 0 (a straight line), which allows quick bends early in a life
and only slow ones later. G(1) = 1, so that a crop's rate is the mean over a whole life whatever the shape.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearlog.calc.wear.records import Floats

KNOTS = np.array([0.0, 0.02, 0.05, 0.09, 0.14, 0.2, 0.28, 0.38, 0.5, 0.62, 0.74, 0.86, 1.0, 1.15, 1.35, 1.7])
POINTS = len(KNOTS)
LENGTHS = np.diff(KNOTS)
LIMIT = int(np.flatnonzero(KNOTS == 1.0)[0])


def prior_covariance() -> Floats:
    """The prior covariance of h for a bend of size 1, shape (POINTS, POINTS)."""
    early, late = np.log(KNOTS + 0.03), np.minimum(KNOTS, 1.1) ** 3
    covariance = np.exp(-0.5 * (early[:, None] - early) ** 2)
    covariance += np.outer(late, late)
    covariance += 0.25 * np.exp(-0.5 * ((KNOTS[:, None] - KNOTS) / 0.3) ** 2)
    return np.asarray(covariance + 1e-3 * np.eye(POINTS))


def value(h: Floats, v: Floats) -> tuple[Floats, Floats, Floats]:
    """G, its slope (N,), and its derivative by each h (N, POINTS), at points v >= 0 of shape (N,)."""
    slope = np.exp(h)
    segment = np.arange(POINTS - 1)
    whole = np.zeros((POINTS, POINTS))
    whole[segment + 1, segment] += 0.5 * LENGTHS * slope[:-1]
    whole[segment + 1, segment + 1] += 0.5 * LENGTHS * slope[1:]
    up_to = np.cumsum(whole, axis=0)
    at = np.searchsorted(KNOTS, v, side="right") - 1
    x, inside, rows = v - KNOTS[at], at < POINTS - 1, np.arange(len(v))
    after = np.minimum(at + 1, POINTS - 1)
    turn = np.where(inside, x / np.append(LENGTHS, 1.0)[at], 0.0)
    by_h = np.take(up_to, at, axis=0)
    by_h[rows, at] += slope[at] * x * (1.0 - 0.5 * turn)
    by_h[rows, after] += slope[after] * x * 0.5 * turn
    total = up_to[LIMIT].sum()
    by_h /= total
    g = by_h @ np.ones(POINTS)
    here = slope[at] + turn * (slope[after] - slope[at])
    by_h -= g[:, None] * (up_to[LIMIT] / total)
    return g, here / total, by_h


@dataclass(frozen=True)
class Shapes:
    """Many shapes at once: G and its slope at the knots, each of shape (cases, POINTS)."""

    heights: Floats
    slopes: Floats

    @classmethod
    def of(cls, h: Floats) -> Shapes:
        slope = np.exp(h)
        rise = np.cumsum(0.5 * LENGTHS * (slope[:, :-1] + slope[:, 1:]), axis=1)
        heights = np.concatenate([np.zeros((len(h), 1)), rise], axis=1)
        total = heights[:, LIMIT, None]
        return cls(heights / total, slope / total)

    def forward(self, v: Floats) -> Floats:
        """G(v), for v >= 0 of shape (cases, ...)."""
        at = np.searchsorted(KNOTS, v, side="right") - 1
        low, slope, bend = self._pieces(at)
        x = v - KNOTS[at]
        return np.asarray(low + x * (slope + 0.5 * bend * x))

    def pace(self, v: Floats) -> Floats:
        """The slope of G at v, for v >= 0 of shape (cases, ...)."""
        at = np.searchsorted(KNOTS, v, side="right") - 1
        _, slope, bend = self._pieces(at)
        return np.asarray(slope + bend * (v - KNOTS[at]))

    def backward(self, g: Floats) -> Floats:
        """The v with G(v) = g, for g of shape (cases, ...); below 0 the first slope is continued."""
        at = np.zeros(g.shape, dtype=np.int64)
        for knot in range(1, POINTS):
            at += g >= self.heights[:, knot].reshape((-1,) + (1,) * (g.ndim - 1))
        low, slope, bend = self._pieces(at)
        up = g - low
        bend = np.where(up < 0, 0.0, bend)
        return np.asarray(KNOTS[at] + 2.0 * up / (slope + np.sqrt(slope**2 + 2.0 * bend * up)))

    def _pieces(self, at: np.ndarray) -> tuple[Floats, Floats, Floats]:
        rows = np.arange(len(self.heights)).reshape((-1,) + (1,) * (at.ndim - 1))
        after = np.minimum(at + 1, POINTS - 1)
        slope = self.slopes[rows, at]
        bend = (self.slopes[rows, after] - slope) / np.append(LENGTHS, 1.0)[at]
        return self.heights[rows, at], slope, bend
