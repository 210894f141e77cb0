"""What a press, and each part edge on it, has worked between any two instants: hours and kilograms.

Formula: with runs r of length e_r - s_r, the amount q (hours, or kilograms of a crop) up to an instant t is

    Q(t) = sum over r of q_r * clip((t - s_r) / (e_r - s_r), 0, 1)

so that a run that overlaps a span in part counts in proportion to time, and the exposure in [a, b) is
Q(b) - Q(a). Q is held as prefix sums over the runs in order of time; one binary search answers for
an instant, whatever the number of runs. A run without length counts at its instant.

Units: instants are seconds since 1970 in UTC, hours decimal hours, seed in kilograms.

Assumptions: runs through the same barrel never overlap. Kilograms are split over barrels by share, hours
never: both screws of a twin turn, and each takes all of the press's hours, which count each moment once
(`calc.meters`). Where a press counts its hours by its meter, the unlogged hours of a stretch between two
readings lie evenly over it and count for parts, never in hours per tonne.

Too little data is an exposure of nothing, which is what was recorded; nothing is spread or guessed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wearlog.calc.meters import PressHours

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Lane:
    """Stretches of work that do not overlap, in order of time, with prefix sums.

    `start`, `end`: shape (n,). `amount`: (n,), what each stretch worked. `column`: (n,), which of the
    `columns` (crops, or 0 for hours) it belongs to.
    """

    start: Floats
    end: Floats
    amount: Floats
    column: Ints
    columns: int

    @cached_property
    def sums(self) -> Floats:
        """Shape (n + 1, columns): what the first k stretches worked."""
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
    """A lane from stretches in any order. Where some overlap, if only by a minute or by one without length
    inside another, they are cut at every start and end, and pieces of one time and column added up."""
    order = np.lexsort((end, start))
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
    order = np.lexsort((end, start))
    return Lane(start[order], end[order], amount[order], column[order], one.columns)


@dataclass(frozen=True, eq=False)
class PressTimeline:
    """All work of one press. Make it with `timeline_of`; ask it about arrays of spans at once."""

    crops: int
    hours_lane: Lane
    """Hours of runs: what the press was seen to press."""
    unlogged_lane: Lane
    """Hours on the meter without a run, where they count."""
    seed_lanes: tuple[Lane, ...]
    """The whole press's seed; two lanes where two barrels ran on their own at the same time."""
    barrel_lanes: Mapping[str, Lane]
    """Each barrel's share of the seed."""

    def hours(self, a: ArrayLike, b: ArrayLike) -> Floats:
        """Hours in each span [a, b), unlogged ones included, shape (n,); none where b is not after a."""
        first, last = _spans(a, b)
        worked = np.zeros(first.size)
        for one in (self.hours_lane, self.unlogged_lane):
            worked += (one.upto(last) - one.upto(first))[:, 0]
        return worked

    def kilograms(self, a: ArrayLike, b: ArrayLike, barrel: str | None = None) -> Floats:
        """Kilograms of each crop in each span [a, b), shape (n, crops): of the whole press, or of one barrel.

        A barrel that the press does not know takes all of the seed, as a position without one does.
        """
        first, last = _spans(a, b)
        total = np.zeros((first.size, self.crops))
        for one in self._lanes(barrel):
            total += one.upto(last) - one.upto(first)
        return total

    def hours_reached(self, start: float, amount: float) -> float:
        """The instant at which the hours since `start` come to `amount`; infinity where they have not yet."""
        return _reached((self.hours_lane, self.unlogged_lane), start, amount)

    def kilograms_reached(self, start: float, amount: float, barrel: str | None = None) -> float:
        """The instant at which the seed since `start`, all crops together, comes to `amount`, or infinity."""
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

    hours: the hours of these runs. unlogged: whether unlogged hours count, as for a press that counts by
    its meter.
    start, end, kilograms, crop: shape (n,); `crop` indexes 0 .. crops - 1.
    shares: each barrel's part of the seed. through: for each run the barrels that pressed, a space
    between, empty for all; shares are rescaled to 1 over the barrels that it names.
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
class Worked:
    """What spans of fittings worked: `hours` (n,), `kilograms` (n, crops)."""

    hours: Floats
    kilograms: Floats


def worked(
    timelines: Mapping[int, PressTimeline],
    press: Ints,
    barrel: Sequence[str],
    share: Floats,
    a: Floats,
    b: Floats,
) -> Worked:
    """What each of n fittings worked in its own span [a, b).

    press, share, a, b: shape (n,); `barrel` is empty where the position has none, and `share` then scales
    the whole press's seed. A press without a timeline has worked nothing.
    """
    crops = max((timeline.crops for timeline in timelines.values()), default=0)
    hours, kilograms = np.zeros(press.size), np.zeros((press.size, crops))
    groups: dict[tuple[int, str], list[int]] = {}
    for row, key in enumerate(zip(press.tolist(), barrel, strict=True)):
        groups.setdefault(key, []).append(row)
    for (number, name), rows in groups.items():
        timeline = timelines.get(number)
        if timeline is None:
            continue
        hours[rows] = timeline.hours(a[rows], b[rows])
        seed = timeline.kilograms(a[rows], b[rows], name or None)
        kilograms[rows] = seed if name in timeline.barrel_lanes else seed * share[rows][:, None]
    return Worked(hours, kilograms)


def _spans(a: ArrayLike, b: ArrayLike) -> tuple[Floats, Floats]:
    first, last = np.broadcast_arrays(
        np.atleast_1d(np.asarray(a, dtype=np.float64)), np.atleast_1d(np.asarray(b, dtype=np.float64))
    )
    return first, np.maximum(first, last)


def _split(
    shares: Mapping[str, float], through: Sequence[str] | None, runs: int
) -> tuple[NDArray[np.bool_], dict[str, Floats]]:
    """Which runs went past the first barrel, and for each barrel the part of each run's seed it took."""
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
    knots = np.unique(np.concatenate([np.concatenate((one.start, one.end)) for one in lanes]))
    knots = np.concatenate(([start], knots[knots > start]))
    done = np.zeros(knots.size)
    after = np.zeros(knots.size)
    for one in lanes:
        before = one.upto(np.array([start])).sum()
        done += one.upto(knots).sum(axis=1) - before
        after += one.upto(np.nextafter(knots, np.inf)).sum(axis=1) - before
    # A hair below the amount is the amount: prefix sums round.
    goal = amount * (1 - 1e-9)
    place = int(np.searchsorted(after, goal, side="left"))
    if place == knots.size:
        return float("inf")
    if place == 0 or done[place] < goal:  # a run without length stepped over it
        return float(knots[place])
    low, high = after[place - 1], done[place]
    part = min(1.0, max(0.0, (amount - low) / (high - low))) if high > low else 1.0
    return float(knots[place - 1] + part * (knots[place] - knots[place - 1]))
