"""Hour meters: one rising count out of many readings, and the hours of runs logged by the meter.

Instants are seconds since 1970 in UTC (float64), hours are decimal hours.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

SAME_MOMENT_S = 60.0
"""A reading this close to a run's end stands at the run's end: people write down minutes."""


def counted_hours(meter_h: Floats, new_meter: Flags) -> Floats:
    """The hours counted since the first reading, one value per reading (in order of time).

    With a new meter the count goes on from the new meter's first value: the step to it adds nothing, the
    steps after it count. A reading that is higher than a later one of the same meter was a slip of the
    pen, so it is held down to the later one: the count never falls and its total stays right. No reading
    gives an empty array.
    """
    if meter_h.size == 0:
        return np.zeros(0)
    steps = np.diff(meter_h, prepend=meter_h[0])
    steps[new_meter] = 0.0
    steps[0] = 0.0
    count = np.cumsum(steps)
    lowest_to_come: Floats = np.minimum.accumulate(count[::-1])[::-1]
    return lowest_to_come - min(0.0, float(lowest_to_come[0]))


def hours_of_runs(
    start: Floats,
    end: Floats,
    recorded_h: Floats,
    reading_at: Floats,
    counted_h: Floats,
    new_meter: Flags,
) -> Floats:
    """The hours of each run of one press.

    `recorded_h` (NaN where nothing was written) wins. Else, where a reading stands at the run's end and
    an earlier one at or before its start, the meter's difference, less the hours of runs that lie between
    that earlier reading and this run. Else the difference of the clock, which also stands in where the
    meter did not move.
    """
    clock = (end - start) / 3600.0
    hours = np.where(np.isnan(recorded_h), clock, recorded_h)
    if reading_at.size < 2 or start.size == 0:
        return hours
    at_end = np.searchsorted(reading_at, end + SAME_MOMENT_S, side="right") - 1
    before = np.searchsorted(reading_at, start + SAME_MOMENT_S, side="right") - 1
    by_meter = (
        np.isnan(recorded_h)
        & (before >= 0)
        & (at_end > before)
        & (np.abs(reading_at[np.maximum(at_end, 0)] - end) <= SAME_MOMENT_S)
        & ~new_meter[np.maximum(at_end, 0)]
    )
    if not by_meter.any():
        return hours
    chosen = np.flatnonzero(by_meter)
    advance = counted_h[at_end[chosen]] - counted_h[before[chosen]]
    # Hours of earlier runs since that reading: sums over runs in order of their ends. A run that was
    # under way at the reading counts with the part that lies behind it.
    order = np.argsort(end, kind="stable")
    ends, sums = end[order], np.concatenate(([0.0], np.cumsum(hours[order])))
    since = reading_at[before[chosen]]
    upto = np.searchsorted(ends, start[chosen], side="right")
    first = np.searchsorted(ends, since, side="right")
    between = np.where(upto > first, sums[np.maximum(upto, first)] - sums[first], 0.0)
    spanning = np.minimum(first, order.size - 1)
    run = order[spanning]
    length = np.maximum(end[run] - start[run], 1e-9)
    before_reading = np.clip((since - start[run]) / length, 0.0, 1.0) * hours[run]
    between -= np.where(upto > first, before_reading, 0.0)
    by_difference = advance - between
    hours[chosen] = np.where(by_difference > 0, by_difference, clock[chosen])
    return hours


def unlogged_hours(counted_h: Floats, logged_h: Floats) -> Floats:
    """Hours that the meter counted and no run was logged for, in each stretch between two readings.

    counted_h: shape (n,), as `counted_hours` gives it. logged_h: shape (n - 1,), hours of runs in each
    stretch. Never negative: runs may be logged with more hours than the meter counted. They are shown, and
    nothing is made of them."""
    return np.maximum(np.diff(counted_h) - logged_h, 0.0)
