"""Turns records into arrays: one row per reading, one index per life.

A life is the stretch of an edge between two baselines: from new, or from a rebuild, to the next rebuild.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from wearlog.calc.wear.records import EdgeRecord, Floats, TypeRecord

Ints = NDArray[np.int64]

PLAIN, AT_LEAST, BELOW, WORN_OUT = 0, 1, -1, 2


@dataclass(frozen=True)
class Rows:
    """Readings as arrays with N rows, of P parts with at most L lives and K shifts each.

    Plain readings come first, then pin checks, then edges that were retired as worn; each group is in order
    of part and life. wear: the reading as wear toward the limit since new. kind: PLAIN, AT_LEAST or BELOW (a
    pin says that the wear is at least, or below, the value) or WORN_OUT (retired as worn: about at the
    limit). kg: seed since the life's baseline, shape (N, crops); harvest_kg: the same per harvest, shape (N,
    H), H 0 where harvests aren't told apart. shifts: shape (N, K), 1 for each change of
    dimension other than by pressing that came before the reading: a polish with readings before and after it,
    or a rebuild whose new dimension was read. rebuilt: how often the edge had been rebuilt before that life.
    """

    part: Ints
    life: Ints
    wear: Floats
    kind: Ints
    kg: Floats
    harvest_kg: Floats
    shifts: Floats
    rebuilt: Floats
    parts: int
    lives: int

    @property
    def blocks(self) -> tuple[slice, slice, slice]:
        """The rows of the plain readings, of the pin checks and of the edges retired as worn."""
        ended = len(self.kind) - int((self.kind == WORN_OUT).sum())
        plain = int((self.kind == PLAIN).sum())
        return slice(0, plain), slice(plain, ended), slice(ended, len(self.kind))


@dataclass(frozen=True)
class Places:
    """The present state of each edge, in the record's order: its part, its present life, the seed that it had
    taken when that life began, the shifts in that life so far, the number of readings in that life, and how
    often it had been rebuilt before."""

    part: Ints
    life: Ints
    start_kg: Floats
    shifts: Floats
    readings: Ints
    rebuilt: Ints


@dataclass
class _Found:
    """Rows while they are collected edge by edge; each item of `kg` covers several rows."""

    part: list[int] = field(default_factory=list)
    life: list[int] = field(default_factory=list)
    value: list[float] = field(default_factory=list)
    kind: list[int] = field(default_factory=list)
    kg: list[Floats] = field(default_factory=list)
    shifts: list[tuple[int, ...]] = field(default_factory=list)
    rebuilt: list[int] = field(default_factory=list)


def rows_of(record: TypeRecord) -> tuple[Rows, Places]:
    """Assign the readings of all edges to lives and shifts, for a type that has `new` and `limit`."""
    assert record.new is not None
    assert record.limit is not None
    sign = 1.0 if record.limit > record.new else -1.0
    part_index: dict[object, int] = {}
    lives_of_part: list[int] = []
    shifts_of_part: list[int] = []
    found = _Found()
    places: list[tuple[int, int, Floats, tuple[int, ...], int, int]] = []
    none_yet = np.zeros(record.columns)
    for edge in record.edges:
        part = part_index.setdefault(edge.part, len(part_index))
        if part == len(lives_of_part):
            lives_of_part.append(0)
            shifts_of_part.append(0)
        life = lives_of_part[part]
        lives_of_part[part] += 1
        start_kg = none_yet
        seen: tuple[int, ...] = ()
        readings = rebuilt = 0
        for work, gauges in _stretches(edge, sign < 0):
            if work is not None:
                resets = edge.works[work].resets
                before, after = _linked_readings(edge, edge.works[work].id)
                if resets:
                    life = lives_of_part[part]
                    lives_of_part[part] += 1
                    start_kg = edge.work_kg[work]
                    seen, readings = (), 0
                    rebuilt += 1
                if after and (before or resets):
                    seen = (*seen, shifts_of_part[part])
                    shifts_of_part[part] += 1
            if not gauges:
                continue
            readings += len(gauges)
            found.part += [part] * len(gauges)
            found.life += [life] * len(gauges)
            found.shifts += [seen] * len(gauges)
            found.rebuilt += [rebuilt] * len(gauges)
            found.kg.append(edge.gauge_kg[gauges] - start_kg)
            for index in gauges:
                gauge = edge.gauges[index]
                found.value.append(gauge.value)
                if not gauge.bound:
                    found.kind.append(PLAIN)
                else:
                    found.kind.append(AT_LEAST if (gauge.bound == "at_least") == (sign > 0) else BELOW)
        if edge.worn_out:
            found.part.append(part)
            found.life.append(life)
            found.value.append(record.limit)
            found.kind.append(WORN_OUT)
            found.kg.append((edge.now_kg - start_kg)[None])
            found.shifts.append(seen)
            found.rebuilt.append(rebuilt)
        places.append((part, life, start_kg, seen, readings, rebuilt))
    shifts = max(shifts_of_part, default=0)
    rows = _sorted_rows(record, sign, found, len(part_index), max(lives_of_part, default=0), shifts)
    return rows, Places(
        part=np.array([p[0] for p in places], dtype=np.int64),
        life=np.array([p[1] for p in places], dtype=np.int64),
        start_kg=np.array([p[2] for p in places], dtype=float).reshape(len(places), record.columns),
        shifts=_indicators([p[3] for p in places], shifts),
        readings=np.array([p[4] for p in places], dtype=np.int64),
        rebuilt=np.array([p[5] for p in places], dtype=np.int64),
    )


def _sorted_rows(record: TypeRecord, sign: float, found: _Found, parts: int, lives: int, shifts: int) -> Rows:
    part = np.array(found.part, dtype=np.int64)
    life = np.array(found.life, dtype=np.int64)
    kind = np.array(found.kind, dtype=np.int64)
    wear = sign * (np.array(found.value, dtype=float) - float(record.new or 0.0))
    kg = np.maximum(np.concatenate([np.zeros((0, record.columns)), *found.kg]), 0.0)
    block = np.where(kind == PLAIN, 0, np.where(kind == WORN_OUT, 2, 1))
    order = np.lexsort((life, part, block))
    return Rows(
        part=part[order],
        life=life[order],
        wear=wear[order],
        kind=kind[order],
        kg=record.by_crop(kg[order]),
        harvest_kg=kg[order, : len(record.harvests)],
        shifts=_indicators(found.shifts, shifts)[order],
        rebuilt=np.array(found.rebuilt, dtype=float)[order],
        parts=parts,
        lives=lives,
    )


def _indicators(seen: list[tuple[int, ...]], shifts: int) -> Floats:
    out = np.zeros((len(seen), shifts))
    for index, those in enumerate(seen if shifts else ()):
        out[index, list(those)] = 1.0
    return out


def _stretches(edge: EdgeRecord, shrinks: bool) -> Iterator[tuple[int | None, list[int]]]:
    """The gauges in order of time, in stretches that each begin with a work (the first one with none): the
    index of the work and those of the gauges. A reading marked before or after a work goes to that side of
    it, even where both have the same instant. Of several places gauged at once only the worst is kept; all
    pin checks are kept, in order of value at the same instant."""
    kept = _worst_of_each_gauging(edge, shrinks)
    if not edge.works:
        yield None, kept
        return
    work_at = {work.id: work.at for work in edge.works}
    # The last item of each tuple is the index of a gauge, or -1 - the index of a work.
    order: list[tuple[float, int, int, float, str, int]] = []
    for index, work in enumerate(edge.works):
        order.append((work.at, 1, work.id, 0.0, "", -1 - index))
    for index in kept:
        gauge = edge.gauges[index]
        known = gauge.work in work_at and gauge.phase != ""
        at = work_at[gauge.work] if known and gauge.work is not None else gauge.at
        side = {"before": 0, "after": 2}.get(gauge.phase, 1) if known else 0
        order.append((at, side, -1, gauge.value, gauge.bound, index))
    order.sort()
    begun: int | None = None
    gauges: list[int] = []
    for *_, index in order:
        if index >= 0:
            gauges.append(index)
            continue
        yield begun, gauges
        begun, gauges = -1 - index, []
    yield begun, gauges


def _worst_of_each_gauging(edge: EdgeRecord, shrinks: bool) -> list[int]:
    """The indexes of the gauges to keep: of plain readings taken together the one nearest the limit, and all
    pin checks."""
    kept: dict[tuple[float, str, int | None], int] = {}
    pins: list[int] = []
    for index, gauge in enumerate(edge.gauges):
        if gauge.bound:
            pins.append(index)
            continue
        key = (gauge.at, gauge.phase, gauge.work)
        other = kept.get(key)
        if other is None or (gauge.value < edge.gauges[other].value) == shrinks:
            kept[key] = index
    return [*kept.values(), *pins]


def _linked_readings(edge: EdgeRecord, work: int) -> tuple[list[float], list[float]]:
    """The values of the plain readings linked to a work, before and after it."""
    linked = [gauge for gauge in edge.gauges if gauge.work == work and not gauge.bound]
    return (
        [gauge.value for gauge in linked if gauge.phase == "before"],
        [gauge.value for gauge in linked if gauge.phase == "after"],
    )


def shifted_at(edge: EdgeRecord) -> list[float]:
    """The instants of the works that shifted the dimension of the edge in its present life, in order of
    time: one for each shift of its `Places`."""
    found: list[float] = []
    for work in sorted(edge.works, key=lambda work: (work.at, work.id)):
        if work.resets:
            found = []
        before, after = _linked_readings(edge, work.id)
        if after and (before or work.resets):
            found.append(work.at)
    return found
