"""Availability and times between and to repair, as EN 15341 and EN 13306 define them.

With T the operating time, P the down time for planned work, and R the restoration time (from each failure
until the press works again, waiting included), all within required time:

    availability by time (EN 15341, M10) = up time / required time = T / (T + P + R)
    operational availability (M12)       = T / (T + R)
    mean operating time between failures = T / failures
    mean time to restoration             = R / failures whose restoration is on record

Required time is when somebody wanted the press to run: time out of season counts nowhere, and hours in which
it merely was not needed are not known to be required. Planned work is no failure, and does not enter M12.
Hours. Below `ENOUGH` failures there are no mean times (common practice, no source), but counts; without
operating time there is no availability (None).

Source: EN 15341:2007, indicators M10 and M12, EN 13306 for restoration time: from the pages of a national
maintenance society, the wording from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

ENOUGH = 5


@dataclass(frozen=True)
class Availability:
    """Shares between 0 and 1, times in hours; None where they can't be told."""

    by_time: float | None
    operational: float | None
    failures: int
    between_failures_h: float | None
    to_restoration_h: float | None


def availability(
    *, operating_h: float, planned_h: float, restoration_h: float, failures: int, restored: int
) -> Availability:
    """restored: of how many failures the restoration is on record. Raises ValueError for negative numbers or
    such that are not finite, and for more restorations than failures."""
    hours = (operating_h, planned_h, restoration_h)
    if not all(math.isfinite(value) and value >= 0 for value in hours):
        raise ValueError("Hours must be finite and not below 0.")
    if not 0 <= restored <= failures:
        raise ValueError("There can't be more restorations than failures.")
    ran = operating_h > 0
    return Availability(
        by_time=operating_h / sum(hours) if ran else None,
        operational=operating_h / (operating_h + restoration_h) if ran else None,
        failures=failures,
        between_failures_h=operating_h / failures if ran and failures >= ENOUGH else None,
        to_restoration_h=restoration_h / restored if restored >= ENOUGH else None,
    )
