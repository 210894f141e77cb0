"""Decides which readings of an hour meter are believed, and which of them come from the same meter.

Two neighbouring readings agree where the later is not below the earlier and the advance does not exceed the
elapsed time by more than `SLACK_H`. Where neighbours don't agree, the explanation of least cost is chosen:

    cost = (readings left out) + CHANGE * (places where a new count begins without being recorded)

At most two readings in a row are left out, and only between two readings of one meter or at either end of the
readings of a recorded meter. With CHANGE = 2.5, one or two outlying readings are taken for slips of the pen
and three or more in a row for another count. Where two explanations cost the same, the earlier readings are
believed. Doubtful places with `CLEAN` agreeing pairs or more between them are judged separately, so that
readings far away in time change nothing.

Units: instants in seconds since 1970 in UTC, the meter in decimal hours. A single reading is believed, but
there is no advance to take from it. Source: common practice, no source; the costs are the project's own
choice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

SLACK_H = 0.2
"""A meter may exceed the elapsed time by this many hours: people round, and note the time imprecisely."""
ROUNDING_H = 1e-6
"""Rounding errors of decimal hours stay below this."""
CHANGE = 2.5
MOST_LEFT_OUT = 2
"""At most this many readings in a row can be slips; more are another meter."""
CLEAN = 6
"""This many agreeing pairs in a row separate one doubtful place from the next."""
MARGIN = 3
"""Readings on each side that are judged together with a doubtful place. The outermost are believed."""


@dataclass(frozen=True, eq=False)
class Believed:
    """Judged readings in order of time, shape (n,) each.

    `believed` is False for slips. `meter` numbers the meter or count that a reading belongs to, rising in
    time. `unannounced` marks the first reading of a count whose beginning nobody recorded."""

    believed: Flags
    meter: Ints
    unannounced: Flags


def agree(advance_h: Floats | float, clock_h: Floats | float) -> Flags:
    """Whether a meter can have advanced by `advance_h` hours in `clock_h` hours of elapsed time."""
    agreed: Flags = np.logical_and(advance_h >= -ROUNDING_H, advance_h <= clock_h + SLACK_H + ROUNDING_H)
    return agreed


def judge(at: Floats, meter_h: Floats, new_meter: Flags) -> Believed:
    """Judge the readings of one press, in order of time, shape (n,). `new_meter` marks the first reading of
    each recorded new meter."""
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
    """For the beginning and the end of the readings: whether enough neighbours agree there that no reading
    further out could change what is believed from the reading `MARGIN` places inwards on."""
    apart = ~agree(np.diff(meter_h), np.diff(at) / 3600.0) & ~new_meter[1:]
    enough = apart.size > CLEAN
    return enough and not apart[: CLEAN + 1].any(), enough and not apart[-CLEAN - 1 :].any()


def _places(apart: Flags, new_meter: Flags) -> list[tuple[int, int]]:
    """[first, last) of the readings to judge around each doubtful place, within one recorded meter."""
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
    reading to the first. `open_before` and `open_after` say whether the outermost reading on that side may be
    left out; where not, it is believed."""
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
