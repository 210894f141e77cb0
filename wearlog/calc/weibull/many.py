"""Two-parameter Weibull by maximum likelihood with right-censored ages, many data sets in one call.

Survival is exp(-(t / scale)^shape). With r failures, u = ln(t / t_max) <= 0 and S(b) = sum(w exp(b u))
over all units, the scale follows from the shape b as t_max (S(b)/r)^(1/b), and the profile log-likelihood is

    l(b) = r ln b - r ln S(b) + b sum_failed(w u) + constant

whose derivative (the score) decreases in b from plus infinity. It has one root where the failures have two
distinct ages, or one age that is not the greatest of all. Two parameters are nevertheless fitted only for two
or more distinct failure ages: below that the shape is an artefact of the censoring.

With three failures and more the limits are exact ones (`calc.weibull.pivotal`), since likelihood-ratio limits
at 95 % hold in 84 % with three, 90 % with five and 93 % with ten. With two, and where they are asked for,
they are likelihood-ratio limits at one degree of freedom. For the shape: the two roots of l(b) = l_max - c,
c = chi2(confidence; 1) / 2. For any quantile (the scale among them) they are the extremes of ln t_p over the
contour of the joint likelihood at the same c, which equals profiling: at a shape b the contour's scales are
ln scale(b) + y/b with y + exp(-y) - 1 = (l(b) - l_max + c) / r, solved by Lambert's W. All roots are
bracketed and found by Newton's method with bisection as a fallback; ages are scaled by the greatest one, so
nothing overflows whatever the unit.

Source: the likelihood is textbook (Lawless 1982, Meeker & Escobar 1998, from memory); the contour by
Lambert's W is this module's own arithmetic.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from wearlog.calc import quantiles
from wearlog.calc.weibull import tails
from wearlog.calc.weibull.pivotal import Pivots, by_pivots
from wearlog.calc.weibull.sets import B10, Floats, Rows, Sets, root

FEW_BLOCK, BLOCK = 64, 256
"""Sets whose pivots are integrated together, below ten failures and from ten on: so many that what they need
stays in the CPU's cache."""


@dataclass(frozen=True, eq=False)
class WeibullFits:
    """One entry per data set, shape (sets,); nan where two parameters can't be fitted (`fitted` is False)."""

    fitted: npt.NDArray[np.bool_]
    failures: Floats
    units: Floats
    shape: Floats
    scale: Floats
    log_likelihood: Floats
    shape_low: Floats
    shape_high: Floats
    scale_low: Floats
    scale_high: Floats
    b10: Floats
    b10_low: Floats
    b10_high: Floats
    se_log_shape: Floats
    se_log_scale: Floats


def fit_many(
    ages: npt.ArrayLike,
    failed: npt.ArrayLike,
    counts: npt.ArrayLike | None = None,
    *,
    confidence: float = 0.95,
    by_likelihood: bool = False,
) -> WeibullFits:
    """Fit each row of `ages` (sets, units), with `failed` of the same shape. `counts` weighs the units (0: no
    unit, for sets of different sizes). by_likelihood: likelihood-ratio limits whatever the number of
    failures, for comparison with programs that give them. Raises ValueError for unequal shapes, negative
    counts, or ages that are not finite and above 0 where the count is not 0."""
    t, dead = (
        np.atleast_2d(np.asarray(ages, dtype=np.float64)),
        np.atleast_2d(np.asarray(failed, dtype=np.bool_)),
    )
    w = np.ones_like(t) if counts is None else np.atleast_2d(np.asarray(counts, dtype=np.float64))
    if not t.shape == dead.shape == w.shape:
        raise ValueError("Ages, failed and counts must have the same shape.")
    if np.any(~np.isfinite(w)) or np.any(w < 0):
        raise ValueError("Counts must be finite and not negative.")
    if np.any(~np.isfinite(t[w > 0])) or np.any(t[w > 0] <= 0):
        raise ValueError("Ages must be finite and above 0.")
    if not 0 < confidence < 1:
        raise ValueError("The confidence must lie between 0 and 1.")
    if t.shape[1] == 0:
        t, dead, w = np.ones((t.shape[0], 1)), np.zeros((t.shape[0], 1), np.bool_), np.zeros((t.shape[0], 1))
    sets = Sets(t, dead, w)
    rows = np.flatnonzero(sets.two_ages)
    found = {name: np.full(t.shape[0], np.nan) for name in WeibullFits.__annotations__}
    found["failures"], found["units"] = sets.failures, sets.units
    if rows.size:
        _fill(found, sets, rows, quantiles.chi_square(confidence, 1) / 2, by_likelihood)
    return WeibullFits(**{**found, "fitted": sets.two_ages})


def _fill(found: dict[str, Floats], sets: Sets, rows: Rows, c: float, by_likelihood: bool) -> None:
    log_shape = _maximum(sets, rows)
    shape = np.exp(log_shape)
    log_sum, first, second = sets.moments(shape, rows)
    r, top = sets.failures[rows], sets.top[rows]
    log_scale = top + (log_sum - np.log(r)) / shape
    peak = r * (log_shape - log_sum) + shape * sets.died_u[rows]
    log_ages = sets.died_u[rows] + r * top
    found["shape"][rows], found["scale"][rows] = shape, np.exp(log_scale)
    found["log_likelihood"][rows] = r * log_shape + (shape - 1) * log_ages - r * shape * log_scale - r
    found["b10"][rows] = np.exp(log_scale + B10 / shape)

    # Observed information in (ln scale, ln shape), with z = shape ln(t / scale) and e = exp(z): the moments
    # of z and z^2 weighted by e; the sum of e is r.
    offset = (log_sum - np.log(r)) / shape
    mean_z, mean_zz = shape * (first - offset), shape**2 * (second + (first - offset) ** 2)
    cross, own = -shape * r * mean_z, r * mean_zz + r
    scale_scale = shape**2 * r
    determinant = scale_scale * own - cross**2
    found["se_log_scale"][rows] = np.sqrt(own / determinant)
    found["se_log_shape"][rows] = np.sqrt(scale_scale / determinant)

    se = 1 / np.sqrt(r * (1 + shape**2 * second))
    exact = by_pivots(r) & (not by_likelihood)
    few = np.flatnonzero(exact & (r < tails.SMOOTH_FROM))
    few = few[np.argsort(r[few])]  # the tail of a gamma distribution is a sum over failures
    parts = []
    for group, size in ((few, FEW_BLOCK), (np.flatnonzero(exact & (r >= tails.SMOOTH_FROM)), BLOCK)):
        parts += [(group[at : at + size], True) for at in range(0, group.size, size)]
    for own, by_pivot in [*parts, (np.flatnonzero(~exact), False)]:
        if by_pivot:
            ends, limits = _by_pivots(sets, rows[own], log_shape[own], se[own], c)
        elif own.size:
            ends, limits = _by_likelihood(sets, rows[own], log_shape[own], se[own], peak[own], c)
        else:
            continue
        for name, pair in zip(("shape", "scale", "b10"), (ends, *limits), strict=True):
            found[f"{name}_low"][rows[own]], found[f"{name}_high"][rows[own]] = pair


def _by_pivots(sets: Sets, rows: Rows, log_shape: Floats, se: Floats, c: float) -> tuple[Floats, Floats]:
    """Limits of the shape, (2, rows), and of scale and B10 life, (2, 2, rows)."""
    pivots, tail = Pivots(sets, rows, log_shape, se), quantiles.above_normal((2 * c) ** 0.5)
    return pivots.shape_limits(tail), np.exp(pivots.quantile_limits((0.0, B10), tail))


def _by_likelihood(
    sets: Sets, rows: Rows, log_shape: Floats, se: Floats, peak: Floats, c: float
) -> tuple[Floats, Floats]:
    """The same limits, where the likelihood lies `c` below its peak."""
    contour = Contour(sets, rows, peak, c)
    low, high = contour.shape_limits(log_shape, se)
    limits = contour.quantile_limits(low, log_shape, high, (0.0, B10))
    return np.exp(np.stack([low, high])), np.exp(limits)


def _maximum(sets: Sets, rows: Rows) -> Floats:
    """ln of the shape of greatest likelihood, shape (rows,)."""

    def score(x: Floats, at: Rows) -> tuple[Floats, Floats]:
        shape = np.exp(x)
        _log_sum, first, second = sets.moments(shape, rows[at])
        pull = shape * (sets.mean_u[rows[at]] - first)
        return 1 + pull, pull - shape**2 * second

    # At shape 1/|mean u| the score can't be negative, since no scaled logarithm u is above 0.
    low = -np.log(-sets.mean_u[rows])
    return root(score, low, np.full(rows.size, np.inf), low + 0.35)


class Contour:
    """Where the joint likelihood lies `c` below its peak; several problems per data set are solved
    together."""

    def __init__(self, sets: Sets, rows: Rows, peak: Floats, c: float) -> None:
        self.sets, self.rows, self.peak, self.c = sets, rows, peak, c

    def above(self, x: Floats, place: Rows) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """The height of the profile above its limit, per failure, at ln shape x; with the shape, ln S and its
        derivatives. `place` are indexes into `rows`."""
        rows = self.rows[place]
        shape = np.exp(x)
        log_sum, first, second = self.sets.moments(shape, rows)
        r = self.sets.failures[rows]
        gain = x - log_sum + shape * self.sets.mean_u[rows] + (self.c - self.peak[place]) / r
        return gain, shape, log_sum, first, second

    def shape_limits(self, log_shape: Floats, se: Floats) -> Floats:
        """ln of the lower and the upper limit of the shape, shape (2, sets)."""
        size = log_shape.size
        place, sign = np.tile(np.arange(size), 2), np.repeat([-1.0, 1.0], size)

        def turned(x: Floats, at: Rows) -> tuple[Floats, Floats]:
            gain, shape, _log_sum, first, _second = self.above(sign[at] * x, place[at])
            slope = 1 + shape * (self.sets.mean_u[self.rows[place[at]]] - first)
            return gain, sign[at] * slope

        edge = sign * np.tile(log_shape, 2)
        reach = np.tile(np.sqrt(2 * self.c) * se, 2)
        beyond = np.full(2 * size, np.inf)
        limits: Floats = (sign * root(turned, edge, beyond, edge + reach)).reshape(2, size)
        return limits

    def quantile_limits(self, low: Floats, middle: Floats, high: Floats, levels: tuple[float, ...]) -> Floats:
        """ln of the least and the greatest quantile with ln(-ln survival) equal to each of `levels`, shape
        (levels, 2, sets); `low`, `middle` and `high` are ln of the shape's lower limit, estimate, upper
        limit."""
        size, parts = low.size, 2 * len(levels)
        place = np.tile(np.arange(size), parts)
        level = np.repeat(levels, 2 * size)
        upper = np.tile(np.repeat([False, True], size), len(levels))
        sign = np.where(upper, 1.0, -1.0)

        def reach(x: Floats, at: Rows) -> tuple[Floats, ...]:
            gain, shape, log_sum, first, second = self.above(x, place[at])
            gain = np.maximum(gain, 1e-14)
            inner = -np.exp(-1 - gain)
            w = np.where(upper[at], special.lambertw(inner).real, special.lambertw(inner, -1).real)
            y = 1 + gain + w
            rows = self.rows[place[at]]
            return shape, first, second, y, log_sum - np.log(self.sets.failures[rows]) + level[at] + y

        def slope(x: Floats, at: Rows) -> tuple[Floats, Floats]:
            shape, first, second, y, total = reach(x, at)
            bend = -np.expm1(-y)
            dy = (1 / shape + self.sets.mean_u[self.rows[place[at]]] - first) / bend
            ddy = (-1 / shape**2 - second - dy**2 * (1 - bend)) / bend
            value = first + dy - total / shape
            derivative = shape * (second + ddy - (first + dy) / shape + total / shape**2)
            return sign[at] * value, sign[at] * derivative

        best = root(slope, np.tile(low, parts), np.tile(high, parts), np.tile(middle, parts))
        shape, _first, _second, _y, total = reach(best, np.arange(best.size))
        extreme = self.sets.top[self.rows[place]] + total / shape
        limits: Floats = extreme.reshape(len(levels), 2, size)
        return limits
