"""Days without a run where there usually is one.

A weekday counts as usual where the press ran on `USUAL` of the same weekdays in the four weeks before and the
four after. A gap is at most `LONGEST` days between two days with runs of one crop.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from wearlog.calc.doubts.odd import Flags

WEEKS = 4
USUAL = 0.85
LONGEST = 6


def gaps(ran: Flags, closed: Flags) -> list[tuple[int, int]]:
    """The first and last day missed in each gap. ran: (n,), whether the press ran on each of
    n days in a row. closed: (n,), days of which it is known why nothing ran."""
    days = ran.size
    found = []
    running = np.flatnonzero(ran)
    for before, after in pairwise(running.tolist()):
        first, last = before + 1, after - 1
        if first > last or last - first >= LONGEST:
            continue
        missed = [day for day in range(first, last + 1) if _usual(ran, day, first, last, days)]
        if missed and not closed[missed].any():
            found.append((missed[0], missed[-1]))
    return found


def _usual(ran: Flags, day: int, first: int, last: int, days: int) -> bool:
    near = [day + 7 * week for week in range(-WEEKS, WEEKS + 1) if week]
    seen = [bool(ran[each]) for each in near if 0 <= each < days and not first <= each <= last]
    return len(seen) >= WEEKS and float(np.mean(seen)) >= USUAL
