"""Straight lines fitted to the readings of one edge, and the exposure at which a line reaches a limit.

Two lines: least squares with an intercept, y = a + b x, and through the origin, y = b x, for wear counted
from a known new dimension. The exposure at a value y0 is found by inverting the line's own band (Fieller):

    (y0 - a - b x)^2 = t^2 s^2 (1/m + 1/n + (x - mean x)^2 / Sxx)

with s the residual standard deviation, t Student's quantile for the residual degrees of freedom, and 1/m left
out where y0 is an exact value and not the mean of m new readings. The two roots bound x only while
g = t^2 s^2 / (b^2 Sxx) < 1: from there on the slope can't be told from 0 and there is no interval.

Source: E. C. Fieller, "Some problems in interval estimation", J. R. Statist. Soc. B 16 (1954), from memory;
tests/published/ has the published figures against which these functions are checked, with their sources.

Too little data returns `CannotTell` with a reason, never a guess.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wearlog.calc import quantiles

Floats = NDArray[np.float64]


class Reason(StrEnum):
    """Why there is no line, or no exposure at which it reaches the value."""

    TOO_FEW = "too few readings for a line and its scatter"
    ONE_EXPOSURE = "all readings stand at one exposure"
    NOT_WEARING = "the line does not move toward the limit"
    NOT_BOUNDED = "the slope can't be told from none, so the exposure has no bounds"


@dataclass(frozen=True)
class CannotTell:
    reason: Reason


@dataclass(frozen=True, kw_only=True)
class Line:
    """A fitted line. With an intercept, `centre` is the mean exposure and `spread` the sum of squared
    deviations from it; through the origin, `centre` is 0 and `spread` the sum of squared exposures."""

    intercept: float
    slope: float
    intercept_se: float
    slope_se: float
    residual_sd: float
    dof: int
    readings: int
    centre: float
    spread: float
    through_origin: bool

    def at(self, exposure: float) -> float:
        return self.intercept + self.slope * exposure


@dataclass(frozen=True, kw_only=True)
class Crossing:
    """The exposure at which a line has a given value: best estimate, Fieller's interval, and the standard
    error of the first-order (Wald) form, which is too small for few readings and given for comparison only.

    passed: the last reading, or the line at the largest exposure read, is already at or beyond the value."""

    exposure: float
    low: float
    high: float
    g: float
    wald_se: float
    passed: bool


def least_squares(x: ArrayLike, y: ArrayLike) -> Line | CannotTell:
    """Fit y = a + b x. Needs three readings at two different exposures or more, else `CannotTell`."""
    xs, ys = _pairs(x, y)
    if len(xs) < 3:
        return CannotTell(Reason.TOO_FEW)
    centre = float(xs.mean())
    spread = float(((xs - centre) ** 2).sum())
    if not spread > 0 or np.ptp(xs) <= 1e-12 * np.abs(xs).max():
        return CannotTell(Reason.ONE_EXPOSURE)
    slope = float(((xs - centre) * (ys - ys.mean())).sum()) / spread
    intercept = float(ys.mean()) - slope * centre
    dof = len(xs) - 2
    sd = float(np.sqrt(((ys - intercept - slope * xs) ** 2).sum() / dof))
    return Line(
        intercept=intercept,
        slope=slope,
        intercept_se=sd * float(np.sqrt(1.0 / len(xs) + centre**2 / spread)),
        slope_se=sd / float(np.sqrt(spread)),
        residual_sd=sd,
        dof=dof,
        readings=len(xs),
        centre=centre,
        spread=spread,
        through_origin=False,
    )


def through_origin(x: ArrayLike, y: ArrayLike) -> Line | CannotTell:
    """Fit y = b x, for wear from a known start. Needs two readings, one at an exposure other than 0."""
    xs, ys = _pairs(x, y)
    if len(xs) < 2:
        return CannotTell(Reason.TOO_FEW)
    spread = float((xs**2).sum())
    if not spread > 0:
        return CannotTell(Reason.ONE_EXPOSURE)
    slope = float((xs * ys).sum()) / spread
    dof = len(xs) - 1
    sd = float(np.sqrt(((ys - slope * xs) ** 2).sum() / dof))
    return Line(
        intercept=0.0,
        slope=slope,
        intercept_se=0.0,
        slope_se=sd / float(np.sqrt(spread)),
        residual_sd=sd,
        dof=dof,
        readings=len(xs),
        centre=0.0,
        spread=spread,
        through_origin=True,
    )


def exposure_at(
    line: Line,
    value: float,
    *,
    level: float = 0.8,
    new_readings: int | None = None,
    gauge_sd: float | None = None,
) -> Crossing | CannotTell:
    """The exposure at which the line has `value`, with Fieller's interval at the confidence `level`.

    new_readings: m where `value` is the mean of m new readings (calibration), None where it is exact.
    gauge_sd: the known standard deviation of one reading; replaces the scatter about the line, and Student's
        quantile by the normal one. Needed for an interval from three readings to hold (compare ISO/TS 28037).
    """
    if line.slope == 0:
        return CannotTell(Reason.NOT_BOUNDED)
    sd = line.residual_sd if gauge_sd is None else gauge_sd
    tail = 0.5 + 0.5 * level
    t = quantiles.student(tail, line.dof) if gauge_sd is None else quantiles.normal(tail)
    own = 0.0 if new_readings is None else 1.0 / new_readings
    own += 0.0 if line.through_origin else 1.0 / line.readings
    middle = line.at(line.centre)
    away = (value - middle) / line.slope
    g = (t * sd / line.slope) ** 2 / line.spread
    if not g < 1:
        return CannotTell(Reason.NOT_BOUNDED)
    half = abs(t * sd / line.slope) * np.sqrt(own * (1 - g) + away**2 / line.spread)
    return Crossing(
        exposure=line.centre + away,
        low=line.centre + float(away - half) / (1 - g),
        high=line.centre + float(away + half) / (1 - g),
        g=g,
        wald_se=abs(sd / line.slope) * float(np.sqrt(own + away**2 / line.spread)),
        passed=False,
    )


def exposure_at_limit(
    exposures: ArrayLike,
    values: ArrayLike,
    *,
    limit: float,
    new: float | None = None,
    shrinks: bool | None = None,
    level: float = 0.8,
    gauge_sd: float | None = None,
) -> Crossing | CannotTell:
    """The exposure at which a dimension reaches its limit, from the readings of one edge.

    With `new` the line starts at that dimension. Without it the line has an intercept, and `shrinks` says
    whether the dimension gets smaller with wear; if that is not given, it is assumed where the limit is below
    the first reading. A line that moves away from the limit never reaches it and gives `NOT_WEARING`, not a
    negative exposure. The exposure and its bounds are never below 0. Raises ValueError for unequal lengths.
    """
    xs, ys = _pairs(exposures, values)
    if len(xs) == 0:
        return CannotTell(Reason.TOO_FEW)
    order = np.lexsort((ys, xs))
    xs, ys = xs[order], ys[order]
    if shrinks is None:
        shrinks = limit < (ys[0] if new is None else new)
    toward = -1.0 if shrinks else 1.0
    start = 0.0 if new is None else new
    line = least_squares(xs, ys) if new is None else through_origin(xs, ys - start)
    if isinstance(line, CannotTell):
        return line
    if line.slope * toward <= 0:
        return CannotTell(Reason.NOT_WEARING)
    found = exposure_at(line, limit - start, level=level, gauge_sd=gauge_sd)
    if isinstance(found, CannotTell):
        return found
    last = float(ys[-1] - limit) * toward >= 0
    return Crossing(
        exposure=max(found.exposure, 0.0),
        low=max(found.low, 0.0),
        high=max(found.high, 0.0),
        g=found.g,
        wald_se=found.wald_se,
        passed=last or found.exposure <= float(xs[-1]),
    )


def _pairs(x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
    xs, ys = np.asarray(x, dtype=float).ravel(), np.asarray(y, dtype=float).ravel()
    if len(xs) != len(ys):
        raise ValueError(f"{len(xs)} exposures and {len(ys)} values: give one value for each exposure")
    known = np.isfinite(xs) & np.isfinite(ys)
    return xs[known], ys[known]
