"""From records to arrays: one row per reading, one index per life.

A life is the stretch of an edge between two baselines: from new, or from a rebuild, to the next rebuild.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wearlog.calc.wear.records import EdgeRecord, Floats, TypeRecord

Ints = NDArray[np.int64]

PLAIN, AT_LEAST, BELOW, WORN_OUT = 0, 1, -1, 2


@dataclass(frozen=True)
class Rows:
    """Readings as arrays, N rows, of P parts with at most L lives and K shifts each.

    wear is the reading toward the limit since new; kind one of PLAIN, AT_LEAST, BELOW (of the wear) and
    WORN_OUT (retired as worn: about at the limit). kg is the seed since the life's baseline. shifts has a 1
    for each change of dimension, other than by work, that the reading has seen: a polish with readings
    before and after it, or a rebuild whose new dimension was read.
    """

    part: Ints
    life: Ints
    wear: Floats
    kind: Ints
    kg: Floats
    shifts: Floats
    parts: int
    lives: int
    # Of each edge, in the record's order: its part, its present life, what that life has taken so far, the
    # shifts it has seen, and how many readings of its own it has.
    edge_part: Ints
    edge_life: Ints
    edge_kg: Floats
    edge_shifts: Floats
    edge_readings: Ints


def rows_of(record: TypeRecord) -> Rows:
    """Sort out baselines and shifts of all edges of a type that has `new` and `limit`."""
    assert record.new is not None
    assert record.limit is not None
    sign = 1.0 if record.limit > record.new else -1.0
    part_index: dict[object, int] = {}
    lives_of_part: dict[int, int] = {}
    shifts_of_part: dict[int, int] = {}
    rows: list[tuple[int, int, float, int, Floats, tuple[int, ...]]] = []
    edges: list[tuple[int, int, Floats, tuple[int, ...], int]] = []
    for edge in record.edges:
        part = part_index.setdefault(edge.part, len(part_index))
        life = lives_of_part.get(part, 0)
        lives_of_part[part] = life + 1
        start_kg = np.zeros(record.crops)
        seen: tuple[int, ...] = ()
        readings = 0
        for what, index in _in_order(edge, sign < 0):
            if what == "work":
                work = edge.works[index]
                before, after = _around(edge, work.id)
                if work.resets:
                    life = lives_of_part[part]
                    lives_of_part[part] = life + 1
                    start_kg = edge.work_kg[index]
                    seen, readings = (), 0
                if after and (before or work.resets):
                    shift = shifts_of_part.get(part, 0)
                    shifts_of_part[part] = shift + 1
                    seen = (*seen, shift)
                continue
            gauge = edge.gauges[index]
            kind = PLAIN
            if gauge.bound:
                kind = AT_LEAST if (gauge.bound == "at_least") == (sign > 0) else BELOW
            kg = np.maximum(edge.gauge_kg[index] - start_kg, 0.0)
            rows.append((part, life, sign * (gauge.value - record.new), kind, kg, seen))
            readings += 1
        now_kg = np.maximum(edge.now_kg - start_kg, 0.0)
        if edge.worn_out:
            rows.append((part, life, abs(record.limit - record.new), WORN_OUT, now_kg, seen))
        edges.append((part, life, now_kg, seen, readings))
    return _as_arrays(record.crops, len(part_index), lives_of_part, shifts_of_part, rows, edges)


def _as_arrays(
    crops: int,
    parts: int,
    lives_of_part: dict[int, int],
    shifts_of_part: dict[int, int],
    rows: list[tuple[int, int, float, int, Floats, tuple[int, ...]]],
    edges: list[tuple[int, int, Floats, tuple[int, ...], int]],
) -> Rows:
    shifts = max(shifts_of_part.values(), default=0)

    def marks(seen: list[tuple[int, ...]]) -> Floats:
        out = np.zeros((len(seen), shifts))
        for index, those in enumerate(seen):
            out[index, list(those)] = 1.0
        return out

    return Rows(
        part=np.array([r[0] for r in rows], dtype=np.int64),
        life=np.array([r[1] for r in rows], dtype=np.int64),
        wear=np.array([r[2] for r in rows], dtype=float),
        kind=np.array([r[3] for r in rows], dtype=np.int64),
        kg=np.array([r[4] for r in rows], dtype=float).reshape(len(rows), crops),
        shifts=marks([r[5] for r in rows]),
        parts=parts,
        lives=max(lives_of_part.values(), default=0),
        edge_part=np.array([e[0] for e in edges], dtype=np.int64),
        edge_life=np.array([e[1] for e in edges], dtype=np.int64),
        edge_kg=np.array([e[2] for e in edges], dtype=float).reshape(len(edges), crops),
        edge_shifts=marks([e[3] for e in edges]),
        edge_readings=np.array([e[4] for e in edges], dtype=np.int64),
    )


def _in_order(edge: EdgeRecord, shrinks: bool) -> list[tuple[str, int]]:
    """Gaugings and works as they happened. A reading before or after a work stands on its side of it, even
    where both were written down for the same instant; of several places gauged at once the worst stays,
    and so does the tightest of several pins."""
    work_at = {work.id: work.at for work in edge.works}
    order: list[tuple[float, int, int, str, int]] = []
    for index, work in enumerate(edge.works):
        order.append((work.at, 1, work.id, "work", index))
    for index in _worst(edge, shrinks):
        gauge = edge.gauges[index]
        known = gauge.work in work_at and gauge.phase != ""
        at = work_at[gauge.work] if known and gauge.work is not None else gauge.at
        side = {"before": 0, "after": 2}.get(gauge.phase, 1) if known else 0
        order.append((at, side, -1, "gauge", index))
    order.sort(key=lambda entry: (*entry[:3], _value_order(edge, entry[3], entry[4])))
    return [(what, index) for _, _, _, what, index in order]


def _value_order(edge: EdgeRecord, what: str, index: int) -> tuple[float, str]:
    if what == "work":
        return (0.0, "")
    return (edge.gauges[index].value, edge.gauges[index].bound)


def _worst(edge: EdgeRecord, shrinks: bool) -> list[int]:
    """Of the plain readings of one gauging keep the one nearest the limit; pins all stay."""
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


def _around(edge: EdgeRecord, work: int) -> tuple[list[float], list[float]]:
    """Plain readings linked to a work, before and after it."""
    linked = [gauge for gauge in edge.gauges if gauge.work == work and not gauge.bound]
    return (
        [gauge.value for gauge in linked if gauge.phase == "before"],
        [gauge.value for gauge in linked if gauge.phase == "after"],
    )
