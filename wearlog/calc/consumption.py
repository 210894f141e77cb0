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

Units: instants in seconds, kilograms, hours; money in any currency. This is the units-of-production method of
depreciation without a residual value (textbook, from memory), with crops as weights.
"""

from __future__ import annotations

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
