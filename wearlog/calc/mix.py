"""Rates of machines that pressed different crops, made comparable by direct standardisation.

A press that ran mostly slow crops looks slow by its crude hours per tonne. Its standardised rate answers the
question: what would its hours per tonne have been if it had pressed the common crop mix at its own rate for
each crop?

    crude = sum(x_c) / sum(n_c)        standardised = sum(w_c * x_c / n_c) / sum(w_c)

x_c are the hours (or counts) and n_c the tonnes (or exposure) of crop c, w_c the weights of the common mix. A
press that never pressed a crop of the mix has no standardised rate: the result is `NeverRan` with the indexes
of those crops. So that one rare crop does not leave half the presses without a rate, the mix is that of their
common ground: the crops that each of the presses compared has pressed (`common_ground`), with what it leaves
out beside it. A press that shares no crop with any other has no common ground with them (`without_company`).

Intervals:

- counts: the gamma interval of Fay & Feuer (1997, Statistics in Medicine 16:791). With y the standardised
  rate, v = sum(w_c^2 x_c / n_c^2) its variance and m = max(w_c / n_c), weights scaled to 1:
  low = v/(2y) chi2(a/2; 2y^2/v), high = (v+m^2)/(2(y+m)) chi2(1-a/2; 2(y+m)^2/(v+m^2)).
- hours: these are not counts, so the variance is estimated from the press's own blocks of work (weeks). Each
  crop's rate is a ratio of sums with variance k/(k-1) sum((x_b - r n_b)^2) / n^2 over its k blocks; the
  interval is symmetric in the logarithm, with Student's t at Welch and Satterthwaite's degrees of freedom. A
  crop with a single block has no variance: then no interval is given (low and high are None), never one of
  zero width.

Source of the formulas: Fay & Feuer as above; Cochran, Sampling Techniques, chapter 6 (ratio of sums, from
memory); Welch 1947 and Satterthwaite 1946 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wearlog.calc import quantiles

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Standardised:
    """A rate for the common mix, with the limits of its interval; None where the data bound nothing."""

    crude: float
    rate: float
    low: float | None
    high: float | None
    variance: float | None


@dataclass(frozen=True)
class NeverRan:
    """The rate can't be standardised: `missing` are the indexes, in the mix, of the crops without
    exposure."""

    missing: tuple[int, ...]
    crude: float | None


@dataclass(frozen=True)
class NoMix:
    """The rate can't be standardised: the common mix is empty."""


@dataclass(frozen=True)
class Ground:
    """What presses can be compared on. `mix` are the tonnes of each crop that all of them pressed, 0 for the
    other crops; `left_out` is the share (0 to 1) of their tonnes that each of those other crops has, 0 for
    the crops of the mix."""

    mix: tuple[float, ...]
    left_out: tuple[float, ...]


def common_ground(tonnes: npt.ArrayLike) -> Ground | None:
    """The crops that all these presses pressed. `tonnes` has a row for each press and a column for each crop;
    None where the presses have no crop in common. Raises ValueError for negative or infinite numbers."""
    n = _matrix(tonnes)
    shared = np.all(n > 0, axis=0) if len(n) else np.zeros(n.shape[1], dtype=np.bool_)
    if not shared.any():
        return None
    of_crop = n.sum(axis=0)
    return Ground(
        mix=tuple(np.where(shared, of_crop, 0.0).tolist()),
        left_out=tuple((np.where(shared, 0.0, of_crop) / of_crop.sum()).tolist()),
    )


def without_company(tonnes: npt.ArrayLike) -> tuple[int, ...]:
    """The indexes of the presses that share no crop with any other, in the same shape as for
    `common_ground`. A press without tonnes is one of them; the only press of all is not."""
    ran = _matrix(tonnes) > 0
    if int(np.any(ran, axis=1).sum()) < 2:
        return tuple(np.flatnonzero(~np.any(ran, axis=1)).tolist())
    shared = ran & (ran.sum(axis=0) > 1)
    return tuple(np.flatnonzero(~np.any(shared, axis=1)).tolist())


def _matrix(tonnes: npt.ArrayLike) -> Floats:
    n = np.asarray(tonnes, dtype=np.float64)
    if n.ndim != 2:
        raise ValueError("tonnes must have a row for each press and a column for each crop")
    if not np.all(np.isfinite(n)) or np.any(n < 0):
        raise ValueError("tonnes must be finite and not negative")
    return n


def _checked(amount: npt.ArrayLike, exposure: npt.ArrayLike, mix: npt.ArrayLike) -> tuple[Floats, ...]:
    x, n, w = (np.asarray(part, dtype=np.float64) for part in (amount, exposure, mix))
    if not x.shape == n.shape == w.shape or x.ndim != 1:
        raise ValueError("amount, exposure and mix must be lists of the same length, one entry per crop")
    if any(not np.all(np.isfinite(part)) or np.any(part < 0) for part in (x, n, w)):
        raise ValueError("amount, exposure and mix must be finite and not negative")
    return x, n, w


def crude_rate(amount: npt.ArrayLike, exposure: npt.ArrayLike) -> float | None:
    """sum(amount) / sum(exposure); None without exposure, where there is no rate (not a rate of 0)."""
    total = float(np.sum(np.asarray(exposure, dtype=np.float64)))
    return float(np.sum(np.asarray(amount, dtype=np.float64))) / total if total > 0 else None


def standardise_counts(
    counts: npt.ArrayLike, exposure: npt.ArrayLike, mix: npt.ArrayLike, *, confidence: float = 0.95
) -> Standardised | NeverRan | NoMix:
    """Directly standardised rate of counts, with the gamma interval. One entry per stratum (crop).

    Raises ValueError for negative or infinite numbers, or lists of unequal length."""
    x, n, w = _checked(counts, exposure, mix)
    problem = _problem(x, n, w)
    if problem is not None:
        return problem
    part = w / w.sum()
    used = part > 0
    scale = np.divide(part, n, out=np.zeros_like(part), where=used)
    rate = float(np.sum(scale * x))
    variance = float(np.sum(scale**2 * x))
    most = float(scale.max())
    tail = (1 - confidence) / 2
    low = 0.0
    if rate > 0:
        low = variance / (2 * rate) * quantiles.chi_square(tail, 2 * rate**2 / variance)
    upper_rate, upper_variance = rate + most, variance + most**2
    freedom = 2 * upper_rate**2 / upper_variance
    high = upper_variance / (2 * upper_rate) * quantiles.chi_square(1 - tail, freedom)
    return Standardised(crude_rate(x, n) or 0.0, rate, low, high, variance)


def standardise_hours(
    hours: npt.ArrayLike,
    tonnes: npt.ArrayLike,
    mix: npt.ArrayLike,
    blocks: Sequence[tuple[npt.ArrayLike, npt.ArrayLike]] | None = None,
    *,
    confidence: float = 0.95,
) -> Standardised | NeverRan | NoMix:
    """Hours per tonne for the common mix. One entry per crop. `blocks` gives, for each crop, the hours and
    the tonnes of its blocks of work (for example weeks), from which the interval is estimated; without
    `blocks` there is no interval. Raises ValueError for negative or infinite numbers, or lists of unequal
    length."""
    x, n, w = _checked(hours, tonnes, mix)
    problem = _problem(x, n, w)
    if problem is not None:
        return problem
    part = w / w.sum()
    used = np.flatnonzero(part > 0)
    rates = x[used] / n[used]
    rate = float(np.sum(part[used] * rates))
    crude = crude_rate(x, n)
    assert crude is not None  # every crop of the mix has tonnes
    variance, freedom = None, 0.0
    if blocks is not None:
        spread = [_ratio_variance(*blocks[crop]) for crop in used.tolist()]
        if all(found is not None for found in spread):
            terms = np.array(
                [share**2 * found[0] for share, found in zip(part[used], spread, strict=True) if found]
            )
            sizes = np.array([found[1] for found in spread if found])
            variance = float(terms.sum())
            if variance > 0:
                freedom = variance**2 / float(np.sum(terms**2 / sizes))
    if variance is None or variance <= 0 or rate <= 0:
        return Standardised(crude, rate, None, None, variance)
    reach = quantiles.student((1 + confidence) / 2, freedom) * variance**0.5 / rate
    return Standardised(crude, rate, rate * float(np.exp(-reach)), rate * float(np.exp(reach)), variance)


def _problem(x: Floats, n: Floats, w: Floats) -> NeverRan | NoMix | None:
    if w.sum() <= 0:
        return NoMix()
    missing = np.flatnonzero((w > 0) & (n <= 0))
    if missing.size:
        return NeverRan(tuple(int(place) for place in missing), crude_rate(x, n))
    return None


def _ratio_variance(hours: npt.ArrayLike, tonnes: npt.ArrayLike) -> tuple[float, float] | None:
    """Variance of sum(hours) / sum(tonnes) over blocks, and its degrees of freedom; None below two blocks."""
    x, n = np.asarray(hours, dtype=np.float64), np.asarray(tonnes, dtype=np.float64)
    if x.size < 2 or n.sum() <= 0:
        return None
    rest = x - x.sum() / n.sum() * n
    return float(x.size / (x.size - 1) * np.sum(rest**2) / n.sum() ** 2), float(x.size - 1)
