"""Which readings of an hour meter can be believed, and which of them one meter wrote.

Two neighbouring readings of one meter agree where the later is not below the earlier and the advance is not
more than the clock between them and `SLACK_H`. Where neighbours don't agree, the readings are put in order at
the least cost:

    cost = (readings left out) + CHANGE * (places where another count begins without a word)

At most two readings in a row are left out, and only between two readings of one meter or at either end of
what an announced meter wrote; with CHANGE = 2.5 one or two readings that stand alone are slips of the pen,
three or more in a row are a count of their own. Where two ways cost the same, the earlier readings stand.
Doubtful places with `CLEAN` agreeing pairs or more between them are judged apart, so that what is far away in
time changes nothing.

Units: instants in seconds since 1970 in UTC, the meter in decimal hours. No reading, or a single one, is
believed and tells nothing. Source: common practice, no source; the costs are the project's own choice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

SLACK_H = 0.2
"""So many hours a meter may run ahead of the clock: people round, and read in passing."""
ROUNDING_H = 1e-6
"""Differences of decimal numbers are off by less than this."""
CHANGE = 2.5
MOST_LEFT_OUT = 2
"""So many readings in a row can be slips; more are another meter."""
CLEAN = 6
"""So many agreeing pairs in a row part one doubtful place from the next."""
MARGIN = 3
"""Readings on each side that are judged with a doubtful place. The outermost are believed."""


@dataclass(frozen=True, eq=False)
class Believed:
    """Readings in order of time, shape (n,) each.

    `believed` is False for slips. `meter` is a number that rises with each count; `unannounced` marks the
    first reading of a count that began without a word."""

    believed: Flags
    meter: Ints
    unannounced: Flags


def agree(advance_h: Floats | float, clock_h: Floats | float) -> Flags:
    """Whether a meter can have advanced so much in so much time."""
    agreed: Flags = np.logical_and(advance_h >= -ROUNDING_H, advance_h <= clock_h + SLACK_H + ROUNDING_H)
    return agreed


def judge(at: Floats, meter_h: Floats, new_meter: Flags) -> Believed:
    """Judge the readings of one press, in order of time. `new_meter` marks those that begin a new meter."""
    believed = np.ones(at.size, dtype=np.bool_)
    unannounced = np.zeros(at.size, dtype=np.bool_)
    if at.size > 1:
        apart = ~agree(np.diff(meter_h), np.diff(at) / 3600.0) & ~new_meter[1:]
        for first, last in _places(apart, new_meter):
            kept, begins = _least_cost(
                at[first:last],
                meter_h[first:last],
                open_before=first == 0 or bool(new_meter[first]),
                open_after=last == at.size or bool(new_meter[last]),
            )
            believed[first:last] = kept
            unannounced[first + 1 : last] = begins[1:]
    return Believed(believed, np.cumsum(new_meter | unannounced), unannounced)


def clean_edges(at: Floats, meter_h: Floats, new_meter: Flags) -> tuple[bool, bool]:
    """Whether enough neighbours agree at the beginning, and at the end, that nothing further away could
    change what is believed from the reading `MARGIN` places inwards on."""
    apart = ~agree(np.diff(meter_h), np.diff(at) / 3600.0) & ~new_meter[1:]
    enough = apart.size > CLEAN
    return enough and not apart[: CLEAN + 1].any(), enough and not apart[-CLEAN - 1 :].any()


def _places(apart: Flags, new_meter: Flags) -> list[tuple[int, int]]:
    """[first, last) of the readings around each doubtful place, none of them beyond its announced meter."""
    pairs = np.flatnonzero(apart)
    if not pairs.size:
        return []
    begins = np.flatnonzero(new_meter)
    segment = np.searchsorted(begins, pairs, side="right")
    parted = (np.diff(pairs) > CLEAN) | (np.diff(segment) > 0)
    places = []
    for group in np.split(pairs, np.flatnonzero(parted) + 1):
        number = int(np.searchsorted(begins, group[0], side="right"))
        lowest = int(begins[number - 1]) if number else 0
        highest = int(begins[number]) if number < begins.size else new_meter.size
        places.append((max(int(group[0]) - MARGIN, lowest), min(int(group[-1]) + 2 + MARGIN, highest)))
    return places


def _least_cost(at: Floats, meter_h: Floats, *, open_before: bool, open_after: bool) -> tuple[Flags, Flags]:
    """Which readings to believe and which of them begin another count, by dynamic programming from the last
    reading to the first. Where a side is not open, the outermost reading there is believed."""
    count = at.size
    cost = np.full(count, np.inf)
    following = np.full(count, -1)
    for place in range(count - 1, -1, -1):
        left = count - 1 - place
        if left == 0 or (open_after and left <= MOST_LEFT_OUT):
            cost[place] = left
        for other in range(min(place + 1 + MOST_LEFT_OUT, count - 1), place, -1):
            fits = agree(meter_h[other] - meter_h[place], (at[other] - at[place]) / 3600.0)
            if not fits and other > place + 1:
                continue
            whole = cost[other] + (other - place - 1) + (0.0 if fits else CHANGE)
            if whole <= cost[place]:
                cost[place], following[place] = whole, other
    first = 0
    if open_before:
        starts = [cost[place] + place for place in range(min(MOST_LEFT_OUT + 1, count))]
        first = int(np.argmin(starts))
    believed = np.zeros(count, dtype=np.bool_)
    begins = np.zeros(count, dtype=np.bool_)
    place = first
    believed[place] = True
    while following[place] >= 0:
        other = int(following[place])
        believed[other] = True
        begins[other] = not agree(meter_h[other] - meter_h[place], (at[other] - at[place]) / 3600.0)
        place = other
    return believed, begins
