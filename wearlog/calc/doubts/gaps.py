"""Days without a run where there usually is one.

A weekday counts as usual where the press ran on `USUAL` of the same weekdays in the four weeks before and the
four after. A gap is at most `LONGEST` days between two days with runs of one crop.
"""

from __future__ import annotations

import numpy as np

from wearlog.calc.doubts.odd import Flags

WEEKS = 4
USUAL = 0.85
LONGEST = 6


def gaps(ran: Flags, closed: Flags) -> list[tuple[int, int]]:
    """First and last index of each gap that holds an unusual day. ran: (n,), whether the press ran on each of
    n days in a row. closed: (n,), days of which it is known why nothing ran."""
    days = ran.size
    found = []
    running = np.flatnonzero(ran)
    for before, after in zip(running[:-1], running[1:], strict=True):
        first, last = int(before) + 1, int(after) - 1
        if first > last or last - first >= LONGEST or closed[first : last + 1].any():
            continue
        if any(_usual(ran, day, first, last, days) for day in range(first, last + 1)):
            found.append((first, last))
    return found


def _usual(ran: Flags, day: int, first: int, last: int, days: int) -> bool:
    near = [day + 7 * week for week in range(-WEEKS, WEEKS + 1) if week]
    seen = [bool(ran[each]) for each in near if 0 <= each < days and not first <= each <= last]
    return len(seen) >= WEEKS and float(np.mean(seen)) >= USUAL
