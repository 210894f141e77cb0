"""What is on the shelf of each part type, what is on order, and how many spares to keep."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from wearlog.calc import policy
from wearlog.equipment.models import PartOrder, PartType
from wearlog.forecasts.edges import Edges
from wearlog.history.record import Record
from wearlog.history.rows import PartRow, TypeRow

UNPLANNED = ("broken", "lost")
"""Ends of parts that no forecast sees coming."""


@dataclass(frozen=True)
class Terms:
    """What is known about buying a type, or making it. Lengths in mm; `lead_days` is None where nobody has
    said how long it takes, and so on."""

    unit_cost: float | None = None
    lead_days: float | None = None
    min_spares: int | None = None
    supplier: str = ""
    bar_mm: float | None = None
    kerf_mm: float = 0.0

    def bar_for(self, count: int) -> float | None:
        """The length of bar for so many: pieces times what one takes and one cut; None where it isn't made
        from bar."""
        return None if self.bar_mm is None else count * (self.bar_mm + self.kerf_mm)


def terms_of_types() -> dict[int, Terms]:
    """By the primary key of the type."""
    names = ("unit_cost", "lead_time_days", "min_spares", "supplier", "bar_mm", "kerf_mm")
    return {
        pk: Terms(
            None if cost is None else float(cost),
            None if lead is None else float(lead),
            spares,
            supplier,
            None if bar is None else float(bar),
            float(kerf or 0),
        )
        for pk, cost, lead, spares, supplier, bar, kerf in PartType.objects.values_list("pk", *names)
    }


def orders_under_way() -> dict[int, list[PartOrder]]:
    """By type, the orders that have not arrived, in order of time."""
    found: dict[int, list[PartOrder]] = defaultdict(list)
    for order in PartOrder.objects.under_way().select_related("part_type"):
        found[order.part_type_id].append(order)
    return dict(found)


@dataclass(frozen=True)
class Stock:
    """The spares of one type. `edges_left` counts their edges that were never used; `proposed` is the
    number of spares to keep by what was needed so far, None where that can't be said. Only as many as an
    owner has set are ordered: a proposal is looked at first."""

    type: TypeRow
    terms: Terms
    shelf: tuple[PartRow, ...]
    edges_left: int
    on_order: int
    due_on: date | None
    proposed: int | None

    @property
    def keep(self) -> int:
        return self.terms.min_spares or 0

    @property
    def beyond_those_kept(self) -> int:
        """Spares on the shelf and on order beyond those to keep; negative where some of these lack."""
        return len(self.shelf) + self.on_order - self.keep


def stocks(
    record: Record,
    edges: Edges,
    terms: Mapping[int, Terms],
    under_way: Mapping[int, Sequence[PartOrder]],
    worn: Collection[int],
) -> dict[int, Stock]:
    """The stock of each type, by its primary key. worn: parts that are due to be replaced: on the shelf they
    are no spares."""
    parts: dict[int, list[PartRow]] = defaultdict(list)
    for part in record.parts.values():
        parts[part.type_id].append(part)
    made = {}
    for type_ in record.types.values():
        shelf = tuple(
            part
            for part in parts[type_.id]
            if part.retired_on is None and part.id not in worn and not _fitted(record, part)
        )
        own, orders = terms.get(type_.id, Terms()), under_way.get(type_.id, ())
        due = [order.expected_on for order in orders if order.expected_on is not None]
        made[type_.id] = Stock(
            type_,
            own,
            shelf,
            sum(edges.unused(part) for part in shelf),
            sum(order.count for order in orders),
            min(due, default=None),
            _proposed(record, type_, parts[type_.id], own.lead_days),
        )
    return made


def _fitted(record: Record, part: PartRow) -> bool:
    rows = record.fittings_of.get(part.id)
    return rows is not None and rows[-1].removed is None


def is_forecast(type_: TypeRow) -> bool:
    """Whether something tells how long such parts last: a limit, or an expected life."""
    lives = (type_.expected_life_kg, type_.expected_life_h)
    return any(life is not None for life in lives) or type_.limit_mm is not None


def _proposed(
    record: Record, type_: TypeRow, parts: Sequence[PartRow], lead_days: float | None
) -> int | None:
    """The spares for what comes by chance during a lead time (`calc.policy.spares`): breakage and loss; for a
    type of which nothing tells how long it lasts, every end that came."""
    ends = UNPLANNED if is_forecast(type_) else ("worn", *UNPLANNED)
    needed = sum(part.retired_on is not None and part.retired_because in ends for part in parts)
    begun = [rows[0].fitted for part in parts if (rows := record.fittings_of.get(part.id))]
    days = (record.end - min(begun)) / 86400 if begun else 0.0
    return policy.spares_to_keep(needed=needed, days=days, lead_days=lead_days).keep
