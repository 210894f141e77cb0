"""Forecasts compared with outcomes: how often ranges held, and how far the mid day was off.

Days are ordinals. A forecast that lacks any of the three days of its range is counted separately and never as
held. Forecasts are compared with a simple rule, the lumped rate: the wear at the last gauge divided by the
seed until then, applied to the same expected season. Only edges for which both gave a day are compared, so
that neither gains by giving none in difficult cases. See docs/methods/track-record.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wearlog.calc.conformal import DayRange

FEWEST_FOR_SHARES = 5
"""Below this many edges a share says nothing; counts are shown instead (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class Promise:
    """A forecast made for one edge some days ahead, and the day on which the edge reached its limit.

    `range` is None where no full range was given, `lumped` where the lumped rate gave no day."""

    made_on: float
    came: float
    range: DayRange | None
    lumped: float | None = None

    @property
    def held(self) -> bool:
        return self.range is not None and self.range.holds(self.came)


@dataclass(frozen=True, kw_only=True)
class Summary:
    """A summary of the forecasts at one lead time. Errors and widths are in days, None without data.

    edges: all forecasts. ranged: those with a full range. held: of `ranged`, those whose range contained the
    day. early, late: those whose day came before, or after, the range. paired: of `ranged`, those for which
    the lumped rate gave a day too; paired_error and lumped_error are both means over these.
    """

    edges: int
    ranged: int
    held: int
    early: int
    late: int
    mean_error: float | None
    mean_bias: float | None
    median_width: float | None
    paired: int
    paired_error: float | None
    lumped_error: float | None

    @property
    def share_held(self) -> float | None:
        """`held` / `ranged`; None below five edges, where only counts should be shown."""
        return self.held / self.ranged if self.ranged >= FEWEST_FOR_SHARES else None

    @property
    def share_percent(self) -> int | None:
        return None if self.share_held is None else round(100 * self.share_held)

    @property
    def against_lumped(self) -> float | None:
        """Mean error divided by that of the lumped rate; None below five pairs or where the lumped rate had
        no error."""
        if self.paired < FEWEST_FOR_SHARES or not self.lumped_error or self.paired_error is None:
            return None
        return self.paired_error / self.lumped_error


def summary(promises: Sequence[Promise]) -> Summary:
    """Summarise forecasts at one lead time; `mean_bias` is above 0 where edges lasted longer than
    forecast."""
    ranged = [(one, one.range) for one in promises if one.range is not None]
    away = np.array([one.came - given.mid for one, given in ranged])
    pairs = [
        (abs(one.came - g.mid), abs(one.came - one.lumped)) for one, g in ranged if one.lumped is not None
    ]
    widths = np.array([given.late - given.early for _, given in ranged])
    ours, lumped = (np.array(side) for side in zip(*pairs, strict=True)) if pairs else (away[:0], away[:0])
    return Summary(
        edges=len(promises),
        ranged=len(ranged),
        held=sum(given.holds(one.came) for one, given in ranged),
        early=sum(one.came < given.early for one, given in ranged),
        late=sum(one.came > given.late for one, given in ranged),
        mean_error=_mean(np.abs(away)),
        mean_bias=_mean(away),
        median_width=float(np.median(widths)) if widths.size else None,
        paired=len(pairs),
        paired_error=_mean(ours),
        lumped_error=_mean(lumped),
    )


def _mean(values: np.ndarray) -> float | None:
    return float(values.mean()) if values.size else None


def crossing(seed: Sequence[float], worn: Sequence[float], budget: float) -> float | None:
    """The seed at which wear reached the budget, by linear interpolation between the gauges before and after
    it.

    seed and worn are the gauges of one life in order of time. The crossing is before the first gauge from
    which on all gauges are at or past the budget, so that one outlying reading that a later one contradicts
    is ignored. Before the first gauge the line starts at 0. None where the last gauge is below the budget.
    Raises ValueError for lists of unequal length."""
    if len(worn) != len(seed):
        raise ValueError("one amount of seed for each gauge")
    first = len(worn)
    while first > 0 and worn[first - 1] >= budget:
        first -= 1
    if first == len(worn):
        return None
    seed_before, worn_before = (0.0, 0.0) if first == 0 else (seed[first - 1], worn[first - 1])
    rise = worn[first] - worn_before
    part = (budget - worn_before) / rise if rise > 0 else 1.0
    return float(seed_before + min(max(part, 0.0), 1.0) * (seed[first] - seed_before))
