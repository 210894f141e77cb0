"""The harvests of the log: a crop's seed of one season, of which all may wear alike.

A season runs from one season start to the next (`runs.seasons`). The columns of seed per harvest go from the
first season to today's, and within a season from crop to crop; so the last ones are the harvests of today.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from wearlog.history.record import Record
from wearlog.history.rows import Floats
from wearlog.runs.seasons import SEASON_START, parse_start

MOST_YEARS = 12
"""Seasons before these count as one with the first of them: parts that old have long been replaced."""


@dataclass(frozen=True)
class HarvestColumns:
    """crop: the crop of each column. starts: the instants at which a season after the first begins."""

    crop: tuple[int, ...]
    starts: tuple[float, ...]

    @classmethod
    def of(cls, record: Record, first: float) -> HarvestColumns:
        """Those from the season of an instant to that of the as-of day."""
        begin = season_of(record.day_of(min(first, record.end - 1)))
        last = season_of(record.as_of)
        years = range(max(begin + 1, last - MOST_YEARS + 2), last + 1)
        starts = tuple(record.start_of(season_start(year)) for year in years)
        return cls(tuple(range(len(record.crops))) * (len(starts) + 1), starts)

    @property
    def years(self) -> int:
        return len(self.starts) + 1

    def year_of(self, instant: float) -> int:
        """The season, from 0, that an instant belongs to."""
        return int(np.searchsorted(self.starts, instant, side="right"))

    def by_crop(self, kg: Floats) -> Floats:
        """Seed per crop, shape (n, crops), of seed per harvest (n, harvests)."""
        crops = len(self.crop) // self.years
        return np.asarray(kg.reshape(len(kg), self.years, crops).sum(axis=1))

    def split(self, taken: Floats, upto: Floats) -> Floats:
        """Seed per harvest (n, harvests) of what was `taken` (n, crops), with what is taken when each season
        after the first begins, `upto` (n, years - 1, crops), whether that is before or after."""
        begun = np.minimum(upto, taken[:, None])
        edges = np.concatenate([np.zeros_like(taken)[:, None], begun, taken[:, None]], axis=1)
        return np.asarray(np.diff(edges, axis=1).reshape(len(taken), -1))


def season_of(day: date) -> int:
    """The year in which the season of a day began."""
    return day.year - ((day.month, day.day) < parse_start(SEASON_START))


def season_start(year: int) -> date:
    return date(year, *parse_start(SEASON_START))
