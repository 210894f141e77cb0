"""Looks through the log of the last year for what hardly can be right.

Each press by itself: runs of an odd pace, steps in the pace that no entry explains, days without a run, hours
that its meter counted and nobody logged. Two presses together: days on which they were mixed up. A run that
is odd, or of a day that was mixed up, counts for nothing else.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np

from wearlog.calc.doubts.gaps import gaps
from wearlog.calc.doubts.odd import LEAST_MAD, NORMAL, Flags, Floats, odd, slip
from wearlog.calc.doubts.steps import Step, step
from wearlog.calc.doubts.swapped import swapped
from wearlog.history.record import Record
from wearlog.history.rows import Ints, PressRow
from wearlog.runs.models import Cause

DAY_S = 86_400.0
LOOK_BACK_DAYS = 365
UNLOGGED_H = 8.0
"""Of less between two readings of a meter nobody is asked: presses warm up and idle."""
UNLOGGED_SHARE = 0.1
"""Nor where it is less than this share of what the meter counted there."""
IDLE_H, IDLE_SHARE = 40.0, 0.01
"""From so many hours on, and so large a share of what the meter counted, a person is asked what they are."""
EXPLAINED_DAYS = 2.0
"""A step this near to work, a move, an incident or another crop is explained by it."""
PAUSE_DAYS = 14.0


@dataclass(frozen=True)
class OpenDoubt:
    """One question to a person. `first` and `last` are instants (seconds since 1970); `press` and `at` (which
    is `first` as the key of an answer) name it, with its cause.

    runs: the keys of the runs concerned, of a mixed-up day those of both presses. factor: of a pace its
    ratio to the usual one; of a step that of the runs after it to those before. kg: the proposed weight.
    hours: unlogged ones."""

    cause: Cause
    press: int
    first: float
    last: float
    crop: str = ""
    other: int | None = None
    runs: tuple[int, ...] = ()
    factor: float = 1.0
    seed_kg: float = 0.0
    kg: float | None = None
    hours: float = 0.0


@dataclass(frozen=True, eq=False)
class _Own:
    """The runs of one press that tell its throughput, in order of time; shape (n,) each. `pace` is the log of
    kg/h, `away` how far that is from its neighbours."""

    press: PressRow
    id: Ints
    start: Floats
    seed_kg: Floats
    crop: Ints
    pace: Floats
    alike: Ints
    """Runs with one number are of one crop and through the same barrels: through one, a twin is slower."""
    away: Floats
    odd: Flags
    day: Ints
    """As the ordinal of the day on which the run began."""

    @cached_property
    def days(self) -> _Days:
        number, first, count = np.unique(self.day, return_index=True, return_counts=True)
        paces = self.pace[np.lexsort((self.pace, self.day))]
        middle = (paces[first + (count - 1) // 2] + paces[first + count // 2]) / 2
        return _Days(number, middle, self.crop[first])

    @cached_property
    def usual(self) -> dict[int, float]:
        """The median log pace by crop."""
        return {
            crop: float(np.median(self.pace[self.crop == crop])) for crop in np.unique(self.crop).tolist()
        }

    @cached_property
    def sd(self) -> float:
        """The standard deviation of a run's log pace about the usual one of its crop."""
        usual = np.zeros(self.pace.size)
        for crop, pace in self.usual.items():
            usual[self.crop == crop] = pace
        away = np.abs(self.pace - usual)
        return max(float(np.median(away)) if away.size else 0.0, LEAST_MAD) / NORMAL


@dataclass(frozen=True, eq=False)
class _Days:
    """The days on which a press ran, in order, with the median log pace of each and the crop of its first
    run; shape (n,) each."""

    number: Ints
    pace: Floats
    crop: Ints


@dataclass(frozen=True, eq=False)
class _Calendar:
    """The days looked through. midnights: 0:00 of each of n days and of the day after, in the mill's zone,
    shape (n + 1,); first: the ordinal of the first one."""

    first: int
    midnights: Floats

    @classmethod
    def of(cls, record: Record, since: float) -> _Calendar:
        first, last = record.day_of(since).toordinal(), record.as_of.toordinal()
        days = [record.as_of.fromordinal(number) for number in range(first, last + 2)]
        return cls(first, np.array([record.start_of(day) for day in days]))

    @property
    def size(self) -> int:
        return self.midnights.size - 1

    def places(self, instants: Floats) -> Ints:
        """The index of the day of each instant, shape (n,); the instants lie within the calendar."""
        return np.asarray(np.searchsorted(self.midnights, instants, side="right") - 1, dtype=np.int64)


def doubts(record: Record) -> list[OpenDoubt]:
    """All doubts of the last year, the latest first."""
    since = record.end - LOOK_BACK_DAYS * DAY_S
    calendar = _Calendar.of(record, since)
    own = [_own(record, press, since, calendar) for press in record.presses.values()]
    ran = {press: _days_run(record, press, since, calendar) for press in record.presses}
    found: list[OpenDoubt] = []
    mixed: dict[int, set[int]] = {one.press.id: set() for one in own}
    for one, two in combinations(own, 2):
        for doubt in _mixed_up(record, one, two):
            found.append(doubt)
            mixed[one.press.id].update(doubt.runs)
            mixed[two.press.id].update(doubt.runs)
    for one in own:
        out = np.isin(one.id, list(mixed[one.press.id]))
        found += [*_odd_paces(record, one, out), *_steps(record, one, one.odd | out)]
        if one.press.retired_on is None:
            found += _gaps(record, one.press, ran, calendar)
        found += [*_unlogged(record, one.press, calendar), *_idle(record, one.press)]
    return sorted(found, key=lambda doubt: (-doubt.first, doubt.press, doubt.cause))


def _own(record: Record, press: PressRow, since: float, calendar: _Calendar) -> _Own:
    runs = record.runs.get(press.id)
    if runs is None:
        none, keys = np.zeros(0), np.zeros(0, dtype=np.int64)
        return _Own(press, keys, none, none, keys, none, keys, none, np.zeros(0, dtype=np.bool_), keys)
    hours = record.run_hours(press.id)
    told = np.flatnonzero(runs.tell_output(hours) & (runs.seed_kg > 0) & (runs.start >= since))
    pace = np.log(runs.seed_kg[told] / hours[told])
    away, odd_ones = np.full(told.size, np.nan), np.zeros(told.size, dtype=np.bool_)
    alike = runs.crop[told] * 3 + runs.slot[told]
    for group in np.unique(alike):
        rows = np.flatnonzero(alike == group)
        odd_ones[rows], away[rows] = odd(pace[rows])
    days = calendar.places(runs.start[told]) + calendar.first
    return _Own(
        press,
        runs.id[told],
        runs.start[told],
        runs.seed_kg[told],
        runs.crop[told],
        pace,
        alike,
        away,
        odd_ones,
        days,
    )


def _odd_paces(record: Record, own: _Own, out: Flags) -> Iterator[OpenDoubt]:
    for row in np.flatnonzero(own.odd & ~out).tolist():
        factor = slip(float(own.away[row]))
        yield OpenDoubt(
            Cause.PACE,
            own.press.id,
            float(own.start[row]),
            float(own.start[row]),
            crop=record.crops[own.crop[row]],
            runs=(int(own.id[row]),),
            factor=float(np.exp(own.away[row])),
            seed_kg=float(own.seed_kg[row]),
            kg=None if factor is None else float(own.seed_kg[row]) / factor,
        )


def _changes(record: Record, press: int) -> Floats:
    """When something was written down that may change the pace of a press, in order of time."""
    at = [row.done for row in record.services if row.press_id == press]
    at += [row.happened for row in record.incidents if row.press_id == press]
    for row in record.fittings:
        if record.positions[row.position_id].press_id == press:
            at += [row.fitted] + ([] if row.removed is None else [row.removed])
    return np.sort(np.array(at, dtype=float))


def _steps(record: Record, own: _Own, out: Flags) -> Iterator[OpenDoubt]:
    """Steps between two entries that may change the pace. Crops are taken from their usual pace, so that a
    stretch may go over several; where the crop changes, a step is explained by that."""
    rows = np.flatnonzero(~out)
    if not rows.size:
        return
    start, crop, alike = own.start[rows], own.crop[rows], own.alike[rows]
    pace = own.pace[rows].copy()
    for group in np.unique(alike):
        pace[alike == group] -= np.median(pace[alike == group])
    changed = _changes(record, own.press.id)
    other_crop = start[1:][crop[1:] != crop[:-1]]
    explained = np.concatenate([changed, other_crop])
    # After a pause of two weeks a stretch begins anew.
    pauses = np.cumsum(np.r_[False, np.diff(start) > PAUSE_DAYS * DAY_S])
    stretch = np.searchsorted(changed, start) * rows.size + pauses
    for one in np.unique(stretch):
        inside = np.flatnonzero(stretch == one)
        found = step(pace[inside])
        if found is not None and not _explained(explained, start[inside], found):
            yield OpenDoubt(
                Cause.STEP,
                own.press.id,
                float(start[inside[found.before]]),
                float(start[inside[-1]]),
                crop=record.crops[crop[inside[found.before]]],
                factor=float(np.exp(found.size)),
            )


def _explained(changed: Floats, starts: Floats, found: Step) -> bool:
    return bool((np.abs(changed - starts[found.before]) < EXPLAINED_DAYS * DAY_S).any())


def _mixed_up(record: Record, one: _Own, two: _Own) -> Iterator[OpenDoubt]:
    days, at_one, at_two = np.intersect1d(
        one.days.number, two.days.number, assume_unique=True, return_indices=True
    )
    if not days.size:
        return
    crops = one.days.crop[at_one].tolist(), two.days.crop[at_two].tolist()
    found = swapped(
        one.days.pace[at_one],
        two.days.pace[at_two],
        _usual_of(one, two, crops[0]),
        _usual_of(two, one, crops[1]),
        np.full(days.size, max(one.sd, two.sd)),
    )
    for day in days[found].tolist():
        rows_one, rows_two = np.flatnonzero(one.day == day), np.flatnonzero(two.day == day)
        starts = np.concatenate([one.start[rows_one], two.start[rows_two]])
        yield OpenDoubt(
            Cause.SWAPPED,
            one.press.id,
            float(starts.min()),
            float(starts.max()),
            crop=record.crops[one.crop[rows_one[0]]],
            other=two.press.id,
            runs=(*one.id[rows_one].tolist(), *two.id[rows_two].tolist()),
        )


def _usual_of(own: _Own, other: _Own, crops: list[int]) -> Floats:
    """What is usual for two presses at the crops of n days, shape (n, 2); NaN where one never had it."""
    return np.array([[press.usual.get(crop, np.nan) for press in (own, other)] for crop in crops])


def _days_run(record: Record, press: int, since: float, calendar: _Calendar) -> Flags:
    """Whether the press ran on each day, shape (n,): runs began or ended there."""
    ran = np.zeros(calendar.size, dtype=np.bool_)
    runs = record.runs.get(press)
    if runs is not None:
        for at in (runs.start, np.nextafter(runs.end, 0)):
            ran[calendar.places(at[(at >= since) & (at < record.end)])] = True
    return ran


def _gaps(
    record: Record, press: PressRow, ran: Mapping[int, Flags], calendar: _Calendar
) -> Iterator[OpenDoubt]:
    # Of a day it is known why nothing ran where all stood still or something was written down.
    closed = np.zeros(calendar.size, dtype=np.bool_)
    if len(ran) > 1:
        closed = ~np.logical_or.reduce(list(ran.values()))
    changed = _changes(record, press.id)
    closed[calendar.places(changed[(changed >= calendar.midnights[0]) & (changed < record.end)])] = True
    _by_meter_known(record, press, calendar, closed)
    for begin, end in gaps(ran[press.id], closed):
        yield OpenDoubt(Cause.GAP, press.id, float(calendar.midnights[begin]), float(calendar.midnights[end]))


def _by_meter_known(record: Record, press: PressRow, calendar: _Calendar, closed: Flags) -> None:
    """Where the meter between two readings counted what the runs say, nothing is missing; nor on the day of a
    reading, where that holds before it and after it."""
    found = record.hours[press.id].stretches
    unlogged = _unlogged_h(record, press, calendar)
    known = found.usable & (unlogged < UNLOGGED_H) & (found.closes > calendar.midnights[0])
    for row in np.flatnonzero(known).tolist():
        begin, end = calendar.places(np.array([found.opens[row], found.closes[row]]))
        goes_on = row + 1 < known.size and known[row + 1] and found.opens[row + 1] == found.closes[row]
        closed[max(begin + 1, 0) : max(end + int(goes_on), 0)] = True


def _unlogged_h(record: Record, press: PressRow, calendar: _Calendar) -> Floats:
    """The unlogged hours of each stretch between two readings of the meter, shape (m,). A reading that was
    taken in the evening is often written under its morning: where more is unlogged as it stands than if both
    readings were taken after the runs of their day, the less counts."""
    found, runs = record.hours[press.id].stretches, record.runs.get(press.id)
    hours = found.unlogged_h.copy()
    if runs is None:
        return hours
    much = np.flatnonzero((hours >= UNLOGGED_H) & (found.closes > calendar.midnights[0]))
    done_h = np.concatenate(([0.0], np.cumsum(np.nan_to_num(record.press_hours(press.id)))))
    later_h = []
    for at in (found.opens[much], found.closes[much]):
        night = calendar.midnights[np.clip(calendar.places(at) + 1, 0, calendar.size)]
        first, last = np.searchsorted(runs.start, at), np.searchsorted(runs.start, np.maximum(night, at))
        later_h.append(done_h[last] - done_h[first])
    hours[much] = np.clip(hours[much] + np.minimum(later_h[0] - later_h[1], 0.0), 0.0, None)
    return hours


def _idle(record: Record, press: PressRow) -> Iterator[OpenDoubt]:
    """Whether the meter is ahead of the runs by a little nearly always: the press idles or warms up, or
    hours are rounded down."""
    found = record.hours[press.id].stretches
    small = found.usable & (found.unlogged_h < UNLOGGED_H)
    ahead = small & (found.unlogged_h > 0.1)
    hours, counted = float(found.unlogged_h[ahead].sum()), float(found.advance_h[small].sum())
    if press.by_meter or hours < IDLE_H or hours < IDLE_SHARE * counted or ahead.sum() < small.sum() / 2:
        return
    yield OpenDoubt(
        Cause.IDLE,
        press.id,
        float(found.opens[0]),
        float(found.closes[-1]),
        factor=hours / counted,
        hours=hours,
    )


def _unlogged(record: Record, press: PressRow, calendar: _Calendar) -> Iterator[OpenDoubt]:
    found = record.hours[press.id].stretches
    unlogged = _unlogged_h(record, press, calendar)
    much = found.usable & (unlogged >= np.maximum(UNLOGGED_H, UNLOGGED_SHARE * found.advance_h))
    for row in np.flatnonzero(much & (found.closes > calendar.midnights[0])).tolist():
        yield OpenDoubt(
            Cause.UNLOGGED,
            press.id,
            float(found.opens[row]),
            float(found.closes[row]),
            hours=float(unlogged[row]),
        )
