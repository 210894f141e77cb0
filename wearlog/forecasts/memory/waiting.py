"""How long a page about all presses may show what was known before the last gauge.

What a gauge teaches about wear bears on every part of the fleet. A worker works that out within seconds; a
page of many presses that did it at once would keep people waiting. So that nobody relies on the worker being
there, a process shows earlier items for a limited time only, and then works them out itself. The press at
which something was entered never waits, and neither do reminders.
"""

from __future__ import annotations

import time

from wearlog.history.cache import Cache

LONGEST_S = 120.0
"""Twice the time between two rounds of the worker that refreshes what is stored."""
FEW = 8
"""As many presses are worked out at once, by the page itself."""

_MET: Cache[None, tuple[tuple[float, int], ...]] = Cache("when lessons were met", most=1)
"""The versions of what was learned in the order in which this process met them, each with the time on the
monotonic clock; the first one is the last that was met `LONGEST_S` ago, or the first of all."""


def tolerated(lessons: int) -> int:
    """The version of what was learned from which on items may still be shown: the one that was current
    `LONGEST_S` ago, or 0 if this process had met none then. lessons: the present one."""
    now = time.monotonic()
    with _MET.making:
        met = _MET.find(None) or ()
        if not met or met[-1][1] != lessons:
            met = (*met, (now, lessons))
        while len(met) > 1 and met[1][0] <= now - LONGEST_S:
            met = met[1:]
        _MET.keep(None, met)
    at, number = met[0]
    return number if at <= now - LONGEST_S else 0
