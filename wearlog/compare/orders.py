"""Dies to make before a season, by die type: so many that all of them together last for the planned seed
(`calc.policy.dies`), and the day by which to order them (`calc.policy.ordering`).

The lives of new edges and what is left of used ones, for the planned crops, come from the wear model, and
so does what they have in common, since the type's rate is known only so well. An expected life alone has the
spread `LIFE_SPREAD`, half of its variance in common to all edges. To these come the spares to keep: as many
as were set for the type, else those that breakage and loss call for (`calc.policy.spares`). Each press that
is to run this bore gets a die at least; dies on order count as new ones at hand. A crop that several types
can press is divided among them in proportion to their past seed of it, else evenly.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum
from math import exp, sqrt

import numpy as np

from wearlog.calc import policy
from wearlog.calc.season import PLAN_SPREAD_GUESS
from wearlog.calc.wear import EdgeFit
from wearlog.compare.ledger import Ledger
from wearlog.forecasts.edges import Edges
from wearlog.forecasts.triggers.limit import LIFE_SPREAD
from wearlog.history.record import Record
from wearlog.history.rows import Floats, PartRow, TypeRow

AHEAD_DAYS = 366
"""Days of the plan that are considered."""
TENTH_POINT = -1.2816
"""The 10 % point of the standard normal distribution."""
UNPLANNED = ("broken", "lost")
"""Ends of dies that no forecast sees coming."""


class NoOrder(StrEnum):
    NO_PLAN = "no plan"
    NO_LIFE = "no life"
    """Neither gauges nor an expected life say how long an edge lasts."""
    TOO_MANY = "too many"
    """So many that the plan or the expected life must be wrong."""


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
    """The advice for one die type. `make` is None where there is none, and `why` says why. `enough` is the
    chance that the season's dies then last, `keep` the spares in that number, `edge_life_kg` the mean life of
    a new edge, `at_hand_kg` what the dies at hand take at least, together, with a chance of 90 %. `needed_on`
    is the day on which they may be used up by the plan, or on which a press is to run this bore that has no
    die left for it, or else, where dies have to be made, the last day of the plan; `order_by` is None without
    a lead time, and where nothing has to be made."""

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
    enough: float | None = None
    keep: int = 0


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


@dataclass(frozen=True)
class Aims:
    """What an owner has set, and what is under way: the share of orders that may come too late, the share of
    seasons in which the dies shall last, and by type the dies on order."""

    late_share: float = policy.LATE_SHARE
    enough: float = policy.ENOUGH
    on_order: Mapping[int, int] = field(default_factory=dict)


def orders(record: Record, edges: Edges, ledger: Ledger, aims: Aims | None = None) -> list[Order]:
    """The advice for each die type, the most urgent first."""
    aims = aims or Aims()
    dies = [type_ for type_ in record.types.values() if type_.kind == "die"]
    coming = to_come(record)
    shares = _shares(record, edges, dies)
    made = [_order(record, edges, ledger, type_, coming, shares[type_.id], aims) for type_ in dies]
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
    record: Record,
    edges: Edges,
    ledger: Ledger,
    type_: TypeRow,
    coming: list[PlannedSeed],
    share: Floats,
    aims: Aims,
) -> Order:
    mine = [(row, row.seed_kg * float(share[row.crop])) for row in coming if share[row.crop] > 0]
    mix = np.zeros(len(record.crops))
    for row, seed in mine:
        mix[row.crop] += seed
    planned = float(mix.sum())
    parts = [part for part in record.parts.values() if part.type_id == type_.id and part.retired_on is None]
    lead = ledger.lead_days.get(type_.id)
    presses = tuple(sorted({row.press_id for row, _seed in mine}))
    ordered = aims.on_order.get(type_.id, 0)
    dies = len(parts) + ordered

    def no(why: NoOrder) -> Order:
        return Order(type_, None, planned, None, dies, 0.0, presses, None, None, lead, why)

    if planned <= 0:
        return no(NoOrder.NO_PLAN)
    new = _new_life(edges, type_, mix)
    if new is None:
        return no(NoOrder.NO_LIFE)
    lives = [_left(edges, part, name, mix, new) for part in parts for name in type_.edge_names]
    at_hand = policy.EdgeLives.of(lives + [(new.mean, new.sd)] * (ordered * type_.edges))
    keep = _keep(record, ledger, type_)
    found = policy.dies_to_make(
        planned=planned,
        new_edge=(new.mean, new.sd),
        edges=type_.edges,
        at_hand=at_hand,
        planned_cv=PLAN_SPREAD_GUESS,
        shared_cv=new.shared_cv,
        reserve=keep,
        least=max(0, len(presses) - dies),
        service_level=aims.enough,
    )
    if found.make is None:
        return no(NoOrder.TOO_MANY)
    early, mid, late = (
        policy.good_for(at_hand, chance, shared_cv=new.shared_cv) for chance in (0.9, 0.5, 0.1)
    )
    needed, by = _used_up(mine, early), None
    if found.make:
        last = max(row.end_on for row, _seed in mine)
        days = policy.Needed(
            min(day for day in (needed, _without_a_die(mine, dies), last) if day is not None),
            _used_up(mine, mid),
            _used_up(mine, late),
        )
        ordering = policy.order_by(days, lead_days=lead, late_share=aims.late_share)
        needed, by = ordering.needed, ordering.on
    return Order(
        type_,
        found.make,
        planned,
        new.mean,
        dies,
        early,
        presses,
        needed,
        by,
        lead,
        None,
        enough=found.enough,
        keep=keep,
    )


@dataclass(frozen=True)
class _EdgeLife:
    """The life of a new edge: its mean, its own standard deviation, and the relative one that it shares with
    all edges of the type."""

    mean: float
    sd: float
    shared_cv: float

    def own_sd(self, mean: float, sd: float) -> float:
        """What is left of an edge's standard deviation without the shared part."""
        return sqrt(max(0.0, sd**2 - (self.shared_cv * mean) ** 2))


def _new_life(edges: Edges, type_: TypeRow, mix: Floats) -> _EdgeLife | None:
    new_edge = edges.fits[type_.id].new_edge
    points = new_edge.seed_left(mix)
    if points is not None:
        mean, sd = policy.spread_of(points.low, points.mid, points.high)
        if mean <= 0:
            return None
        life = _EdgeLife(mean, sd, min(sd / mean, _shared_cv(new_edge, mix)))
    elif type_.expected_life_kg is not None:
        reach = -TENTH_POINT * LIFE_SPREAD
        low, mid, high = (type_.expected_life_kg * exp(z) for z in (-reach, 0.0, reach))
        mean, sd = policy.spread_of(low, mid, high)
        life = _EdgeLife(mean, sd, sd / mean / sqrt(2))
    else:
        return None
    return _EdgeLife(life.mean, life.own_sd(life.mean, life.sd), life.shared_cv)


def _shared_cv(edge: EdgeFit, mix: Floats) -> float:
    """How much the life of a new edge differs between the cases of the type's rates; relative standard
    deviation, 0 where the model gives no cases."""
    cases = edge.scenarios
    if cases is None:
        return 0.0
    with np.errstate(divide="ignore", invalid="ignore"):
        lives = np.maximum(cases.needed, 0.0) / (cases.rates @ mix / mix.sum())[:, None]
    weight = cases.weights.sum(axis=1)
    mean = np.nansum(lives * cases.weights, axis=1) / weight
    usable = np.isfinite(mean) & (weight > 0)
    if not usable.any():
        return 0.0
    middle = float(np.average(mean[usable], weights=weight[usable]))
    spread = float(np.average((mean[usable] - middle) ** 2, weights=weight[usable]))
    return sqrt(spread) / middle if middle > 0 else 0.0


def _left(edges: Edges, part: PartRow, name: str, mix: Floats, new: _EdgeLife) -> tuple[float, float]:
    """Mean and own standard deviation of the seed that an edge at hand will still take."""
    used = edges.used.get((part.id, name))
    if used is None:
        return new.mean, new.sd
    if edges.turned_as_worn(used) and edges.last_of(part.id).key != used.key:
        return 0.0, 0.0
    _fit, own = edges.fit_of(part, name)
    points = own.seed_left(mix)
    if points is not None:
        mean, sd = policy.spread_of(points.low, points.mid, points.high)
        return mean, new.own_sd(mean, sd)
    left = max(0.0, new.mean - edges.taken(used)[0])
    return left, new.sd * min(1.0, left / new.mean)


def _keep(record: Record, ledger: Ledger, type_: TypeRow) -> int:
    """The spares to keep beyond the season: as set, else for the dies that break or are lost meanwhile."""
    kept = ledger.min_spares.get(type_.id)
    if kept is not None:
        return kept
    own = [part for part in record.parts.values() if part.type_id == type_.id]
    needed = sum(part.retired_on is not None and part.retired_because in UNPLANNED for part in own)
    begun = [rows[0].fitted for part in own if (rows := record.fittings_of.get(part.id))]
    days = (record.end - min(begun)) / 86400 if begun else 0.0
    lead = ledger.lead_days.get(type_.id)
    return policy.spares_to_keep(needed=needed, days=days, lead_days=lead).keep or 0


def _without_a_die(mine: Iterable[tuple[PlannedSeed, float]], dies: int) -> date | None:
    """The first day on which more presses have begun this bore than there are dies; None where none has."""
    begins: dict[int, date] = {}
    for row, _seed in mine:
        begins[row.press_id] = min(row.start_on, begins.get(row.press_id, row.start_on))
    return next(iter(sorted(begins.values())[dies:]), None)


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
