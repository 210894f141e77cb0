"""What runs pressed through parts: each run in proportion to the time that the parts sat on its press.

A run across a change of fitting counts on both sides by its time, as in `calc.exposure`. Seed is that of the
position: its barrel's share, or its own share of the press. Hours are those of the press, each moment once,
however many of the parts sat on it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from wearlog.calc.exposure import Floats, Ints, Lane, PressTimeline, parts_of_barrels
from wearlog.compare.records.choice import Through
from wearlog.equipment.kinds import Kind
from wearlog.history.record import NOTHING_EARLIER, Earlier, Record
from wearlog.history.rows import RunColumns
from wearlog.service.work import RENEWS


@dataclass(frozen=True)
class Span:
    """A stretch of time on a press, in seconds since 1970: `start` included, `end` excluded."""

    press_id: int
    barrel: str
    share: float
    start: float
    end: float


@dataclass(frozen=True, eq=False)
class Pressed:
    """By run, shape (n,) each: its key, its hours, and the fraction of its seed. `unlogged_h` are hours on
    meters in which no run is logged; `earlier_h` and `earlier_kg` the work of a part before this log."""

    id: Ints
    hours: Floats
    fraction: Floats
    unlogged_h: float
    earlier_h: float
    earlier_kg: float


def pressed_through(record: Record, through: Through) -> Pressed:
    """The runs through these parts up to the end of the record, in order of their keys."""
    spans = _spans(record, through)
    by_press: dict[int, list[Span]] = defaultdict(list)
    for span in spans:
        by_press[span.press_id].append(span)
    timelines = record.timelines_of(by_press)
    ids, hours, fractions, unlogged = [], [], [], 0.0
    for press_id, own in by_press.items():
        timeline, whole = timelines[press_id], _joined(own)
        unlogged += sum(_done(timeline.unlogged_lane, start, end) for start, end in whole)
        runs = record.runs.get(press_id)
        if runs is None:
            continue
        of_runs = _hours(runs, record.press_hours(press_id), timeline, whole)
        fraction = _fractions(record, press_id, runs, own)
        some = np.flatnonzero((of_runs > 0) | (fraction > 0))
        ids.append(runs.id[some])
        hours.append(of_runs[some])
        fractions.append(fraction[some])
    keys = np.concatenate(ids) if ids else np.zeros(0, dtype=np.int64)
    order = np.argsort(keys)
    earlier = _earlier(record, through)
    return Pressed(
        keys[order],
        (np.concatenate(hours) if hours else np.zeros(0))[order],
        (np.concatenate(fractions) if fractions else np.zeros(0))[order],
        unlogged,
        earlier.worked_h,
        earlier.seed_kg,
    )


def _done(lane: Lane, start: float, end: float) -> float:
    """Work of a lane with one column in a stretch of time."""
    first, last = lane.upto(np.array([start, end]))[:, 0].tolist()
    return float(last - first)


def _joined(spans: Iterable[Span]) -> list[tuple[float, float]]:
    """The time of these spans, each moment once."""
    found: list[tuple[float, float]] = []
    for span in sorted(spans, key=lambda one: one.start):
        if found and span.start <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], span.end))
        else:
            found.append((span.start, span.end))
    return found


def _within(runs: RunColumns, start: float, end: float) -> Floats:
    """The part of each run's time that lies in a stretch of time; a run without length counts at its
    instant."""
    lasting = runs.end - runs.start
    shared = np.minimum(runs.end, end) - np.maximum(runs.start, start)
    at_once = (runs.start >= start) & (runs.start < end)
    with np.errstate(divide="ignore", invalid="ignore"):
        part = np.where(lasting > 0, np.clip(shared, 0.0, None) / lasting, at_once)
    found: Floats = np.asarray(part, dtype=np.float64)
    return found


def _hours(
    runs: RunColumns, press_hours: Floats, timeline: PressTimeline, stretches: Sequence[tuple[float, float]]
) -> Floats:
    """The press hours of each run that lie in these stretches.

    Where barrels pressed separately at the same time, a run's share of the moments before and after a change
    is not known from its own time alone: the runs that were under way then share what the press did."""
    total = np.zeros(runs.start.size)
    group = _at_once(runs)
    size = np.bincount(group, minlength=1)[group]
    for start, end in stretches:
        own = _within(runs, start, end) * press_hours
        for edge in (start, end):
            under_way = (runs.start < edge) & (runs.end > edge) & (size > 1)
            if under_way.any():
                cut = np.isin(group, group[under_way])
                left = _done(timeline.hours_lane, start, end) - float(own[~cut].sum())
                shares = float(own[cut].sum())
                if shares > 0:
                    own[cut] *= left / shares
        total += own
    return total


def _at_once(runs: RunColumns) -> Ints:
    """A number for each run, the same for runs that overlap, directly or by way of others."""
    reach = np.maximum.accumulate(runs.end)
    opens = np.ones(runs.start.size, dtype=np.bool_)
    opens[1:] = runs.start[1:] >= reach[:-1]
    found: Ints = np.cumsum(opens) - 1
    return found


def _fractions(record: Record, press_id: int, runs: RunColumns, spans: Sequence[Span]) -> Floats:
    """The fraction of each run's seed that went through the parts."""
    parts = parts_of_barrels(record.barrel_shares.get(press_id, {}), runs.through, runs.start.size)
    groups: dict[tuple[str, int], list[Span]] = defaultdict(list)
    for number, span in enumerate(spans):
        # Two positions that each take their own share of a press without barrels add up.
        apart = span.share < 1 and span.barrel not in parts
        groups[span.barrel, number if apart else -1].append(span)
    total = np.zeros(runs.start.size)
    for (barrel, _), own in groups.items():
        time = sum((_within(runs, start, end) for start, end in _joined(own)), np.zeros(runs.start.size))
        total += time * (parts[barrel] if barrel in parts else own[0].share)
    found: Floats = np.minimum(total, 1.0)
    return found


def _spans(record: Record, through: Through) -> list[Span]:
    """The time in which all that is named sat on a press together."""
    parts, types = record.parts.values(), record.types.values()
    named = [{part.id for part in parts if part.code == code} for code in through.parts]
    if through.type:
        of_type = {row.id for row in types if row.code == through.type}
        named.append({part.id for part in parts if part.type_id in of_type})
    if through.size_mm is not None:
        of_size = {row.id for row in types if row.kind == Kind.DIE and row.size_mm == through.size_mm}
        named.append({part.id for part in parts if part.type_id in of_size})
    if not named and through.edge and through.fitting is None:
        dies = {row.id for row in types if row.kind == Kind.DIE}
        named.append({part.id for part in parts if part.type_id in dies})
    if not named:
        named.append({row.part_id for row in record.fittings if row.id == through.fitting})
    found = _of_parts(record, through, named[0])
    for others in named[1:]:
        found = _together(found, _of_parts(record, through, others))
    return found


def _of_parts(record: Record, through: Through, parts: Collection[int]) -> list[Span]:
    """The fittings of these parts, as far as the edge, the fitting and the life are those that are meant."""
    found = []
    for row in record.fittings:
        if row.part_id not in parts or through.fitting not in (None, row.id):
            continue
        several = record.types[record.parts[row.part_id].type_id].edges > 1
        if through.edge and several and row.edge != through.edge:
            continue
        start, end = row.fitted, record.end if row.removed is None else row.removed
        if through.life is not None:
            born, over = _life(record, row.part_id, through.life)
            start, end = max(start, born), min(end, over)
        if start < end:
            position = record.positions[row.position_id]
            found.append(Span(position.press_id, position.barrel, position.share, start, end))
    return found


def _life(record: Record, part_id: int, number: int) -> tuple[float, float]:
    """From when to when a part lived its life of this number; 0 is the one before its first rebuild."""
    rebuilt = [row.done for row in record.services if row.part_id == part_id and row.action in RENEWS]
    ends = [-np.inf, *rebuilt, record.end, record.end]
    number = min(number, len(ends) - 2)
    return float(ends[number]), float(ends[number + 1])


def _together(some: Iterable[Span], others: Iterable[Span]) -> list[Span]:
    """The time that spans of both share on a press, through the same barrel."""
    by_press: dict[int, list[Span]] = defaultdict(list)
    for other in others:
        by_press[other.press_id].append(other)
    found = []
    for one in some:
        for other in by_press[one.press_id]:
            start, end = max(one.start, other.start), min(one.end, other.end)
            if start < end and (one.barrel == other.barrel or not one.barrel or not other.barrel):
                barrel, share = one.barrel or other.barrel, min(one.share, other.share)
                found.append(Span(one.press_id, barrel, share, start, end))
    return found


def _earlier(record: Record, through: Through) -> Earlier:
    """What a part did before this log: all by the edge that was fitted first here, in its first life."""
    parts = [part for part in record.parts.values() if part.code in through.parts]
    alone = replace(through, type="", size_mm=None, fitting=None)
    if len(parts) != 1 or through != alone or through.life not in (None, 0):
        return NOTHING_EARLIER
    [part] = parts
    known = record.earlier.get(part.id, NOTHING_EARLIER)
    several = record.types[part.type_id].edges > 1
    if through.edge and several and known is not NOTHING_EARLIER:
        return known if record.fittings_of[part.id][0].edge == through.edge else NOTHING_EARLIER
    return known
