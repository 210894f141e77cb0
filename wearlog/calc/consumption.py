"""What of a part's price is used up by each run that it works in, and what is left of it.

A part is used up evenly with what it does, until its life is over. With a life L_c in kilograms of crop c (or
in hours, the same for all crops), the run r of crop c, of which the share s_r lies within the time in which
the part is fitted, uses

    u_r = s_r * q_r / L_c        q_r: kilograms through the part, or hours

of its life. Of a price V, with the fraction b used up before, the runs in order of time are charged

    V * (min(1, b + u_1 + ... + u_r) - min(1, b + u_1 + ... + u_(r-1)))

so that a part which outlives its expected life is charged once and no more, and V * max(0, 1 - b - sum(u)) is
left. What is left of a part that is retired early is a cost of its own, so that all charges of a retired part
add up to its price (less what was used up before).

A crop that wears an edge at the rate k_c (mm per kilogram) gives it the life L_c = |limit - new| / k_c, so
that a tonne of the crop which wears most costs most steel (`lives_of_crops`). A share of time is taken as a
share of the work, as in `calc.exposure`.

How surely that is known: the wear model gives equally likely cases g of the wear k_gc of all crops at once.
In the case g the crop c uses k_gc / k_c of what it is charged (`relative_cases`), so that a tonne that takes
v_c of a type's price by crop c costs sum(v_c (k_gc / k_c - 1)) more; its 10 % and 90 % points are the range
(`reach`). The errors of several types are independent: their reaches d_t add up as sqrt(sum d_t^2)
(`together`; first order, textbook). Crops must be taken together, since what gauges say of one is taken from
another: their ranges added up would be twice as wide. What is told is the wear of an average edge; where a
part ended early its whole price is known, and the range is somewhat too wide.

Units: instants in seconds, kilograms, hours; money in any currency. This is the units-of-production method of
depreciation without a residual value (textbook, from memory), with crops as weights.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Charged:
    """`each`: what each run is charged, shape (n,). `left`: what remains of the price."""

    each: Floats
    left: float


def shares_within(start: Floats, end: Floats, fitted: float, removed: float) -> Floats:
    """The share of each run, shape (n,), that lies in [fitted, removed); `removed` may be infinite. A run
    without length counts wholly at its instant."""
    length = end - start
    within = np.minimum(end, removed) - np.maximum(start, fitted)
    at_once = ((start >= fitted) & (start < removed)).astype(np.float64)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        return np.where(length > 0, np.clip(within / length, 0.0, 1.0), at_once)


def charge(value: float, used: Floats, *, before: float = 0.0) -> Charged:
    """Charge a price to the runs, in order of time, that use up these fractions of a life, shape (n,).
    before: the fraction used up already. Raises ValueError for negative numbers or such that are not
    finite."""
    if not (np.all(np.isfinite(used)) and np.isfinite(value) and np.isfinite(before)):
        raise ValueError("Price and use must be finite.")
    if value < 0 or before < 0 or np.any(used < 0):
        raise ValueError("Price and use can't be below 0.")
    done = np.minimum(1.0, before + np.concatenate(([0.0], np.cumsum(used))))
    return Charged(value * np.diff(done), float(value * (1.0 - done[-1])))


def lives_of_crops(budget: float, rates: Sequence[float | None]) -> Floats | None:
    """The life of an edge in kilograms of each crop, shape (crops,), from the wear that it can take and the
    wear per kilogram of each crop. A crop without a rate takes the mean of the others; None without any, or
    where nothing can wear."""
    known = np.array([np.nan if rate is None else rate for rate in rates], dtype=np.float64)
    known[~(known > 0)] = np.nan
    if not budget > 0 or np.all(np.isnan(known)):
        return None
    lives: Floats = budget / np.where(np.isnan(known), np.nanmean(known), known)
    return lives


def relative_cases(cases: Floats, middle: Sequence[float | None]) -> Floats:
    """Equally likely cases of the wear by each crop, shape (cases, crops), relative to what is charged. A
    crop without a rate goes with the mean of the others, as in `lives_of_crops`."""
    mid = np.array([np.nan if rate is None else rate for rate in middle], dtype=np.float64)
    known = mid > 0
    if not known.any():
        return np.ones_like(cases)
    others = cases[:, known].mean(axis=1) / mid[known].mean()
    return np.where(known, cases / np.where(known, mid, 1.0), others[:, None])


def reach(deviations: Floats) -> tuple[float, float]:
    """How far the 10 % and the 90 % point of equally likely deviations lie below and above 0."""
    low, high = np.quantile(deviations, (0.1, 0.9))
    return max(0.0, -float(low)), max(0.0, float(high))


def together(reaches: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """How far independent errors reach together, below and above."""
    return math.hypot(*(less for less, _more in reaches)), math.hypot(*(more for _less, more in reaches))
