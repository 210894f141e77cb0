"""What to order, in order of the days by which to order it: one list for parts of every type.

Three things call for an order. Spares that are to be kept and lack are ordered at once. A part on a press
that wears out is ordered a lead time before the day by which it is needed in the stated share of cases,
unless a spare beyond those kept serves it; the earliest needs get the spares. Dies of a bore with a plan
ahead are counted for the season together (`compare.orders`), since they wander from press to press.

What is on order counts as a spare. Needs whose days to order lie within `TOGETHER` of each other are one
line: one order serves them.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from wearlog.calc import policy
from wearlog.compare.ledger import Ledger
from wearlog.compare.orders import Aims, NoOrder, Order, orders
from wearlog.compare.shopping.needs import Need, needs
from wearlog.compare.shopping.stock import Stock, is_forecast, orders_under_way, stocks, terms_of_types
from wearlog.equipment.models import PartOrder
from wearlog.forecasts.edges import Edges
from wearlog.forecasts.items import DueItem
from wearlog.history.record import Record
from wearlog.history.rows import TypeRow
from wearlog.people.models import Mill
from wearlog.service.models import Action

AHEAD = timedelta(days=366)
"""How far ahead an order may be due to be on the list."""
TOGETHER = timedelta(days=30)
"""Orders of one type within so many days are one (our assumption)."""


class Reason(StrEnum):
    SPARES = "spares"
    """Fewer spares than are to be kept."""
    WEAR = "wear"
    SEASON = "season"
    """The dies at hand do not last for the planned seed."""


class Untold(StrEnum):
    """Why nothing is said of a type."""

    NO_LIFE = "no life"
    """Neither a limit nor an expected life tells how long it lasts."""
    NO_DAY = "no day"
    """Neither plan nor pace gives a day, or the forecast has none yet."""


@dataclass(frozen=True)
class ToOrder:
    """One order to be made. `by` is the last day for it, None without a lead time; `needed_on` the day by
    which it is needed in the stated share of cases, None for spares."""

    type: TypeRow
    stock: Stock
    count: int
    by: date | None
    needed_on: date | None
    reason: Reason
    needs: tuple[Need, ...] = ()
    """The parts that are likely to be worn first, as many as are ordered."""
    among: int = 0
    """How many such parts are on presses: any of them may be the first."""
    season: Order | None = None

    @property
    def bar_mm(self) -> float | None:
        return self.stock.terms.bar_for(self.count)

    @property
    def cost(self) -> float | None:
        unit = self.stock.terms.unit_cost
        return None if unit is None else unit * self.count

    def is_late(self, today: date) -> bool:
        return self.by is not None and self.by < today


@dataclass(frozen=True)
class ShoppingList:
    """`lines` by day, those without one last; `under_way` what was ordered and has not come; `untold` the
    types in use of which nothing is said, with why."""

    lines: tuple[ToOrder, ...]
    under_way: tuple[PartOrder, ...]
    stocks: dict[int, Stock]
    untold: tuple[tuple[TypeRow, Untold], ...]
    late_share: float


def aims_of(mill: Mill, under_way: dict[int, list[PartOrder]]) -> Aims:
    """What the mill's owner has set, else the usual shares."""
    late, enough = mill.late_orders_pct, mill.enough_dies_pct
    return Aims(
        policy.LATE_SHARE if late is None else float(late) / 100,
        policy.ENOUGH if enough is None else float(enough) / 100,
        {type_id: sum(order.count for order in orders) for type_id, orders in under_way.items()},
    )


def shopping_list(
    record: Record, edges: Edges, ledger: Ledger, items: Iterable[DueItem], mill: Mill
) -> ShoppingList:
    """The whole list as of the record's day. items: the due items of every press."""
    terms, under_way = terms_of_types(), orders_under_way()
    aims = aims_of(mill, under_way)
    items = list(items)
    worn = {
        item.part_id
        for item in items
        if item.part_id is not None and item.action == Action.REPLACE and item.state in ("overdue", "due")
    }
    stock = stocks(record, edges, terms, under_way, worn)
    by_type: dict[int, list[Need]] = defaultdict(list)
    for need in needs(record, items):
        by_type[need.part.type_id].append(need)
    season = {one.type.id: one for one in orders(record, edges, ledger, aims)}
    lines: list[ToOrder] = []
    untold = []
    for type_ in record.types.values():
        own, dies = stock[type_.id], season.get(type_.id)
        if dies is not None and dies.why is None:
            lines += _for_season(own, dies, by_type.get(type_.id, []))
            continue
        wanted = by_type.get(type_.id, [])
        lines += _lines(record.as_of, own, wanted, aims.late_share)
        if not wanted and _in_use(record, type_):
            no_life = not is_forecast(type_) or (dies is not None and dies.why is NoOrder.NO_LIFE)
            untold.append((type_, Untold.NO_LIFE if no_life else Untold.NO_DAY))
    waiting = sorted((each for orders_ in under_way.values() for each in orders_), key=lambda o: o.ordered_on)
    return ShoppingList(
        tuple(sorted(lines, key=lambda one: (one.by or date.max, one.needed_on or date.max, one.type.code))),
        tuple(waiting),
        stock,
        tuple(sorted(untold, key=lambda pair: pair[0].code)),
        aims.late_share,
    )


def _in_use(record: Record, type_: TypeRow) -> bool:
    return any(part.type_id == type_.id and part.retired_on is None for part in record.parts.values())


def _for_season(stock: Stock, dies: Order, wanted: Iterable[Need]) -> list[ToOrder]:
    if not dies.make:
        return []
    first = tuple(_in_order(wanted)[: dies.make])
    day, needed = dies.order_by, dies.needed_on
    return [ToOrder(stock.type, stock, dies.make, day, needed, Reason.SEASON, first, season=dies)]


def _in_order(wanted: Iterable[Need]) -> list[Need]:
    """Those of which an early day is known, by that day."""
    known = [need for need in wanted if need.days.early is not None]
    return sorted(known, key=lambda need: (need.days.early or date.max, need.part.code))


def _lines(today: date, stock: Stock, wanted: Sequence[Need], late_share: float) -> list[ToOrder]:
    """The lines of a type: first the spares that lack, then what wears out beyond the spares at hand."""
    lines = []
    at_hand = max(0, stock.beyond_those_kept)
    lead = stock.terms.lead_days
    if stock.beyond_those_kept < 0:
        lines.append(ToOrder(stock.type, stock, -stock.beyond_those_kept, today, None, Reason.SPARES))
    needs = _in_order(wanted)
    days = policy.days_needed(
        [need.days for need in needs],
        at_hand=at_hand,
        until=today + AHEAD + timedelta(days=lead or 0),
        late_share=late_share,
        since=today,
    )
    group: list[date] = []
    for place, needed in enumerate(days):
        group.append(needed)
        following = days[place + 1] if place + 1 < len(days) else None
        if following is None or following - group[0] > TOGETHER:
            ordering = policy.order_by(policy.Needed(group[0]), lead_days=lead)
            begins = at_hand + place + 1 - len(group)
            who = tuple(needs[begins : at_hand + place + 1])
            lines.append(
                ToOrder(stock.type, stock, len(group), ordering.on, group[0], Reason.WEAR, who, len(needs))
            )
            group = []
    return lines
