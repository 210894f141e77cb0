"""Which value of a setting went with the best figure (oil, pace), from how many runs, and how sure.

Runs of one week are alike, so that the figure is averaged by week first (each week of a value counts once).
The best value is that with the highest mean of at least `LEAST_WEEKS` weeks. It is clearly better than the
others taken together where Welch's interval of the difference of the means lies above 0; since the best was
picked from k values, the interval is taken at 1 - 0.05 / k (Bonferroni). What was set and what came of it are
both on record; that one caused the other is not said, since seed, wear and season move along.

Figures in any unit, one for each run. Fewer than two values with enough weeks: nothing is best (None).
Source: Welch 1947 and Bonferroni's inequality, from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wearlog.calc import quantiles

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
LEAST_WEEKS = 3


@dataclass(frozen=True)
class BestValue:
    """`value` is the number of the best one; `low` and `high` are the 10 and 90 % points of the figure of its
    runs, `others` the mean of the others' weeks. `clear`: whether it is better by more than chance makes."""

    value: int
    runs: int
    mean: float
    low: float
    high: float
    others: float
    clear: bool


def best_value(value: Ints, figure: Floats, week: Ints) -> BestValue | None:
    """value, figure, week: shape (runs,); runs whose figure is NaN say nothing. Raises ValueError for lists
    of unequal length."""
    if not value.shape == figure.shape == week.shape or value.ndim != 1:
        raise ValueError("Values, figures and weeks must be lists of the same length.")
    known = ~np.isnan(figure)
    value, figure, week = value[known], figure[known], week[known]
    means = {int(one): _week_means(figure[value == one], week[value == one]) for one in np.unique(value)}
    enough = {one: weeks for one, weeks in means.items() if weeks.size >= LEAST_WEEKS}
    if len(enough) < 2:
        return None
    best = max(enough, key=lambda one: float(enough[one].mean()))
    others = np.concatenate([weeks for one, weeks in enough.items() if one != best])
    own = figure[value == best]
    low, high = np.quantile(own, (0.1, 0.9))
    return BestValue(
        value=best,
        runs=own.size,
        mean=float(enough[best].mean()),
        low=float(low),
        high=float(high),
        others=float(others.mean()),
        clear=_is_clear(enough[best], others, len(enough)),
    )


def _week_means(figure: Floats, week: Ints) -> Floats:
    _weeks, member = np.unique(week, return_inverse=True)
    means: Floats = np.bincount(member, weights=figure) / np.bincount(member)
    return means


def _is_clear(own: Floats, others: Floats, many: int) -> bool:
    parts = [float(weeks.var(ddof=1)) / weeks.size for weeks in (own, others)]
    spread = sum(parts)
    difference = float(own.mean() - others.mean())
    if spread <= 0:
        return difference > 0
    freedom = spread**2 / sum(
        part**2 / (weeks.size - 1) for part, weeks in zip(parts, (own, others), strict=True)
    )
    reach = quantiles.student(1 - 0.025 / many, freedom) * math.sqrt(spread)
    return difference > reach
