"""How far an edge is worn, and how much seed it can still take of one crop: to choose what to fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wearlog.calc.wear import Quantiles
from wearlog.forecasts.edges import Edge, Edges
from wearlog.forecasts.items import WearFigure
from wearlog.forecasts.triggers.limit import worst_of_last
from wearlog.history.record import Record


@dataclass(frozen=True)
class EdgeLeft:
    """`left_kg` is the middle estimate, of seed through this edge; None where nothing tells. `wear` is None
    for a type without a new size and a limit."""

    used: bool
    wear: WearFigure | None
    left_kg: float | None


def edge_left(edges: Edges, part_id: int, edge: str, crop: str) -> EdgeLeft:
    """The wear of an edge (empty: the part's only one), used or not, and what it can still take of the crop
    (its code). KeyError for a part that the record does not hold."""
    record = edges.record
    part = record.parts[part_id]
    type_ = record.types[part.type_id]
    used = edges.used.get((part_id, edge))
    own = edges.fit_of(part, edge)[1]
    mix = np.array([float(code == crop) for code in record.crops])
    left = own.seed_left(mix)
    left_kg = None if left is None else left.mid
    if left is None and own.basis == "none" and type_.expected_life_kg is not None:
        taken = 0.0 if used is None else edges.taken(used)[0]
        left_kg = max(0.0, type_.expected_life_kg - taken)
    wear = None
    if type_.new_mm is not None and type_.limit_mm is not None:
        wear = figure_of(record, used, type_.new_mm, type_.limit_mm, own.now)
    return EdgeLeft(used is not None, wear, left_kg)


def figure_of(
    record: Record, used: Edge | None, new_mm: float, limit_mm: float, now: Quantiles | None
) -> WearFigure:
    """The caliper strip of an edge (None: not used yet) whose present wear toward the limit is `now`."""
    sign = 1.0 if limit_mm > new_mm else -1.0
    gauge = None if used is None else worst_of_last(used, sign)
    return WearFigure(
        new_mm=new_mm,
        limit_mm=limit_mm,
        measured_mm=None if gauge is None else gauge[1],
        measured_on=None if gauge is None else record.day_of(gauge[0]),
        now_mm=None if used is None or now is None else new_mm + sign * now.mid,
        now_low_mm=None if used is None or now is None else new_mm + sign * now.low,
        now_high_mm=None if used is None or now is None else new_mm + sign * now.high,
    )
