"""The hours of a press's runs: the one rule, for every page, forecast and sum.

Claims. A run claims the hours that were written down for it, else the time from its start to its end.

Stretches. A stretch lies between neighbouring readings of one meter (slips left out, `readings`) at which no
run is under way. With A the meter's advance over it, it tells nothing where A = 0 though runs stand in it, or
where A is more than the clock and `SLACK_H`.

Logged by the meter. A run without written hours that ends at the reading which closes a telling stretch and
overlaps no other run takes what the others leave of the advance:

    hours = min(A - press hours of the others in the stretch, its clock + SLACK_H)

and keeps its clock where nothing is left. Of several such runs in one stretch it is the longest; where two
are equally long, none.

Press hours count each moment once: where runs through different barrels overlap, the busier barrel's. With h
the own hours of overlapping runs and H what they come to, each shares in H in proportion, h * H / sum(h).

Hours from the meter. Where the press counts by its meter, all runs of a telling stretch with press hours
P > A are scaled by A / P. Unlogged hours of a telling stretch are max(A - P, 0).

Units: instants in seconds since 1970 in UTC, hours decimal. Starts, ends and readings agree within
`SAME_MOMENT_S`. Too little data: a run that goes on has no hours (NaN); without a telling stretch claims
stand. Sums go over one stretch or one group of overlapping runs in order of time, so that what lies outside
changes no digit. Source: common practice, no source (docs/decisions/hours-of-a-run.md).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from wearlog.calc.meters.overlaps import Pieces, alone, overlapping, pieces_of
from wearlog.calc.meters.readings import ROUNDING_H, SLACK_H, Believed, Flags, Floats, Ints, judge

SAME_MOMENT_S = 60.0
"""Two instants this close are one: people write down minutes."""


_NO_NUMBERS: Floats = np.zeros(0)
_NO_FLAGS: Flags = np.zeros(0, dtype=np.bool_)


class Source(IntEnum):
    """Where the hours of a run come from."""

    GOES_ON = 0
    WRITTEN = 1
    METER = 2
    CLOCK = 3


class Told(IntEnum):
    """What there is to say about the hours of a run beside their source."""

    NOTHING = 0
    NONE_LEFT = 1
    """Logged by the meter, but the other runs of its stretch left nothing; the clock stands in."""
    HELD_DOWN = 2
    """Logged by the meter, which advanced more than the run's clock; the rest is unlogged."""
    SCALED = 3
    """Scaled, since the meter advanced less than the runs of the stretch say."""
    STOOD_STILL = 4
    """Ends at a reading, but the meter had not moved since the last one."""
    RAN_AHEAD = 5
    """Ends at a reading, but the meter ran ahead of the clock."""


@dataclass(frozen=True, eq=False)
class Stretches:
    """Stretches between readings in order of time, shape (m,) each.

    `telling` is False where the meter stood still though runs stand in it, or ran ahead of the clock;
    `unlogged_h` is then 0. `press_h` is what the runs in it come to."""

    opens: Floats
    closes: Floats
    advance_h: Floats
    press_h: Floats
    unlogged_h: Floats
    telling: Flags


@dataclass(frozen=True, eq=False)
class PressHours:
    """The hours of one press's runs, shape (n,) each in the order in which they were handed in.

    own_h: hours of the run itself. press_h: its share of the press's hours, which count each moment once.
    source, told: `Source` and `Told`. left_h: what the meter left for a run logged by it, before the clock
    held it down (NaN for others). stretch: its place in `stretches`, -1 outside.
    """

    own_h: Floats
    press_h: Floats
    source: Ints
    told: Ints
    left_h: Floats
    stretch: Ints
    stretches: Stretches
    pieces: Pieces
    """The press hours as stretches of time; none overlaps another by more than a moment."""
    readings: Believed
    bounds: Ints
    """The places of the readings that can bound a stretch: believed, and no run under way."""


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
    """The hours of all runs of one press, which may come in any order.

    start, end, recorded_h, slot: shape (n,); `end` is NaN for a run that goes on, `recorded_h` where nothing
    was written; `slot` is 0 where all barrels pressed (everywhere if not given), else the number of the one
    that did.
    at, meter_h, new_meter: shape (k,), the readings in order of time.
    by_meter: whether the press counts its hours by the meter.
    """
    if slot is None:
        slot = np.zeros(start.size, dtype=np.int64)
    order = np.lexsort((slot, np.nan_to_num(recorded_h, nan=-1.0), np.nan_to_num(end, nan=np.inf), start))
    found = _in_order(
        start[order], end[order], recorded_h[order], slot[order], judge(at, meter_h, new_meter), at, meter_h,
        by_meter,
    )  # fmt: skip
    back = np.empty_like(order)
    back[order] = np.arange(order.size)
    return PressHours(
        own_h=found.own_h[back],
        press_h=found.press_h[back],
        source=found.source[back],
        told=found.told[back],
        left_h=found.left_h[back],
        stretch=found.stretch[back],
        stretches=found.stretches,
        pieces=found.pieces,
        readings=found.readings,
        bounds=found.bounds,
    )


def _in_order(
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
    told = np.full(start.size, Told.NOTHING, dtype=np.int64)
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
    telling = whole & ~ran_ahead & ~stood_still

    linked = overlapping(start, until, tolerance=SAME_MOMENT_S)
    # Within a minute of a reading two runs may overlap and still belong to two stretches.
    group = np.unique(linked * (bounds.size + 1) + gap, return_inverse=True)[1].astype(np.int64)
    at_close = np.zeros(start.size, dtype=np.bool_)
    at_close[inside] = np.abs(bound_at[gap[inside]] - until[inside]) <= SAME_MOMENT_S
    logged = at_close & alone(linked) & np.isnan(recorded_h)
    pieces = pieces_of(start, until, np.where(ended, own, 0.0), slot, group)
    press = own * pieces.factor[group]

    for flags, word in ((stood_still, Told.STOOD_STILL), (ran_ahead & whole, Told.RAN_AHEAD)):
        rows = np.flatnonzero(logged)
        told[rows[flags[stretch[rows]]]] = word
    chosen = _longest(np.flatnonzero(logged), stretch, clock, telling)
    others = inside.copy()
    others[chosen] = False
    of_others = np.bincount(stretch[others], weights=press[others], minlength=advance.size)
    left[chosen] = advance[stretch[chosen]] - of_others[stretch[chosen]]
    some = chosen[left[chosen] > ROUNDING_H]
    told[chosen] = Told.NONE_LEFT
    held_down = left[some] > clock[some] + SLACK_H + ROUNDING_H
    told[some] = np.where(held_down, Told.HELD_DOWN, Told.NOTHING)
    source[some] = Source.METER
    own[some] = press[some] = np.where(held_down, clock[some] + SLACK_H, left[some])

    counted = np.bincount(stretch[inside], weights=press[inside], minlength=advance.size).astype(np.float64)
    if by_meter:
        over = telling & (counted > advance + ROUNDING_H)
        share = np.divide(advance, counted, out=np.ones_like(advance), where=over)
        rows = np.flatnonzero(inside)
        rows = rows[over[stretch[rows]]]
        own[rows] *= share[stretch[rows]]
        press[rows] *= share[stretch[rows]]
        source[rows] = Source.METER
        told[rows] = Told.SCALED
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
        unlogged_h=np.where(telling, np.maximum(advance - counted, 0.0), 0.0)[kept],
        telling=telling[kept],
    )
    return PressHours(own, press, source, told, left, stretch, stretches, pieces, readings, bounds)


def _under_way(start: Floats, until: Floats, at: Floats) -> Flags:
    """Whether a run is under way at each instant. Runs of up to two moments never are."""
    lasting = until - start > 2 * SAME_MOMENT_S
    begun = np.searchsorted(np.sort(start[lasting]), at - SAME_MOMENT_S, side="left")
    over = np.searchsorted(np.sort(until[lasting]), at + SAME_MOMENT_S, side="right")
    under_way: Flags = begun > over
    return under_way


def _longest(rows: Ints, stretch: Ints, clock: Floats, telling: Flags) -> Ints:
    """Of these runs the longest in each telling stretch; none where two are equally long."""
    rows = rows[telling[stretch[rows]]]
    if not rows.size:
        return rows
    by_length = rows[np.lexsort((clock[rows], stretch[rows]))]
    last = np.concatenate((stretch[by_length][1:] != stretch[by_length][:-1], [True]))
    level = np.concatenate(([False], (stretch[by_length][1:] == stretch[by_length][:-1])
                            & (clock[by_length][1:] == clock[by_length][:-1])))  # fmt: skip
    longest: Ints = by_length[last & ~level]
    return longest
