"""Looks through the log of the last year for what hardly can be right.

Each press by itself: runs of an odd pace, steps in the pace that no entry explains, days without a run, hours
that its meter counted and nobody logged. Two presses together: days on which they were mixed up. A run that
is odd, or of a day that was mixed up, counts for nothing else.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
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


def doubts(record: Record) -> list[OpenDoubt]:
    """All doubts of the last year, the latest first."""
    since = record.end - LOOK_BACK_DAYS * DAY_S
    own = [_own(record, press, since) for press in record.presses.values()]
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
            found += _gaps(record, one.press, since)
        found += [*_unlogged(record, one.press, since), *_idle(record, one.press)]
    return sorted(found, key=lambda doubt: (-doubt.first, doubt.press, doubt.cause))


def _own(record: Record, press: PressRow, since: float) -> _Own:
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
    days = np.array([record.day_of(at).toordinal() for at in runs.start[told].tolist()], dtype=np.int64)
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
    days = np.intersect1d(one.day, two.day)
    if not days.size:
        return
    usual = [_usual(own) for own in (one, two)]
    paces, by_own, by_other, sds = [], [], [], []
    for mine, other in ((0, 1), (1, 0)):
        own = (one, two)[mine]
        rows = [np.flatnonzero(own.day == day) for day in days]
        paces.append(np.array([np.median(own.pace[each]) for each in rows]))
        crops = [int(own.crop[each[0]]) for each in rows]
        by_own.append(np.array([usual[mine][0].get(crop, np.nan) for crop in crops]))
        by_other.append(np.array([usual[other][0].get(crop, np.nan) for crop in crops]))
        sds.append(usual[mine][1])
    found = swapped(
        paces[0],
        paces[1],
        np.stack([by_own[0], by_other[0]], axis=1),
        np.stack([by_own[1], by_other[1]], axis=1),
        np.full(days.size, max(sds)),
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


def _usual(own: _Own) -> tuple[dict[int, float], float]:
    """The median log pace by crop, and the standard deviation of a run about it."""
    usual = {crop: float(np.median(own.pace[own.crop == crop])) for crop in np.unique(own.crop).tolist()}
    away = np.array([pace - usual[crop] for pace, crop in zip(own.pace, own.crop.tolist(), strict=True)])
    return usual, max(float(np.median(np.abs(away))) if away.size else 0.0, LEAST_MAD) / NORMAL


def _gaps(record: Record, press: PressRow, since: float) -> Iterator[OpenDoubt]:
    runs = record.runs.get(press.id)
    if runs is None:
        return
    first, last = record.day_of(since).toordinal(), record.as_of.toordinal()
    ran = np.zeros(last - first + 1, dtype=np.bool_)
    someone = np.zeros_like(ran)
    for pk in record.presses:
        other = record.runs.get(pk)
        if other is None:
            continue
        for at in (other.start, np.nextafter(other.end, 0)):
            own = at[(at >= since) & (at < record.end)]
            days = np.array([record.day_of(each).toordinal() for each in own.tolist()], dtype=np.int64)
            someone[days - first] = True
            if pk == press.id:
                ran[days - first] = True
    # Of a day it is known why nothing ran where all stood still or something was written down.
    closed = ~someone if len(record.presses) > 1 else np.zeros_like(ran)
    for at in _changes(record, press.id).tolist():
        if since <= at < record.end:
            closed[record.day_of(at).toordinal() - first] = True
    _by_meter_known(record, press, first, closed)
    for begin, end in gaps(ran, closed):
        yield OpenDoubt(
            Cause.GAP,
            press.id,
            record.start_of(record.as_of.fromordinal(first + begin)),
            record.start_of(record.as_of.fromordinal(first + end)),
        )


def _by_meter_known(record: Record, press: PressRow, first: int, closed: Flags) -> None:
    """Where the meter between two readings counted what the runs say, nothing is missing."""
    found = record.hours[press.id].stretches
    for opens, closes, unlogged, usable in zip(
        found.opens.tolist(),
        found.closes.tolist(),
        found.unlogged_h.tolist(),
        found.usable.tolist(),
        strict=True,
    ):
        if usable and unlogged < UNLOGGED_H:
            begin = record.day_of(opens).toordinal() + 1 - first
            end = record.day_of(closes).toordinal() - first
            closed[max(begin, 0) : max(end, 0)] = True


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


def _unlogged(record: Record, press: PressRow, since: float) -> Iterator[OpenDoubt]:
    found = record.hours[press.id].stretches
    much = found.usable & (found.unlogged_h >= np.maximum(UNLOGGED_H, UNLOGGED_SHARE * found.advance_h))
    for row in np.flatnonzero(much & (found.closes >= since)).tolist():
        yield OpenDoubt(
            Cause.UNLOGGED,
            press.id,
            float(found.opens[row]),
            float(found.closes[row]),
            hours=float(found.unlogged_h[row]),
        )
