"""Press hours where barrels run separately: each moment counts once, with the rate of the busier barrel.

The hours of a run are spread evenly from its start to its end. With d_b(t) the sum of the rates (hours per
hour) of the runs through barrel b at the moment t, a group of overlapping runs takes

    H = integral over their time of max over b of d_b(t) dt

press hours. A run through all barrels counts for each of them. A run no longer than the tolerance overlaps
nothing and keeps its hours. Units: instants in seconds, hours decimal.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearlog.calc.meters.readings import Floats, Ints


@dataclass(frozen=True, eq=False)
class Pieces:
    """Press hours as intervals of time: `start`, `end`, `hours`, shape (p,) each. No interval overlaps
    another by more than the tolerance with which the groups were formed.

    factor: for each group of overlapping runs, its press hours divided by the sum of its runs' hours."""

    start: Floats
    end: Floats
    hours: Floats
    factor: Floats


def overlapping(start: Floats, until: Floats, *, tolerance: float) -> Ints:
    """A group number for each run, equal for runs linked by overlaps (directly or through others) of more
    than `tolerance` seconds. The runs must be in order of their starts; the numbers increase but may skip."""
    linked = np.arange(start.size)
    lasting = np.flatnonzero(until - start > tolerance)
    if lasting.size:
        reach = np.maximum.accumulate(until[lasting])
        opens = np.concatenate(([True], start[lasting][1:] >= reach[:-1] - tolerance))
        linked[lasting] = lasting[opens][np.cumsum(opens) - 1]
    return linked


def alone(group: Ints) -> NDArray[np.bool_]:
    """Whether each run is the only one in its group."""
    single: NDArray[np.bool_] = np.bincount(group)[group] == 1 if group.size else np.zeros(0, dtype=np.bool_)
    return single


def pieces_of(start: Floats, until: Floats, hours: Floats, slot: Ints, group: Ints) -> Pieces:
    """The press hours of runs that have these own hours. Runs that go on (`until` infinite) must have 0."""
    factor = np.ones(int(group.max()) + 1 if group.size else 0)
    ended = np.isfinite(until)
    single = ended & alone(group)
    several = np.flatnonzero(ended & ~single)
    if not several.size:
        return Pieces(start[single], until[single], hours[single], factor)
    first, last, rate = start[several], until[several], hours[several] / (until[several] - start[several])
    knots = np.unique(np.concatenate((first, last)))
    begin, stop = np.searchsorted(knots, first), np.searchsorted(knots, last)
    count = stop - begin
    run = np.repeat(np.arange(several.size), count)
    step = np.arange(run.size) - np.repeat(np.cumsum(count) - count, count) + begin[run]
    # One row for each group and interval between two neighbouring knots, one column for each barrel.
    keys, row = np.unique(np.column_stack((group[several][run], step)), axis=0, return_inverse=True)
    barrels = int(slot.max()) + 1
    rates = np.zeros((len(keys), barrels))
    for barrel in range(1, barrels):
        through = (slot[several][run] == 0) | (slot[several][run] == barrel)
        rates[:, barrel] = np.bincount(row.ravel()[through], weights=rate[run[through]], minlength=len(keys))
    if barrels == 1:
        rates[:, 0] = np.bincount(row.ravel(), weights=rate[run], minlength=len(keys))
    busier = rates.max(axis=1) * (knots[keys[:, 1] + 1] - knots[keys[:, 1]])
    total = np.bincount(keys[:, 0], weights=busier, minlength=factor.size)
    own = np.bincount(group[several], weights=hours[several], minlength=factor.size)
    np.divide(total, own, out=factor, where=own > 0)
    return Pieces(
        np.concatenate((start[single], knots[keys[:, 1]])),
        np.concatenate((until[single], knots[keys[:, 1] + 1])),
        np.concatenate((hours[single], busier)),
        factor,
    )
