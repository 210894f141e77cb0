"""Dies to make before a season, by die type: planned seed compared with what the dies at hand will last.

The number is the planned seed divided by a pessimistic life of an edge (its 10 % point for the planned
crops), less what the dies at hand will last by the same measure, plus one for each press; if the dies at hand
last longer than the plan, the surplus counts towards these. A crop that several types can press is divided
among them in proportion to their past seed of it, else evenly.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from math import exp

import numpy as np

from wearlog.calc import policy
from wearlog.compare.ledger import Ledger
from wearlog.forecasts.edges import Edges
from wearlog.forecasts.triggers.limit import LIFE_SPREAD
from wearlog.history.record import Record
from wearlog.history.rows import Floats, PartRow, TypeRow

AHEAD_DAYS = 366
"""Days of the plan that are considered."""
TENTH_POINT = -1.2816
"""The 10 % point of the standard normal distribution."""


class NoOrder(StrEnum):
    NO_PLAN = "no plan"
    NO_LIFE = "no life"
    """Neither gauges nor an expected life say how long an edge lasts."""


@dataclass(frozen=True)
class PlannedSeed:
    """Planned seed of one crop that is still to come, evenly per day from `start_on` to `end_on`, both
    included."""

    press_id: int
    crop: int
    start_on: date
    end_on: date
    seed_kg: float


@dataclass(frozen=True)
class Order:
    """The advice for one die type. `make` is None where there is none, and `why` says why. `needed_on` is the
    day on which the dies at hand may be used up, or on which the season begins; `order_by` is None without a
    lead time, and where nothing has to be made."""

    type: TypeRow
    make: int | None
    planned_kg: float
    edge_life_kg: float | None
    at_hand: int
    at_hand_kg: float
    presses: tuple[int, ...]
    needed_on: date | None
    order_by: date | None
    lead_days: float | None
    why: NoOrder | None


def to_come(record: Record) -> list[PlannedSeed]:
    """The part of the plan after the record's day; entries that have begun are cut in proportion to days."""
    found = []
    horizon = record.as_of + timedelta(days=AHEAD_DAYS)
    for row in record.plan:
        start = max(row.start_on, record.as_of + timedelta(days=1))
        end = min(row.end_on, horizon)
        if start <= end:
            share = ((end - start).days + 1) / ((row.end_on - row.start_on).days + 1)
            found.append(PlannedSeed(row.press_id, row.crop, start, end, row.seed_kg * share))
    return found


def orders(record: Record, edges: Edges, ledger: Ledger) -> list[Order]:
    """The advice for each die type, the most urgent first."""
    dies = [type_ for type_ in record.types.values() if type_.kind == "die"]
    coming = to_come(record)
    shares = _shares(record, edges, dies)
    made = [_order(record, edges, ledger, type_, coming, shares[type_.id]) for type_ in dies]
    return sorted(
        made,
        key=lambda one: (one.make is None, one.order_by or one.needed_on or date.max, one.type.code),
    )


def _shares(record: Record, edges: Edges, dies: list[TypeRow]) -> dict[int, Floats]:
    """The fraction of each crop's seed that goes through each die type; shape (crops,)."""
    serves = {
        die.id: np.array([not die.for_crops or crop in die.for_crops for crop in record.crops], dtype=float)
        for die in dies
    }
    past = {die.id: np.zeros(len(record.crops)) for die in dies}
    for (part_id, _edge), used in edges.used.items():
        type_id = record.parts[part_id].type_id
        if type_id in past:
            past[type_id] += used.now_kg * serves[type_id]
    total = sum(past.values(), np.zeros(len(record.crops)))
    many = sum(serves.values(), np.zeros(len(record.crops)))
    return {
        die.id: np.where(
            total > 0, past[die.id] / np.maximum(total, 1e-9), serves[die.id] / np.maximum(many, 1)
        )
        for die in dies
    }


def _order(
    record: Record, edges: Edges, ledger: Ledger, type_: TypeRow, coming: list[PlannedSeed], share: Floats
) -> Order:
    mine = [(row, row.seed_kg * float(share[row.crop])) for row in coming if share[row.crop] > 0]
    mix = np.zeros(len(record.crops))
    for row, seed in mine:
        mix[row.crop] += seed
    planned = float(mix.sum())
    parts = [part for part in record.parts.values() if part.type_id == type_.id and part.retired_on is None]
    lead = ledger.lead_days.get(type_.id)
    presses = tuple(sorted({row.press_id for row, _seed in mine}))

    def no(why: NoOrder) -> Order:
        return Order(type_, None, planned, None, len(parts), 0.0, presses, None, None, lead, why)

    if planned <= 0:
        return no(NoOrder.NO_PLAN)
    life = _new_life(edges, type_, mix)
    if not life:
        return no(NoOrder.NO_LIFE)
    left = sum(_left(edges, part, name, mix, life) for part in parts for name in type_.edge_names)
    make = policy.dies_to_make(
        planned_t=planned / 1000,
        edge_life_t=life / 1000,
        edges=type_.edges,
        left_on_shelf_t=left / 1000,
        presses=len(presses),
    )
    make = max(0, make - int(max(0.0, left - planned) / (life * type_.edges)))
    needed = _used_up(mine, left) or min(row.start_on for row, _seed in mine)
    by = None if lead is None or not make else policy.order_by(needed, lead_days=lead)
    return Order(type_, make, planned, life, len(parts), left, presses, needed, by, lead, None)


def _new_life(edges: Edges, type_: TypeRow, mix: Floats) -> float | None:
    found = edges.fits[type_.id].new_edge.seed_left(mix)
    if found is not None:
        return found.low
    if type_.expected_life_kg is None:
        return None
    return type_.expected_life_kg * exp(TENTH_POINT * LIFE_SPREAD)


def _left(edges: Edges, part: PartRow, name: str, mix: Floats, life: float) -> float:
    """Seed that an edge at hand will still take with a probability of 90 %."""
    used = edges.used.get((part.id, name))
    if used is None:
        return life
    if edges.turned_as_worn(used) and edges.last_of(part.id).key != used.key:
        return 0.0
    _fit, own = edges.fit_of(part, name)
    found = own.seed_left(mix)
    if found is not None:
        return found.low
    return max(0.0, life - edges.taken(used)[0])


def _used_up(mine: Iterable[tuple[PlannedSeed, float]], left: float) -> date | None:
    """The day on which the planned seed exceeds what the dies at hand last; None where it never does."""
    rows = [(row, seed / ((row.end_on - row.start_on).days + 1)) for row, seed in mine]
    if not rows:
        return None
    on, last = min(row.start_on for row, _ in rows), max(row.end_on for row, _ in rows)
    taken = 0.0
    while on <= last:
        taken += sum(daily for row, daily in rows if row.start_on <= on <= row.end_on)
        if taken > left:
            return on
        on += timedelta(days=1)
    return None
