"""The hours of a press's runs: the one rule that every page, forecast and sum uses.

Claims. A run claims the hours that were written down for it; without these, the time from its start to its
end.

Stretches. A stretch lies between neighbouring believed readings of one meter (see `readings`) at which no run
is under way. Let A be the meter's advance over it. The stretch is not used where A = 0 although it contains
runs, or where A exceeds the elapsed time by more than `SLACK_H`; every other stretch is `usable`.

Logged by the meter. A run without written hours that ends at the closing reading of a usable stretch and
overlaps no other run gets what the other runs leave of the advance:

    hours = min(A - press hours of the others in the stretch, its elapsed time + SLACK_H)

and keeps its elapsed time where nothing is left. If there are several such runs in one stretch, only the
longest is treated so; where the two longest are equally long, none is.

Press hours count each moment once: where runs through different barrels overlap, the busier barrel counts.
With h the own hours of one of the overlapping runs and H the press hours of all of them together, each run's
share is h * H / sum(h).

Hours from the meter. Where the press counts by its meter and the runs of a usable stretch have press hours
P > A, all of them are scaled by A / P. The unlogged hours of a usable stretch are max(A - P, 0).

Units: instants in seconds since 1970 in UTC, hours decimal. Starts, ends and readings within `SAME_MOMENT_S`
of each other count as one moment. A run that goes on has no hours (NaN). Without a usable stretch the claims
are the result. Sums are taken within one stretch or one group of overlapping runs, in order of time, so that
records outside it change no digit. Source: common practice, no source (docs/decisions/hours-of-a-run.md).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from wearlog.calc.meters.overlaps import Pieces, alone, overlapping, pieces_of
from wearlog.calc.meters.readings import ROUNDING_H, SLACK_H, Believed, Flags, Floats, Ints, judge
from wearlog.calc.order import order_by

SAME_MOMENT_S = 60.0
"""Two instants this close count as one, because people write down whole minutes."""


_NO_NUMBERS: Floats = np.zeros(0)
_NO_FLAGS: Flags = np.zeros(0, dtype=np.bool_)


class Source(IntEnum):
    """Where the hours of a run come from."""

    GOES_ON = 0
    WRITTEN = 1
    METER = 2
    CLOCK = 3


class Remark(IntEnum):
    """Remarks on the hours of a run, in addition to their source."""

    NOTHING = 0
    NONE_LEFT = 1
    """Logged by the meter, but the other runs of its stretch left nothing; its elapsed time is used."""
    HELD_DOWN = 2
    """Logged by the meter, which advanced more than the run's elapsed time; the rest is unlogged."""
    SCALED = 3
    """Scaled down, because the meter advanced less than the runs of the stretch claim."""
    STOOD_STILL = 4
    """Ends at a reading, but the meter had not moved since the reading before."""
    RAN_AHEAD = 5
    """Ends at a reading, but the meter advanced by more than the elapsed time."""


@dataclass(frozen=True, eq=False)
class Stretches:
    """Stretches between readings in order of time, shape (m,) each.

    `usable` is False where the meter stood still although runs lie in the stretch, or where it advanced by
    more than the elapsed time; `unlogged_h` is then 0. `press_h` is the total press hours of its runs."""

    opens: Floats
    closes: Floats
    advance_h: Floats
    press_h: Floats
    unlogged_h: Floats
    usable: Flags


@dataclass(frozen=True, eq=False)
class PressHours:
    """The hours of one press's runs, shape (n,) each, in the order in which the runs were given.

    own_h: hours of the run itself. press_h: its share of the press's hours, which count each moment once.
    source, remark: values of `Source` and `Remark`. left_h: for a run logged by the meter, what the other
    runs left of the advance, before it was capped by elapsed time (NaN for other runs). stretch: index into
    `stretches`, -1 for a run in none.
    """

    own_h: Floats
    press_h: Floats
    source: Ints
    remark: Ints
    left_h: Floats
    stretch: Ints
    stretches: Stretches
    pieces: Pieces
    """The press hours as intervals of time; none overlaps another by more than `SAME_MOMENT_S`."""
    readings: Believed
    bounds: Ints
    """The indexes of the readings that can bound a stretch: believed, and with no run under way."""


def hours_of_press(
    *,
    start: Floats,
    end: Floats,
    recorded_h: Floats,
    slot: Ints | None = None,
    at: Floats = _NO_NUMBERS,
    meter_h: Floats = _NO_NUMBERS,
    new_meter: Flags = _NO_FLAGS,
    by_meter: bool = False,
) -> PressHours:
    """The hours of all runs of one press, which may be given in any order.

    start, end, recorded_h, slot: shape (n,). `end` is NaN for a run that goes on, `recorded_h` where no hours
    were written down. `slot` is 0 where all barrels pressed (the default for every run), else the number of
    the barrel that did.
    at, meter_h, new_meter: shape (k,), the readings in order of time.
    by_meter: whether the press counts its hours by the meter.
    """
    if slot is None:
        slot = np.zeros(start.size, dtype=np.int64)
    order = order_by(start, np.nan_to_num(end, nan=np.inf), np.nan_to_num(recorded_h, nan=-1.0), slot)
    found = _hours_in_order(
        start[order], end[order], recorded_h[order], slot[order], judge(at, meter_h, new_meter), at, meter_h,
        by_meter,
    )  # fmt: skip
    back = np.empty_like(order)
    back[order] = np.arange(order.size)
    return PressHours(
        own_h=found.own_h[back],
        press_h=found.press_h[back],
        source=found.source[back],
        remark=found.remark[back],
        left_h=found.left_h[back],
        stretch=found.stretch[back],
        stretches=found.stretches,
        pieces=found.pieces,
        readings=found.readings,
        bounds=found.bounds,
    )


def _hours_in_order(
    start: Floats,
    end: Floats,
    recorded_h: Floats,
    slot: Ints,
    readings: Believed,
    at: Floats,
    meter_h: Floats,
    by_meter: bool,
) -> PressHours:
    ended = ~np.isnan(end)
    until = np.where(ended, end, np.inf)
    clock = (end - start) / 3600.0
    written = ended & ~np.isnan(recorded_h)
    own = np.where(written, recorded_h, clock)
    source = np.where(written, Source.WRITTEN, np.where(ended, Source.CLOCK, Source.GOES_ON)).astype(np.int64)
    remark = np.full(start.size, Remark.NOTHING, dtype=np.int64)
    left = np.full(start.size, np.nan)

    bounds = np.flatnonzero(readings.believed & ~_under_way(start, until, at))
    bound_at, bound_h, bound_meter = at[bounds], meter_h[bounds], readings.meter[bounds]
    gap = np.searchsorted(bound_at, until - SAME_MOMENT_S, side="left")
    whole = np.diff(bound_meter) == 0
    advance = np.where(whole, np.diff(bound_h), np.nan)
    stretch = np.full(start.size, -1, dtype=np.int64)
    inside = (gap > 0) & (gap < bounds.size)
    inside[inside] = whole[gap[inside] - 1]
    stretch[inside] = gap[inside] - 1

    ran_ahead = advance > np.diff(bound_at) / 3600.0 + SLACK_H + ROUNDING_H
    held = np.bincount(stretch[inside], minlength=advance.size) > 0
    stood_still = held & (advance < ROUNDING_H)
    usable = whole & ~ran_ahead & ~stood_still

    linked = overlapping(start, until, tolerance=SAME_MOMENT_S)
    # Overlapping runs may belong to different stretches, since a reading within a minute of a run's end
    # bounds one.
    group = np.unique(linked * (bounds.size + 1) + gap, return_inverse=True)[1].astype(np.int64)
    at_close = np.zeros(start.size, dtype=np.bool_)
    at_close[inside] = np.abs(bound_at[gap[inside]] - until[inside]) <= SAME_MOMENT_S
    logged = at_close & alone(linked) & np.isnan(recorded_h)
    pieces = pieces_of(start, until, np.where(ended, own, 0.0), slot, group)
    press = own * pieces.factor[group]

    for flags, word in ((stood_still, Remark.STOOD_STILL), (ran_ahead & whole, Remark.RAN_AHEAD)):
        rows = np.flatnonzero(logged)
        remark[rows[flags[stretch[rows]]]] = word
    chosen = _longest(np.flatnonzero(logged), stretch, clock, usable)
    others = inside.copy()
    others[chosen] = False
    of_others = np.bincount(stretch[others], weights=press[others], minlength=advance.size)
    left[chosen] = advance[stretch[chosen]] - of_others[stretch[chosen]]
    some = chosen[left[chosen] > ROUNDING_H]
    remark[chosen] = Remark.NONE_LEFT
    held_down = left[some] > clock[some] + SLACK_H + ROUNDING_H
    remark[some] = np.where(held_down, Remark.HELD_DOWN, Remark.NOTHING)
    source[some] = Source.METER
    own[some] = press[some] = np.where(held_down, clock[some] + SLACK_H, left[some])

    counted = np.bincount(stretch[inside], weights=press[inside], minlength=advance.size).astype(np.float64)
    if by_meter:
        over = usable & (counted > advance + ROUNDING_H)
        share = np.divide(advance, counted, out=np.ones_like(advance), where=over)
        rows = np.flatnonzero(inside)
        rows = rows[over[stretch[rows]]]
        own[rows] *= share[stretch[rows]]
        press[rows] *= share[stretch[rows]]
        source[rows] = Source.METER
        remark[rows] = Remark.SCALED
        counted = np.where(over, advance, counted)
    if some.size or by_meter:
        pieces = pieces_of(start, until, np.where(ended, own, 0.0), slot, group)
    kept = np.flatnonzero(whole)
    place = np.cumsum(whole) - 1
    stretch[inside] = place[stretch[inside]]
    stretches = Stretches(
        opens=bound_at[:-1][kept],
        closes=bound_at[1:][kept],
        advance_h=advance[kept],
        press_h=counted[kept],
        unlogged_h=np.where(usable, np.maximum(advance - counted, 0.0), 0.0)[kept],
        usable=usable[kept],
    )
    return PressHours(own, press, source, remark, left, stretch, stretches, pieces, readings, bounds)


def _under_way(start: Floats, until: Floats, at: Floats) -> Flags:
    """Whether a run is under way at each instant. Runs of at most twice `SAME_MOMENT_S` never are."""
    lasting = until - start > 2 * SAME_MOMENT_S
    begun = np.searchsorted(np.sort(start[lasting]), at - SAME_MOMENT_S, side="left")
    over = np.searchsorted(np.sort(until[lasting]), at + SAME_MOMENT_S, side="right")
    under_way: Flags = begun > over
    return under_way


def _longest(rows: Ints, stretch: Ints, clock: Floats, usable: Flags) -> Ints:
    """The longest of the runs `rows` in each usable stretch; none where the two longest are equally long."""
    rows = rows[usable[stretch[rows]]]
    if not rows.size:
        return rows
    by_length = rows[np.lexsort((clock[rows], stretch[rows]))]
    last = np.concatenate((stretch[by_length][1:] != stretch[by_length][:-1], [True]))
    level = np.concatenate(([False], (stretch[by_length][1:] == stretch[by_length][:-1])
                            & (clock[by_length][1:] == clock[by_length][:-1])))  # fmt: skip
    longest: Ints = by_length[last & ~level]
    return longest
