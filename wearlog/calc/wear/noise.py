"""How the wear of one edge strays from its own straight line within a life.

The pace at which an edge wears is not the same all its life: it strays about its mean with a correlation
that fades over the stretch `length` of u (u = 1 is a whole life), as an Ornstein-Uhlenbeck process, so that
the wear strays by the integral of one. Where `length` is 0 the pace has no memory and the wear strays as a
Wiener process. `size` is the variance of the wear of a whole life, in budgets squared, in both cases:

    cov(B(u), B(v)) = size * K(u, v) / K(1, 1)
    K(u, v) = 2 * min(u, v) - length * (1 - exp(-u/length) - exp(-v/length) + exp(-|u - v|/length))

Uhlenbeck and Ornstein, "On the theory of the Brownian motion", Physical Review 36, 1930 (from memory): the
mean square of a displacement, of which this is the covariance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearlog.calc.wear.records import Floats


@dataclass(frozen=True)
class Noise:
    """`size` (budgets squared) is the variance of a whole life's wear, `length` how far the pace remembers
    itself, in u."""

    size: float
    length: float = 0.0

    @property
    def whole(self) -> float:
        """K(1, 1)."""
        return float(displacement(np.ones(1), self.length)[0])

    @property
    def pace_variance(self) -> float:
        """The variance of the pace, in budgets squared per u squared; 0 where it has no memory."""
        return self.size / (self.length * self.whole) if self.length else 0.0

    def between(self, u: Floats, v: Floats) -> Floats:
        """The covariance of the wear of one life at u (..., n) and at v (..., m), shape (..., n, m)."""
        return self.size * kernel(u, v, self.length) / self.whole

    def with_pace(self, u: Floats, now: Floats) -> Floats:
        """The covariance of the wear at u (..., n) with the pace at `now` (..., 1), no u later than `now`."""
        if not self.length:
            return np.zeros(np.broadcast_shapes(u.shape, now.shape))
        near = np.exp(-np.maximum(now - u, 0.0) / self.length) - np.exp(-now / self.length)
        return np.asarray(self.pace_variance * self.length * near)

    def carried(self, further: Floats) -> Floats:
        """The wear that one unit of today's stray pace adds over the next `further`."""
        if not self.length:
            return np.zeros_like(further)
        return np.asarray(-self.length * np.expm1(-further / self.length))

    def ahead(self, further: Floats) -> Floats:
        """The variance that the next `further` adds to the wear where today's pace is known."""
        if not self.length:
            return self.size * further
        fade = np.exp(-further / self.length)
        grown = 2.0 * further / self.length - 3.0 + fade * (4.0 - fade)
        return np.asarray(self.pace_variance * self.length**2 * np.maximum(grown, 0.0))


def displacement(u: Floats, length: float) -> Floats:
    """K(u, u)."""
    if not length:
        return u
    return np.asarray(2.0 * (u + length * np.expm1(-u / length)))


def kernel(u: Floats, v: Floats, length: float) -> Floats:
    """K(u, v) for u (..., n) and v (..., m), shape (..., n, m)."""
    least = np.minimum(u[..., :, None], v[..., None, :])
    if not length:
        return least
    first, second = np.exp(-u / length)[..., :, None], np.exp(-v / length)[..., None, :]
    apart = np.exp(-np.abs(u[..., :, None] - v[..., None, :]) / length)
    return np.asarray(2.0 * least - length * (1.0 - first - second + apart))
