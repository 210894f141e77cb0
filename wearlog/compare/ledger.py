"""Recorded costs: the mill's prices by day, the bills of its work, the prices of its parts.

What is not recorded is None, never 0: code that adds it up must report what is missing.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import overload

import numpy as np

from wearlog.equipment.models import PartType
from wearlog.history.bills import NO_BILL, Bill, bills
from wearlog.history.rows import Floats
from wearlog.runs.models import Price

OIL, CAKE, LABOUR, ENERGY, STAND_STILL = "oil_kg", "cake_kg", "labour_h", "energy_kwh", "stand_still_h"
MINDING, SEED = "minding_h", "seed_kg %s"


@dataclass(frozen=True)
class Prices:
    """For each item the days on which a price begins, in order, and these prices."""

    rows: Mapping[str, tuple[tuple[date, ...], tuple[float, ...]]]

    def on(self, item: str, day: date) -> float | None:
        """The price valid on a day; None before the first one."""
        days, prices = self.rows.get(item, ((), ()))
        place = bisect_right(days, day)
        return prices[place - 1] if place else None

    def __bool__(self) -> bool:
        return bool(self.rows)


def prices() -> Prices:
    found: dict[str, list[tuple[date, float]]] = defaultdict(list)
    for item, from_on, price in Price.objects.order_by("item", "from_on").values_list(
        "item", "from_on", "price"
    ):
        found[item].append((from_on, float(price)))
    return Prices(
        {item: (tuple(a for a, _ in rows), tuple(b for _, b in rows)) for item, rows in found.items()}
    )


@overload
def oil_lost_in_cake(oil: Floats, cake: Floats) -> Floats: ...
@overload
def oil_lost_in_cake(oil: float | None, cake: float | None) -> float | None: ...
def oil_lost_in_cake(oil: Floats | float | None, cake: Floats | float | None) -> Floats | float | None:
    """What a kilogram of oil that stays in the cake costs, from the prices of a kilogram of oil and of cake:
    it is sold as cake, so only the difference is lost. Without a price of cake it is the oil's alone; None
    (NaN in arrays) without a price of oil. Below 0 where cake sells dearer than oil."""
    if isinstance(oil, np.ndarray):
        return np.asarray(oil - np.nan_to_num(np.asarray(cake)))
    return None if oil is None else oil - (cake or 0.0)


@dataclass(frozen=True)
class Ledger:
    prices: Prices
    bills: Mapping[int, Bill]
    """By the primary key of the service, without services for which nothing is recorded."""
    unit_cost: Mapping[int, float]
    """By the primary key of the part type, like `lead_days`."""
    lead_days: Mapping[int, float]
    min_spares: Mapping[int, int]
    """The spares to keep that an owner has set."""

    def bill(self, service_id: int) -> Bill:
        return self.bills.get(service_id, NO_BILL)


def ledger() -> Ledger:
    """All recorded prices and costs."""
    types = list(PartType.objects.values_list("pk", "unit_cost", "lead_time_days", "min_spares"))
    return Ledger(
        prices(),
        bills(),
        {pk: float(cost) for pk, cost, _lead, _kept in types if cost is not None},
        {pk: float(lead) for pk, _cost, lead, _kept in types if lead is not None},
        {pk: kept for pk, _cost, _lead, kept in types if kept is not None},
    )


def mean(values: Iterable[float]) -> float | None:
    """The mean, or None without values."""
    given = list(values)
    return sum(given) / len(given) if given else None
