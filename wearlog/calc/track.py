"""What was promised against what came: how often ranges held and how far the middle was off.

Days are ordinals. A promise without all three days of its range is counted apart and never as held. The
lumped rate (wear at the last gauge over the seed until then, spent along the same season) is compared only
on edges for which both named a day, so that neither gains from the hard ones. See
docs/methods/track-record.md.
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
    """What was said of one edge some days ahead, and the day that came.

    `range` is None where no full range was given, `lumped` where the lumped rate named no day."""

    said_on: float
    came: float
    range: DayRange | None
    lumped: float | None = None

    @property
    def held(self) -> bool:
        return self.range is not None and self.range.holds(self.came)


@dataclass(frozen=True, kw_only=True)
class Summary:
    """Of the promises at one lead time. Errors and widths in days, None without an edge to take them from.

    edges: all promises. ranged: of these, with a full range. held: of these, with the day in the range.
    early, late: the day came before, or after, the range. paired: ranged ones with a lumped day too;
    paired_error and lumped_error are both over these.
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
        """None below five edges: the counts say all that can be said."""
        return self.held / self.ranged if self.ranged >= FEWEST_FOR_SHARES else None

    @property
    def share_percent(self) -> int | None:
        return None if self.share_held is None else round(100 * self.share_held)

    @property
    def against_lumped(self) -> float | None:
        """Mean error over that of the lumped rate; None below five pairs or where the lumped rate never
        was off."""
        if self.paired < FEWEST_FOR_SHARES or not self.lumped_error or self.paired_error is None:
            return None
        return self.paired_error / self.lumped_error


def summary(promises: Sequence[Promise]) -> Summary:
    """Counts, mean error, and median width. `mean_bias` is above 0 where edges lasted longer than said."""
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
    """Seed at which wear came to the budget, by a straight line between the two gauges around it.

    seed and worn are the gauges of one life in order of time. The gauges from which on all are at or past
    the budget count; one far reading that a later one contradicts does not. Before the first gauge the line
    starts at a new edge. None where the last gauge is below the budget."""
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
