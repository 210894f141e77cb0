"""How long parts last that are not measured: ages at failure, and ages of parts that have not failed.

An age is in hours, kilograms or crop-weighted kilograms, always above 0. A part still in service, lost, or
retired for another reason than wear or breakage is censored: all that is known is that it lasts longer.
- `fit_life`: two-parameter Weibull by maximum likelihood where there are two or more distinct failure ages,
  with exact limits for three failures and more, and likelihood-ratio limits for two (`calc.weibull`). Below
  three failures, advice uses assumed shapes instead (`basis` "fixed_shape"): the scale for an assumed shape b
  is (sum(w t^b) / r)^(1/b), with limits from 2 sum(w t^b) / scale^b ~ chi-square, 2r + 2 degrees of freedom
  for the lower limit and 2r for the upper. With no failure there is only a lower limit, at the whole
  confidence. With exactly three failures both the free fit and the assumed shapes are given. Several shapes
  are given because the choice matters: assuming 3 where 2 is true reduces the coverage of a 95 % limit to
  between 72 and 93 %.
- `least_shape`: the exact lower limit of the shape, for advice that needs parts to wear out.
- `kaplan_meier`: the product-limit estimate with Greenwood's standard error and plain log limits; at a tie a
  failure comes before a censoring.
- `remaining`: quantiles of the remaining life of a part, given that it has reached an age.
- `rank_regression`: median ranks (Johnson's adjustment, Benard's approximation), X on Y; for comparison with
  handbooks that print it, not used for advice.

Without any part the basis is "none". Source: Nelson 1985 and Abernethy's handbook, chapter 6 (fixed
shape); Meeker & Escobar 1998 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
from scipy import special

from wearlog.calc import quantiles
from wearlog.calc.weibull import one, pivotal

Floats = npt.NDArray[np.float64]
ASSUMED_SHAPES: Final = (1.0, 2.0, 3.0, 4.0)
FEW: Final = 3
"""With fewer failures than this the shape is assumed, not fitted."""
FEW_TO_AVERAGE: Final = 5
"""With fewer failures than this pages show counts and no mean."""


@dataclass(frozen=True)
class Limits:
    """Confidence limits; None on a side that the data do not bound."""

    low: float | None
    high: float | None


UNKNOWN: Final = Limits(None, None)


@dataclass(frozen=True)
class FixedShape:
    """The scale under an assumed shape. `scale` is None without a failure. `one_sided_low` is the one-sided
    lower limit at the whole confidence, `scale_range` the two-sided limits."""

    shape: float
    scale: float | None
    scale_range: Limits
    one_sided_low: float


@dataclass(frozen=True)
class Survival:
    """One step of the product-limit estimate; `low` and `high` are limits on the log scale, capped at 1."""

    age: float
    survival: float
    at_risk: float
    std_err: float
    low: float
    high: float


@dataclass(frozen=True)
class Life:
    """The result of `fit_life`. `shape` to `se_log_scale` are None where two parameters can't be fitted;
    `basis` says what advice may be based on, and `reason` why that is not the free fit."""

    basis: Literal["mle", "fixed_shape", "none"]
    reason: str
    failures: float
    units: float
    fixed_shapes: tuple[FixedShape, ...]
    shape: float | None = None
    shape_range: Limits = UNKNOWN
    scale: float | None = None
    scale_range: Limits = UNKNOWN
    log_likelihood: float | None = None
    b10: float | None = None
    b10_range: Limits = UNKNOWN
    se_log_shape: float | None = None
    se_log_scale: float | None = None

    @property
    def limits(self) -> Literal["exact", "likelihood ratio", "none"]:
        """Which kind the ranges of the free fit are."""
        if self.shape is None:
            return "none"
        return "exact" if self.failures >= pivotal.FROM else "likelihood ratio"

    @property
    def mean(self) -> float | None:
        """Mean life of the free fit, as scale * gamma(1 + 1/shape)."""
        if self.shape is None or self.scale is None:
            return None
        return self.scale * float(special.gamma(1 + 1 / self.shape))

    @property
    def sd(self) -> float | None:
        if self.shape is None or self.scale is None:
            return None
        square = special.gamma(1 + 2 / self.shape) - special.gamma(1 + 1 / self.shape) ** 2
        return self.scale * float(np.sqrt(square))

    @property
    def aic(self) -> float | None:
        return None if self.log_likelihood is None else 4 - 2 * self.log_likelihood


def _checked(
    ages: npt.ArrayLike, failed: npt.ArrayLike, counts: npt.ArrayLike | None
) -> tuple[Floats, npt.NDArray[np.bool_], Floats]:
    t, dead = np.asarray(ages, dtype=np.float64), np.asarray(failed, dtype=np.bool_)
    w = np.ones_like(t) if counts is None else np.asarray(counts, dtype=np.float64)
    if t.ndim != 1 or not t.shape == dead.shape == w.shape:
        raise ValueError("Ages, failed and counts must be lists of the same length.")
    if np.any(~np.isfinite(t)) or np.any(t <= 0):
        raise ValueError("Ages must be finite and above 0.")
    if np.any(~np.isfinite(w)) or np.any(w < 0):
        raise ValueError("Counts must be finite and not negative.")
    used = w > 0
    return t[used], dead[used], w[used]


def fit_life(
    ages: npt.ArrayLike,
    failed: npt.ArrayLike,
    counts: npt.ArrayLike | None = None,
    *,
    confidence: float = 0.95,
    assumed_shapes: tuple[float, ...] = ASSUMED_SHAPES,
) -> Life:
    """Fit one set of parts, shape (n,) each; `counts` says how many parts each entry stands for (default 1).
    Raises ValueError for ages that are not finite and above 0, negative counts, or unequal lengths. To fit
    many sets at once use `calc.weibull.many.fit_many`."""
    if not 0 < confidence < 1:
        raise ValueError("The confidence must lie between 0 and 1.")
    t, dead, w = _checked(ages, failed, counts)
    if t.size == 0:
        return Life("none", "no part on record", 0.0, 0.0, ())
    drop = quantiles.chi_square(confidence, 1) / 2
    found = one.fit_one(t, dead, w, drop=drop)
    failures, fitted = float(w[dead].sum()), found is not None
    fixed: tuple[FixedShape, ...] = ()
    if failures <= FEW or not fitted:
        fixed = tuple(fixed_shape(t, dead, shape, w, confidence=confidence) for shape in assumed_shapes)
    assumed = failures < FEW or not fitted
    life = Life(
        "fixed_shape" if assumed else "mle",
        _why_fixed(failures, fitted) if assumed else "",
        failures,
        float(w.sum()),
        fixed,
    )
    if found is None:
        return life
    return replace(
        life,
        shape=found.shape,
        shape_range=Limits(*found.shape_limits),
        scale=found.scale,
        scale_range=Limits(*found.scale_limits),
        log_likelihood=found.log_likelihood,
        b10=found.b10,
        b10_range=Limits(*found.b10_limits),
        se_log_shape=found.se_log_shape,
        se_log_scale=found.se_log_scale,
    )


def least_shape(
    ages: npt.ArrayLike,
    failed: npt.ArrayLike,
    counts: npt.ArrayLike | None = None,
    *,
    confidence: float = 0.95,
) -> float | None:
    """The lower limit of the shape by which advice goes that needs parts to wear out: parts that fail by
    chance (shape 1) seem to wear out in (1 - confidence) / 2 of cases, however few or many have failed. None
    with fewer than two distinct failure ages. Raises ValueError as `fit_life` does."""
    t, dead, w = _checked(ages, failed, counts)
    return one.least_shape(t, dead, w, tail=(1 - confidence) / 2) if t.size else None


def _why_fixed(failures: float, fitted: bool) -> str:
    if failures == 0:
        return "no failure yet: only a lower limit of the life, for each assumed shape"
    if not fitted:
        return "fewer than two distinct failure ages: the shape is assumed, the scale fitted to it"
    return "fewer than three failures: rest on the assumed shapes, the free fit is shown for its wide range"


def fixed_shape(
    ages: npt.ArrayLike,
    failed: npt.ArrayLike,
    shape: float,
    counts: npt.ArrayLike | None = None,
    *,
    confidence: float = 0.95,
) -> FixedShape:
    """The scale for an assumed shape, with chi-square limits. Raises ValueError without a part."""
    if not (np.isfinite(shape) and shape > 0):
        raise ValueError("The assumed shape must be finite and above 0.")
    t, dead, w = _checked(ages, failed, counts)
    if t.size == 0:
        raise ValueError("There is no part to fit a scale to.")
    top = float(t.max())
    total = float(np.sum(w * (t / top) ** shape))
    failures = float(np.sum(w[dead]))

    def limit(chance: float, freedom: float) -> float:
        return top * float(np.divide(2 * total, quantiles.chi_square(chance, freedom)) ** (1 / shape))

    one_sided = limit(confidence, 2 * failures + 2)
    if failures == 0:  # there is no upper limit, so the lower one takes the whole confidence
        return FixedShape(shape, None, Limits(one_sided, None), one_sided)
    tail = (1 - confidence) / 2
    both = Limits(limit(1 - tail, 2 * failures + 2), limit(tail, 2 * failures))
    return FixedShape(shape, top * (total / failures) ** (1 / shape), both, one_sided)


def kaplan_meier(
    ages: npt.ArrayLike,
    failed: npt.ArrayLike,
    counts: npt.ArrayLike | None = None,
    *,
    confidence: float = 0.95,
) -> list[Survival]:
    """The product-limit estimate at each failure age, in order of age; empty without failures."""
    t, dead, w = _checked(ages, failed, counts)
    steps = np.unique(t[dead])
    if steps.size == 0:
        return []
    order = np.argsort(t)
    left = np.concatenate(([0.0], np.cumsum(w[order])))
    at_risk = left[-1] - left[np.searchsorted(t[order], steps, side="left")]
    died = np.bincount(np.searchsorted(steps, t[dead]), weights=w[dead], minlength=steps.size)
    survival = np.cumprod(1 - died / at_risk)
    with np.errstate(divide="ignore", invalid="ignore"):
        greenwood = np.cumsum(died / (at_risk * (at_risk - died)))
        spread = np.where(survival > 0, np.sqrt(greenwood), np.nan)
    z = quantiles.normal((1 + confidence) / 2)
    low = np.where(survival > 0, survival * np.exp(-z * spread), 0.0)
    high = np.where(survival > 0, np.minimum(1.0, survival * np.exp(z * spread)), 1.0)
    std_err = np.where(survival > 0, survival * spread, 0.0)
    columns = (steps, survival, at_risk, std_err, low, high)
    return [Survival(*(float(value) for value in row)) for row in zip(*columns, strict=True)]


def median_life(steps: list[Survival]) -> float | None:
    """The first age at which no more than half survive; None where more than half still do."""
    return next((step.age for step in steps if step.survival <= 0.5), None)


def remaining(
    shape: npt.ArrayLike, scale: npt.ArrayLike, age: npt.ArrayLike, chance: npt.ArrayLike
) -> Floats:
    """The further age by which a part of age `age`, not yet failed, fails with probability `chance`:

    scale ((age/scale)^shape - ln(1 - chance))^(1/shape) - age. Arrays broadcast; ages are 0 or more."""
    b, eta, reached, p = (np.asarray(value, dtype=np.float64) for value in (shape, scale, age, chance))
    if np.any(b <= 0) or np.any(eta <= 0) or np.any(reached < 0) or np.any((p <= 0) | (p >= 1)):
        raise ValueError("Shape and scale must be above 0, the age not negative, the chance between 0 and 1.")
    left: Floats = eta * ((reached / eta) ** b - np.log1p(-p)) ** (1 / b) - reached
    return np.maximum(left, 0.0)


def wald_range(estimate: float, se_log: float, *, confidence: float = 0.95) -> Limits:
    """Limits that are symmetric in the logarithm. They are too narrow for few failures (with three, 95 %
    limits cover 80 to 86 %); kept for comparison with programs that print them."""
    reach = float(np.exp(quantiles.normal((1 + confidence) / 2) * se_log))
    return Limits(estimate / reach, estimate * reach)


def rank_regression(ages: npt.ArrayLike, failed: npt.ArrayLike) -> tuple[float, float] | None:
    """Shape and scale by regression of ln age on ranks; None with fewer than two distinct failure ages."""
    t, dead, _w = _checked(ages, failed, None)
    order = np.lexsort((~dead, t))
    t, dead = t[order], dead[order]
    rank, ranks = 0.0, []
    for place in np.flatnonzero(dead).tolist():
        rank += (t.size + 1 - rank) / (t.size - place + 1)
        ranks.append(rank)
    log_age = np.log(t[dead])
    if np.unique(log_age).size < 2:
        return None
    chance = (np.array(ranks) - 0.3) / (t.size + 0.4)
    y = np.log(-np.log1p(-chance))
    slope = float(np.sum((y - y.mean()) * (log_age - log_age.mean())) / np.sum((y - y.mean()) ** 2))
    shape = 1 / slope
    return shape, float(np.exp(log_age.mean() - slope * y.mean()))
