"""Data sets of ages as the Weibull likelihood needs them, and the root finder that solves them together.

With u = ln(t / t_max) <= 0 everything follows from S(b) = sum(w exp(b u)) over all units and its derivatives;
ages are scaled by the greatest one, so nothing overflows whatever the unit.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Rows = npt.NDArray[np.intp]
Curve = Callable[[Floats, Rows], tuple[Floats, Floats]]
"""Values and derivatives at points (k,), for the problems with the indexes (k,)."""
CACHED = 1 << 16

B10 = float(np.log(-np.log1p(-0.1)))


class Sets:
    """Logarithms of scaled ages, and weights, (sets, units). `outlived` is the share of units whose age is
    above that of the last failure."""

    def __init__(self, ages: Floats, failed: npt.NDArray[np.bool_], counts: Floats) -> None:
        used = counts > 0
        logs = np.log(np.where(used, ages, 1.0))
        self.top = np.where(used, logs, -np.inf).max(axis=1)
        self.u = np.where(used, logs - self.top[:, None], 0.0)
        self.weights = np.stack([counts, counts * self.u, counts * self.u**2])
        self.every = np.arange(ages.shape[0])
        died = np.where(failed, counts, 0.0)
        self.failures = died.sum(axis=1)
        self.units = counts.sum(axis=1)
        self.died_u = np.einsum("ij,ij->i", died, self.u)
        dead = failed & used
        last = np.where(dead, self.u, -np.inf).max(axis=1)
        self.two_ages = last > np.where(dead, self.u, np.inf).min(axis=1)
        beyond = np.where(self.u > last[:, None], counts, 0.0).sum(axis=1)
        with np.errstate(invalid="ignore", divide="ignore"):
            self.mean_u = self.died_u / self.failures
            self.outlived = beyond / self.units

    def log_sums(self, shape: Floats, rows: Rows) -> Floats:
        """ln S at several shapes for each of the sets at the indexes `rows`, shape (rows, shapes)."""
        u, weights = self.u[rows], self.weights[0, rows]
        step = max(1, CACHED // max(1, u.size))
        pieces = [shape[:, at : at + step, None] * u[:, None, :] for at in range(0, shape.shape[1], step)]
        sums: Floats = np.concatenate([_summed(piece, weights) for piece in pieces], axis=1)
        return np.log(sums, out=sums)

    def moments(self, shape: Floats, rows: Rows) -> tuple[Floats, Floats, Floats]:
        """ln S and its first and second derivative by the shape, for the sets at the indexes `rows`."""
        sets, units = self.u.shape
        times, rest = divmod(rows.size, sets)
        if sets == 1 or (rest == 0 and bool((rows.reshape(times, sets) == self.every).all())):
            # All sets, perhaps several times over: work without copies, in pieces small enough for the CPU
            # cache.
            shapes = shape.reshape(times, sets)
            pieces = [shapes] if shape.size * units < CACHED else [part[None, :] for part in shapes]
            sums = [self._sums(piece, self.u, self.weights) for piece in pieces]
            total, first, second = np.concatenate(sums, axis=1).reshape(3, -1)
        else:
            weights = self.weights[:, rows]
            total, first, second = self._sums(shape[None, :], self.u[rows], weights).reshape(3, -1)
        first = first / total
        return np.log(total), first, second / total - first**2

    @staticmethod
    def _sums(shape: Floats, u: Floats, weights: Floats) -> Floats:
        """Sums of w, w u and w u^2 times exp(shape u), shape (3, times, sets)."""
        power = shape[:, :, None] * u
        np.exp(power, out=power)
        sums: Floats = np.einsum("kij,mij->mki", power, weights)
        return sums


def _summed(power: Floats, weights: Floats) -> Floats:
    found: Floats = np.einsum("ijk,ik->ij", np.exp(power, out=power), weights)
    return found


def root(curve: Curve, low: Floats, high: Floats, start: Floats, *, small: Floats | float = 1e-7) -> Floats:
    """Roots of decreasing curves, positive at `low` and negative at `high` (which may be infinite), shape
    (k,).

    Takes Newton's step where it stays inside the bracket, else bisects, or doubles the step while the upper
    end is infinite. Stops after a Newton step that is `small` (one number or (k,); relative to x where that
    is above 1), since the remaining error is about its square."""
    low, high, x = low.copy(), high.copy(), np.clip(start, low, high)
    busy, small = np.arange(x.size), np.broadcast_to(small, x.shape)
    with np.errstate(divide="ignore", invalid="ignore"):
        for _ in range(200):
            here = x[busy]
            value, slope = curve(here, busy)
            above = value > 0
            below, over = np.where(above, here, low[busy]), np.where(above, high[busy], here)
            low[busy], high[busy] = below, over
            step = here - value / slope
            inside = (step >= below) & (step <= over)
            halved = np.where(np.isinf(over), here + np.maximum(1.0, here - start[busy]), (below + over) / 2)
            following = np.where(inside, step, halved)
            x[busy] = following
            moved = np.abs(following - here) > np.where(inside, small[busy], 1e-13) * np.maximum(
                1.0, np.abs(here)
            )
            busy = busy[moved & (value != 0)]
            if busy.size == 0:
                break
    return x
