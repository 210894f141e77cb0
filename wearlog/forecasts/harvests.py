"""The harvests of the log: a crop's seed of one season, of which all may wear alike.

A season runs from one season start to the next (`runs.seasons`). The columns of seed per harvest go from the
first season to today's, and within a season from crop to crop; so the last ones are the harvests of today.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from wearlog.history.record import Record
from wearlog.history.rows import Floats, Ints
from wearlog.runs.seasons import SEASON_START, parse_start

Key = TypeVar("Key", bound=Hashable)

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
        return int(self._years_of([instant])[0])

    def _years_of(self, instants: npt.ArrayLike) -> Ints:
        """The same for several instants, shape (n,)."""
        return np.searchsorted(np.asarray(self.starts), np.asarray(instants), side="right").astype(np.int64)

    def by_crop(self, kg: Floats) -> Floats:
        """Seed per crop, shape (n, crops), of seed per harvest (n, harvests)."""
        crops = len(self.crop) // self.years
        return np.asarray(kg.reshape(len(kg), self.years, crops).sum(axis=1))

    def taken(
        self,
        wanted: Sequence[tuple[Key, float]],
        begun: Mapping[Key, float],
        by_crop: Callable[[list[tuple[Key, float]]], Floats],
    ) -> Floats:
        """Seed per harvest (len(wanted), harvests) that each edge had taken before each instant. begun: when
        each edge was first fitted. by_crop: the same per crop, for any edges and instants."""
        if not wanted:
            return np.zeros((0, len(self.crop)))
        places = {key: place for place, key in enumerate(begun)}
        rows = [places[key] for key, _ in wanted]
        last = np.full(len(places), -np.inf)
        np.maximum.at(last, rows, [at for _, at in wanted])
        # By edge and season, what was taken when it began; seasons after the last instant are not asked for.
        upto = np.full((len(places), len(self.starts), len(self.crop) // self.years), np.inf)
        first_year, last_year = self._years_of(list(begun.values())), self._years_of(last)
        upto[np.arange(len(self.starts)) < first_year[:, None]] = 0.0
        begins = [
            (key, year)
            for key, begin, end in zip(begun, first_year.tolist(), last_year.tolist(), strict=True)
            for year in range(begin, end)
        ]
        found = by_crop([*wanted, *((key, self.starts[year]) for key, year in begins)])
        upto[[places[key] for key, _ in begins], [year for _, year in begins]] = found[len(wanted) :]
        return self.split(found[: len(wanted)], upto[rows])

    def with_what_is_to_come(self, seed: Floats, logged: Floats) -> Floats:
        """Seed per crop (n, crops), some of it still to come, as seed per harvest (n, harvests): what is not
        in `logged` (n, harvests; or empty) is of the harvests of today."""
        out = logged.copy() if len(logged) else np.zeros((len(seed), len(self.crop)))
        known = self.by_crop(out)
        share = np.divide(np.minimum(seed, known), known, out=np.zeros_like(known), where=known > 0)
        out *= share[:, list(self.crop)]
        out[:, len(self.crop) - seed.shape[1] :] += np.maximum(seed - known, 0.0)
        return out

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
