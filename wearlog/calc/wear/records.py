"""What the wear model is told: gauges, work and exposures of the edges of one part type.

Lengths are in one unit of the caller's choice (millimetres in this project), masses in one unit
(kilograms), instants are numbers that only have to increase. Nothing here depends on which.
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

    `bound` is "" for a plain value, "at_least" or "below" for a pin that went in or did not: the dimension
    (not the wear) is then at least, or below, `value`. `phase` is "before" or "after" for a reading taken
    around a piece of work and `work` then is that work's id. Readings at one instant in several places
    belong to one gauging; the worst place decides.
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

    `resets` is true for a rebuild or a hard-facing (a new baseline at the reading after it, else at the
    new dimension), false for a polish or the like, which shifts the dimension by what the readings before
    and after it differ; without both readings it shifts nothing.
    """

    id: int
    at: float
    resets: bool


@dataclass(frozen=True, kw_only=True)
class EdgeRecord:
    """All that is recorded of one edge (or of a part with one edge) up to the forecast day.

    key: any hashable name of the edge; `part` is the same for the edges of one part.
    gauges, gauge_kg: readings in any order and, row by row, the seed per crop that the edge had taken since
        it was new, shape (len(gauges), crops).
    works, work_kg: the same for work that changed the dimension, shape (len(works), crops).
    now_kg: seed per crop taken up to the forecast day (or up to the edge's end), shape (crops,).
    worn_out: the edge was retired, or turned away for good, as worn.
    in_use: the edge may still take seed (on a press or waiting to go back).
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
    """A part type and its edges. `new` and `limit` may be None: then nothing can be said of a limit.

    crops: how many crops the exposures have. expected_life_kg: per edge, counts like one edge.
    gauge_guess: what one reading may be off by before any was seen (0.03 mm: common practice, no source).
    """

    key: Hashable
    new: float | None
    limit: float | None
    crops: int
    expected_life_kg: float | None = None
    edges: tuple[EdgeRecord, ...] = field(default_factory=tuple)
    gauge_guess: float = 0.03
