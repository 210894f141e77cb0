"""Exposure: how many hours and kilograms a press, and each part edge on it, worked between two instants.

Formula: with runs r of length e_r - s_r, the amount q (hours, or kilograms of a crop) up to an instant t is

    Q(t) = sum over r of q_r * clip((t - s_r) / (e_r - s_r), 0, 1)

so that a run that overlaps a span in part counts in proportion to time, and the exposure in [a, b) is
Q(b) - Q(a). Q is kept as prefix sums over the runs in order of time, so that one binary search finds the
amount at an instant, however many runs there are. A run without length counts at its instant.

Units: instants are seconds since 1970 in UTC, hours decimal hours, seed in kilograms.

Assumptions: runs through the same barrel never overlap. Kilograms are split between barrels by share; hours
are not, because both screws of a twin press turn and each takes all of the press's hours, in which each
moment counts once (`calc.meters`). Where a press counts its hours by its meter, the unlogged hours between
two readings are spread evenly over that stretch; they count for parts, never in hours per tonne.

Without runs the exposure is 0, because that is what was recorded; nothing is guessed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wearlog.calc.meters import PressHours
from wearlog.calc.order import order_by

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Lane:
    """Intervals of work that do not overlap, in order of time, with prefix sums.

    `start`, `end`: shape (n,). `amount`: (n,), the work done in each interval. `column`: (n,), which of the
    `columns` (a crop, or always 0 for hours) the work belongs to.
    """

    start: Floats
    end: Floats
    amount: Floats
    column: Ints
    columns: int

    @cached_property
    def sums(self) -> Floats:
        """Shape (n + 1, columns): the work done in the first k intervals."""
        steps = np.zeros((self.start.size + 1, self.columns))
        steps[np.arange(self.start.size) + 1, self.column] = self.amount
        return np.cumsum(steps, axis=0, out=steps)

    def upto(self, instants: Floats) -> Floats:
        """Work done before each instant, shape (len(instants), columns)."""
        begun = np.searchsorted(self.start, instants, side="left")
        done: Floats = self.sums[begun]
        if self.start.size == 0:
            return done
        last = np.maximum(begun - 1, 0)
        under_way = (begun > 0) & (self.end[last] > instants)
        rows = np.flatnonzero(under_way)
        run = last[rows]
        to_come = (self.end[run] - instants[rows]) / (self.end[run] - self.start[run])
        done[rows, self.column[run]] -= to_come * self.amount[run]
        return done


def lane(start: Floats, end: Floats, amount: Floats, column: Ints | None = None, columns: int = 1) -> Lane:
    """A lane from intervals in any order. Where any overlap (even by a minute, or one without length inside
    another), they are cut at every start and end, and pieces of the same time and column are added up."""
    order = order_by(start, end)
    if column is None:
        column = np.zeros(start.size, dtype=np.int64)
    made = Lane(start[order], end[order], amount[order], column[order], columns)
    if (np.maximum.accumulate(made.end)[:-1] > made.start[1:]).any():
        return _cut(made)
    return made


def _cut(one: Lane) -> Lane:
    lasting = one.end > one.start
    knots = np.unique(np.concatenate((one.start, one.end)))
    begin = np.searchsorted(knots, one.start[lasting])
    count = np.searchsorted(knots, one.end[lasting]) - begin
    piece = np.repeat(np.flatnonzero(lasting), count)
    step = np.arange(piece.size) - np.repeat(np.cumsum(count) - count, count) + np.repeat(begin, count)
    part = (knots[step + 1] - knots[step]) / (one.end[piece] - one.start[piece])
    keys, place = np.unique(step * one.columns + one.column[piece], return_inverse=True)
    start = np.concatenate((one.start[~lasting], knots[keys // one.columns]))
    end = np.concatenate((one.end[~lasting], knots[keys // one.columns + 1]))
    cut: Floats = np.bincount(place.ravel(), weights=one.amount[piece] * part).astype(np.float64)
    amount = np.concatenate((one.amount[~lasting], cut))
    column = np.concatenate((one.column[~lasting], keys % one.columns))
    order = order_by(start, end)
    return Lane(start[order], end[order], amount[order], column[order], one.columns)


@dataclass(frozen=True, eq=False)
class PressTimeline:
    """All the work of one press. Make it with `timeline_of`; its methods take arrays of spans at once."""

    crops: int
    hours_lane: Lane
    """The hours of the recorded runs."""
    unlogged_lane: Lane
    """Hours on the meter during which no run was recorded; empty where these do not count."""
    seed_lanes: tuple[Lane, ...]
    """The seed of the whole press; two lanes where two barrels ran separately at the same time."""
    barrel_lanes: Mapping[str, Lane]
    """Each barrel's share of the seed."""

    def hours(self, a: ArrayLike, b: ArrayLike) -> Floats:
        """Hours in each span [a, b), unlogged hours included, shape (n,); 0 where b is not after a."""
        first, last = _spans(a, b)
        exposures = np.zeros(first.size)
        for one in (self.hours_lane, self.unlogged_lane):
            exposures += (one.upto(last) - one.upto(first))[:, 0]
        return exposures

    def kilograms(self, a: ArrayLike, b: ArrayLike, barrel: str | None = None) -> Floats:
        """Kilograms of each crop in each span [a, b), shape (n, crops): of the whole press, or of one barrel.

        For a barrel that the press does not have, the seed of the whole press is returned, as for a position
        without a barrel.
        """
        first, last = _spans(a, b)
        total = np.zeros((first.size, self.crops))
        for one in self._lanes(barrel):
            total += one.upto(last) - one.upto(first)
        return total

    def hours_reached(self, start: float, amount: float) -> float:
        """The instant at which the hours since `start` reach `amount`; infinity where they have not yet."""
        return _reached((self.hours_lane, self.unlogged_lane), start, amount)

    def kilograms_reached(self, start: float, amount: float, barrel: str | None = None) -> float:
        """The instant at which the seed since `start`, all crops together, reaches `amount`, or infinity."""
        return _reached(self._lanes(barrel), start, amount)

    def _lanes(self, barrel: str | None) -> tuple[Lane, ...]:
        if barrel and barrel in self.barrel_lanes:
            return (self.barrel_lanes[barrel],)
        return self.seed_lanes


def timeline_of(
    *,
    hours: PressHours,
    unlogged: bool,
    start: Floats,
    end: Floats,
    kilograms: Floats,
    crop: Ints,
    crops: int,
    shares: Mapping[str, float] | None = None,
    through: Sequence[str] | None = None,
) -> PressTimeline:
    """The timeline of one press from its runs, in any order.

    hours: the hours of these runs. unlogged: whether unlogged hours count, as they do for a press that counts
    by its meter.
    start, end, kilograms, crop: shape (n,); `crop` indexes 0 .. crops - 1.
    shares: the fraction of the seed that goes through each barrel. through: for each run the barrels that
    pressed, separated by spaces, empty for all; shares are rescaled to a sum of 1 over the named barrels.
    """
    shares = dict(shares or {})
    solo, parts = _split(shares, through, start.size)
    both = ~solo
    seed_lanes = [lane(start[both], end[both], kilograms[both], crop[both], crops)]
    if solo.any():
        seed_lanes.append(lane(start[solo], end[solo], kilograms[solo], crop[solo], crops))
    barrel_lanes = {}
    for barrel, part in parts.items():
        used = part > 0
        barrel_lanes[barrel] = lane(start[used], end[used], kilograms[used] * part[used], crop[used], crops)
    pieces, stretches = hours.pieces, hours.stretches
    more = np.flatnonzero(stretches.unlogged_h > 0) if unlogged else np.zeros(0, dtype=np.int64)
    hours_lane = lane(pieces.start, pieces.end, pieces.hours)
    unlogged_lane = lane(stretches.opens[more], stretches.closes[more], stretches.unlogged_h[more])
    return PressTimeline(crops, hours_lane, unlogged_lane, tuple(seed_lanes), barrel_lanes)


@dataclass(frozen=True, eq=False)
class Exposure:
    """The work done in the spans of n fittings: `hours` (n,), `kilograms` (n, crops)."""

    hours: Floats
    kilograms: Floats


def exposures(
    timelines: Mapping[int, PressTimeline],
    press: Ints,
    barrel: Sequence[str],
    share: Floats,
    a: Floats,
    b: Floats,
) -> Exposure:
    """The work that each of n fittings did in its own span [a, b).

    press, share, a, b: shape (n,); `barrel` is empty where the position has none, and `share` then scales
    the seed of the whole press. For a press without a timeline hours and kilograms are 0; kilograms have a
    column for each crop of the timelines of these presses.
    """
    groups = _rows_of_places(press, barrel)
    known = {key: timeline for key in groups if (timeline := timelines.get(key[0])) is not None}
    crops = max((timeline.crops for timeline in known.values()), default=0)
    hours, kilograms = np.zeros(press.size), np.zeros((press.size, crops))
    for (number, name), timeline in known.items():
        rows = groups[number, name]
        hours[rows] = timeline.hours(a[rows], b[rows])
        seed = timeline.kilograms(a[rows], b[rows], name or None)
        kilograms[rows] = seed if name in timeline.barrel_lanes else seed * share[rows][:, None]
    return Exposure(hours, kilograms)


def _rows_of_places(press: Ints, barrel: Sequence[str]) -> dict[tuple[int, str], Ints]:
    """The rows of each press and barrel, in order."""
    if press.size != len(barrel):
        raise ValueError("Each row needs a press and a barrel.")
    if press.size == 0:
        return {}
    number = {name: place for place, name in enumerate(dict.fromkeys(barrel))}
    key = np.fromiter(map(number.__getitem__, barrel), dtype=np.int64, count=press.size)
    key += press * len(number)
    order = np.argsort(key, kind="stable")
    begin = np.flatnonzero(np.diff(key[order])) + 1
    return {(int(press[rows[0]]), barrel[rows[0]]): rows for rows in np.split(order, begin)}


def parts_of_barrels(
    shares: Mapping[str, float], through: Sequence[str] | None, runs: int
) -> dict[str, Floats]:
    """For each barrel the fraction of each run's seed that went through it, shape (runs,), as `timeline_of`
    counts it; arguments as there."""
    return _split(dict(shares), through, runs)[1]


def _spans(a: ArrayLike, b: ArrayLike) -> tuple[Floats, Floats]:
    first, last = np.broadcast_arrays(
        np.atleast_1d(np.asarray(a, dtype=np.float64)), np.atleast_1d(np.asarray(b, dtype=np.float64))
    )
    return first, np.maximum(first, last)


def _split(
    shares: Mapping[str, float], through: Sequence[str] | None, runs: int
) -> tuple[NDArray[np.bool_], dict[str, Floats]]:
    """Which runs did not use the first barrel, shape (runs,), and for each barrel its fraction of each run's
    seed, shape (runs,)."""
    parts = {barrel: np.full(runs, share) for barrel, share in shares.items()}
    solo = np.zeros(runs, dtype=np.bool_)
    if through is None or not shares:
        return solo, parts
    first = min(shares)
    texts, text_of_run = np.unique(np.asarray(through, dtype=np.str_), return_inverse=True)
    for number, text in enumerate(texts):
        named = [barrel for barrel in shares if barrel in str(text).split()]
        if not named or len(named) == len(shares):
            continue
        rows = text_of_run == number
        total = sum(shares[barrel] for barrel in named)
        for barrel, part in parts.items():
            if barrel not in named:
                part[rows] = 0.0
            elif total > 0:
                part[rows] = shares[barrel] / total
            else:
                part[rows] = 1.0 / len(named)
        solo[rows] = first not in named
    return solo, parts


def _reached(lanes: tuple[Lane, ...], start: float, amount: float) -> float:
    if amount <= 0:
        return start
    knots = np.concatenate([np.concatenate((one.start, one.end)) for one in lanes])
    knots = np.concatenate(([start], np.unique(knots[knots > start])))
    done = np.zeros(knots.size)
    after = np.zeros(knots.size)
    for one in lanes:
        before = one.upto(np.array([start])).sum()
        done += one.upto(knots).sum(axis=1) - before
        after += one.upto(np.nextafter(knots, np.inf)).sum(axis=1) - before
    # An amount reached but for rounding counts as reached: prefix sums are not exact.
    goal = amount * (1 - 1e-9)
    place = int(np.searchsorted(after, goal, side="left"))
    if place == knots.size:
        return float("inf")
    if place == 0 or done[place] < goal:  # the amount was passed by a run without length, at this instant
        return float(knots[place])
    low, high = after[place - 1], done[place]
    part = min(1.0, max(0.0, (amount - low) / (high - low))) if high > low else 1.0
    return float(knots[place - 1] + part * (knots[place] - knots[place - 1]))
