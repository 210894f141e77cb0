"""A single Weibull fit: the formulas of `calc.weibull.many` in plain floats, which is faster for small data.

A page fits one set of parts at a time, and numpy's cost per call would be most of its time. A test checks
that the two modules give the same numbers.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from wearlog.calc import quantiles
from wearlog.calc.weibull.pivotal import Pivots, by_pivots
from wearlog.calc.weibull.sets import B10, Sets

Floats = npt.NDArray[np.float64]
Curve = Callable[[float], tuple[float, float]]


@dataclass(frozen=True)
class WeibullFit:
    """The same fields as one entry of `WeibullFits`; limits are pairs of lower and upper."""

    shape: float
    scale: float
    log_likelihood: float
    shape_limits: tuple[float, float]
    scale_limits: tuple[float, float]
    b10: float
    b10_limits: tuple[float, float]
    se_log_shape: float
    se_log_scale: float


def root(curve: Curve, low: float, high: float, start: float) -> float:
    """The same as `calc.weibull.sets.root`, for one curve."""
    x = start
    for _ in range(200):
        value, slope = curve(x)
        if value == 0:
            return x
        if value > 0:
            low = x
        else:
            high = x
        step = x - value / slope if slope else math.inf
        inside = low <= step <= high
        if inside:
            following = step
        else:
            following = x + max(1.0, x - start) if math.isinf(high) else (low + high) / 2
        if abs(following - x) <= (1e-7 if inside else 1e-13) * max(1.0, abs(x)):
            return following
        x = following
    return x


class _Set:
    def __init__(self, ages: Floats, failed: npt.NDArray[np.bool_], counts: Floats, c: float) -> None:
        logs = np.log(ages)
        self.top = float(logs.max())
        self.u = logs - self.top
        self.weights = np.stack([counts, counts * self.u, counts * self.u**2])
        died = counts * failed
        self.r = float(died.sum())
        self.mean_u = float(died @ self.u) / self.r
        self.c = c

    def moments(self, shape: float) -> tuple[float, float, float]:
        total, first, second = (self.weights @ np.exp(shape * self.u)).tolist()
        first /= total
        return math.log(total), first, second / total - first * first

    def score(self, x: float) -> tuple[float, float]:
        shape = math.exp(x)
        _log_sum, first, second = self.moments(shape)
        pull = shape * (self.mean_u - first)
        return 1 + pull, pull - shape * shape * second

    def shape_limit(self, log_shape: float, peak: float, sign: float, reach: float) -> float:
        def turned(x: float) -> tuple[float, float]:
            shape = math.exp(sign * x)
            log_sum, first, _second = self.moments(shape)
            gain = sign * x - log_sum + shape * self.mean_u - peak + self.c / self.r
            return gain, sign * (1 + shape * (self.mean_u - first))

        edge = sign * log_shape
        return sign * root(turned, edge, math.inf, edge + reach)

    def quantile_limit(
        self, ends: tuple[float, float, float], peak: float, level: float, upper: bool
    ) -> float:
        sign, branch = (1.0, 0) if upper else (-1.0, -1)
        reached = 0.0

        def slope(x: float) -> tuple[float, float]:
            nonlocal reached
            shape = math.exp(x)
            log_sum, first, second = self.moments(shape)
            gain = max(1e-14, x - log_sum + shape * self.mean_u - peak + self.c / self.r)
            y = 1 + gain + special.lambertw(-math.exp(-1 - gain), branch).real
            total = log_sum - math.log(self.r) + level + y
            bend = -math.expm1(-y)
            dy = (1 / shape + self.mean_u - first) / bend
            ddy = (-1 / shape**2 - second - dy * dy * (1 - bend)) / bend
            reached = self.top + total / shape
            value = first + dy - total / shape
            derivative = shape * (second + ddy - (first + dy) / shape + total / shape**2)
            return sign * value, sign * derivative

        low, middle, high = ends
        slope(root(slope, low, high, middle))
        return math.exp(reached)


def fit_one(ages: Floats, failed: npt.NDArray[np.bool_], counts: Floats, *, drop: float) -> WeibullFit | None:
    """Fit parts with ages above 0, shape (n,), each with a count above 0. `drop` is half the chi-square
    quantile at the confidence of the limits. None with fewer than two distinct failure ages."""
    died_at = ages[failed]
    if died_at.size < 2 or died_at.min() == died_at.max():
        return None
    data = _Set(ages, failed, counts, drop)
    r = data.r
    low = -math.log(-data.mean_u)
    log_shape = root(data.score, low, math.inf, low + 0.35)
    shape = math.exp(log_shape)
    log_sum, first, second = data.moments(shape)
    offset = (log_sum - math.log(r)) / shape
    log_scale = data.top + offset
    peak = log_shape - log_sum + shape * data.mean_u  # per failure

    mean_z, mean_zz = shape * (first - offset), shape**2 * (second + (first - offset) ** 2)
    cross, own, scale_scale = -shape * r * mean_z, r * mean_zz + r, shape**2 * r
    determinant = scale_scale * own - cross**2

    reach = math.sqrt(2 * drop / (r * (1 + shape**2 * second)))
    se = reach / math.sqrt(2 * drop)
    if by_pivots(np.array([r]))[0]:
        shapes, scales, b10s = _pivotal(ages, failed, counts, log_shape, se, drop)
    else:
        ends = (
            data.shape_limit(log_shape, peak, -1.0, reach),
            log_shape,
            data.shape_limit(log_shape, peak, 1.0, reach),
        )
        shapes = (math.exp(ends[0]), math.exp(ends[2]))
        scales, b10s = (
            (data.quantile_limit(ends, peak, level, False), data.quantile_limit(ends, peak, level, True))
            for level in (0.0, B10)
        )

    log_ages = r * (data.mean_u + data.top)
    return WeibullFit(
        shape=shape,
        scale=math.exp(log_scale),
        log_likelihood=r * log_shape + (shape - 1) * log_ages - r * shape * log_scale - r,
        shape_limits=shapes,
        scale_limits=scales,
        b10=math.exp(log_scale + B10 / shape),
        b10_limits=b10s,
        se_log_shape=math.sqrt(scale_scale / determinant),
        se_log_scale=math.sqrt(own / determinant),
    )


def _pivotal(
    ages: Floats, failed: npt.NDArray[np.bool_], counts: Floats, log_shape: float, se: float, drop: float
) -> tuple[tuple[float, float], ...]:
    """The exact limits of shape, scale and B10 life."""
    sets = Sets(ages[None], failed[None], counts[None])
    pivots = Pivots(sets, np.array([0]), np.array([log_shape]), np.array([se]))
    tail = quantiles.above_normal(math.sqrt(2 * drop))
    scale, b10 = np.exp(pivots.quantile_limits((0.0, B10), tail)[:, :, 0]).tolist()
    low, high = pivots.shape_limits(tail)[:, 0].tolist()
    return (low, high), (scale[0], scale[1]), (b10[0], b10[1])


def _pivots_alone(ages: Floats, failed: npt.NDArray[np.bool_], counts: Floats) -> Pivots | None:
    """The pivots of one set with any number of failures; None with fewer than two distinct failure ages."""
    sets = Sets(ages[None], failed[None], counts[None])
    if not sets.two_ages[0]:
        return None
    data = _Set(ages, failed, counts, 0.0)
    low = -math.log(-data.mean_u)
    log_shape = root(data.score, low, math.inf, low + 0.35)
    shape = math.exp(log_shape)
    spread = 1 / math.sqrt(data.r * (1 + shape**2 * data.moments(shape)[2]))
    return Pivots(sets, np.array([0]), np.array([log_shape]), np.array([spread]))


def least_shape(ages: Floats, failed: npt.NDArray[np.bool_], counts: Floats, *, tail: float) -> float | None:
    """The shape that lies above the true one with the chance `tail`, by pivots for any number of failures:
    with ten, a likelihood-ratio limit does so more than twice as often. None where no shape is fitted."""
    pivots = _pivots_alone(ages, failed, counts)
    return None if pivots is None else float(pivots.shape_limits(tail)[0, 0])


def mean_lives(ages: Floats, failed: npt.NDArray[np.bool_], counts: Floats, chance: Floats) -> Floats | None:
    """The mean lives that lie above the true one with each chance, shape (k,), by pivots for any number of
    failures. None where no shape is fitted."""
    pivots = _pivots_alone(ages, failed, counts)
    return None if pivots is None else pivots.mean_lives(chance)
