"""Input of the wear model: gauges, work and exposures of the edges of one part type.

Lengths are in one unit of the caller's choice (millimetres in this project), masses in one unit (kilograms),
and instants are numbers that only have to increase. Nothing here depends on the choice.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Gauge:
    """One reading of a gauge.

    `bound` is "" for a plain value, "at_least" or "below" for a check with a pin: the dimension (not the
    wear) is at least `value` if the pin went in, and below it if not. `phase` is "before" or "after" for a
    reading taken around a piece of work, and `work` then is that work's id. Readings at one instant in
    several places belong to one gauging; the most worn place counts.
    """

    at: float
    value: float
    bound: str = ""
    place: str = ""
    phase: str = ""
    work: int | None = None


@dataclass(frozen=True, kw_only=True)
class Work:
    """Work that changed the dimension of an edge.

    `resets` is true for a rebuild or a hard-facing, which begin a new life (at the dimension read after it,
    else at the new dimension), and false for a polish or the like, which shifts the dimension by the
    difference between the readings before and after it; without both readings it is taken to shift nothing.
    """

    id: int
    at: float
    resets: bool


@dataclass(frozen=True, kw_only=True)
class EdgeRecord:
    """All records of one edge (or of a part with one edge) up to the forecast day.

    key: any hashable name of the edge; `part` is the same for all edges of one part.
    gauges, gauge_kg: readings in any order and, row by row, the seed per column (`TypeRecord.columns`) that
        the edge had taken since it was new, shape (len(gauges), columns).
    works, work_kg: the same for work that changed the dimension, shape (len(works), columns).
    now_kg: seed per column taken up to the forecast day (or up to the edge's end), shape (columns,).
    worn_out: the edge was retired, or turned away for good, as worn.
    in_use: the edge may still take seed (it is on a press or waiting to go back).
    """

    key: Hashable
    part: Hashable
    gauges: tuple[Gauge, ...] = ()
    gauge_kg: Floats
    works: tuple[Work, ...] = ()
    work_kg: Floats
    now_kg: Floats
    worn_out: bool = False
    in_use: bool = True


@dataclass(frozen=True, kw_only=True)
class TypeRecord:
    """A part type and its edges. Where `new` or `limit` is None nothing can be said about a limit.

    crops: the number of crops. expected_life_kg: of one edge, counts like one edge.
    harvests: the crop of each column of the exposures, where these tell a crop's harvests apart; empty where
        there is one column for each crop, in which case nothing is learned of harvests. The same for all
        types that are learned from together. The last column of each crop is its harvest of today.
    gauge_guess: assumed standard deviation of a reading before there are data (0.03 mm: common practice, no
        source).
    """

    key: Hashable
    new: float | None
    limit: float | None
    crops: int
    expected_life_kg: float | None = None
    harvests: tuple[int, ...] = ()
    edges: tuple[EdgeRecord, ...] = field(default_factory=tuple)
    gauge_guess: float = 0.03

    @property
    def columns(self) -> int:
        """The number of columns of the exposures."""
        return len(self.harvests) or self.crops

    def by_crop(self, kg: Floats) -> Floats:
        """Seed per crop, shape (..., crops), of seed per column (..., columns)."""
        if not self.harvests:
            return kg
        return np.asarray(kg @ np.eye(self.crops)[list(self.harvests)])
