"""What the chosen runs cost and earned: each run, and all together as the pages of costs say it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from wearlog.compare.costs.money import Money, basket_of, money_of
from wearlog.compare.queries import known_costs
from wearlog.compare.records.chosen import Chosen, Floats
from wearlog.compare.runtable import load
from wearlog.people.models import Mill
from wearlog.runs.seasons import SEASON_START, parse_start, season_years


@dataclass(frozen=True, eq=False)
class MoneyOfRuns:
    """whole: of all runs together, by the kinds of cost that all presses of their seasons have on record.
    cost, income: of each run, in the order of the choice, shape (n,), in the mill's currency; of a run that
    cleaned the press the income is 0, and NaN is what is not known."""

    whole: Money
    cost: Floats
    income: Floats
    currency: str

    @property
    def left(self) -> float | None:
        """What they leave over in all."""
        per_t = self.whole.left_per_t
        return None if per_t is None else per_t * self.whole.tonnes


def money_of_runs(chosen: Chosen, *, on: date) -> MoneyOfRuns | None:
    """None where nothing about money is recorded, nothing was chosen, or runs count in part only: what a part
    of a run costs is not kept."""
    if not chosen.id.size or bool((chosen.share < 1).any()):
        return None
    table, mill, start = load(), Mill.current(), parse_start(SEASON_START)
    costs = known_costs(table, on=on, start=start)
    if costs is None:
        return None
    own = np.flatnonzero(np.isin(table.id, chosen.id))
    if own.size != chosen.id.size:  # one that goes on or has no seed
        return None
    own = own[np.argsort(table.id[own])][np.argsort(np.argsort(chosen.id))]
    years = season_years(table.started, start, mill.zone)
    basket = basket_of(table, costs, np.flatnonzero(np.isin(years, np.unique(years[own]))))
    whole = money_of(table, costs, own, np.zeros(own.size, dtype=np.int64), 1, basket)[0]
    each = [column[own] for kind, column in costs.costs.items() if kind in basket.kinds]
    income = costs.oil[own] + np.nan_to_num(costs.cake[own])
    return MoneyOfRuns(
        whole=whole,
        cost=np.sum(each, axis=0) if each else np.full(own.size, np.nan),
        income=np.where(table.purge[own], 0.0, income),
        currency=mill.currency,
    )
