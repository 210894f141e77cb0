"""The list of what to order, from stock, lead times and the forecast's days, by drawing days of need.

The forecast says of a part on which days it is needed with chances of 10, 50 and 90 %. Between them a need is
drawn as normal on either side of the middle, and before the early day never before today. The j-th part
beyond those at hand is needed on the tenth percentile of the day on which so many are.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt
from scipy import stats

from tests.journeys.rows import Mill, Row, number, number_or_none, rows

DRAWS = 100_000
LATE = 0.10
Floats = npt.NDArray[np.float64]
Days = tuple[date, date | None, date | None]


def shelf(mill: Mill, type_: Row, worn: Collection[object]) -> list[Row]:
    """The spares of a type: neither retired, nor fitted, nor worn."""
    return [
        part
        for part in mill.parts.values()
        if part["part_type_id"] == type_["id"]
        and part["retired_on"] is None
        and part["id"] not in worn
        and not any(fitting["removed_at"] is None for fitting in mill.fittings[part["id"]])
    ]


def on_order(type_: Row) -> int:
    found = rows(
        "SELECT SUM(count) AS many FROM equipment_partorder WHERE voided_at IS NULL AND arrived_on IS NULL "
        f"AND part_type_id = {type_['id']}"
    )
    return int(number(found[0]["many"] or 0))


def beyond_those_kept(mill: Mill, type_: Row, worn: Collection[object]) -> int:
    return len(shelf(mill, type_, worn)) + on_order(type_) - int(number_or_none(type_["min_spares"]) or 0)


def days_of_need(mill: Mill, type_: Row, needs: Sequence[Days], at_hand: int) -> list[date]:
    """The days of the first part beyond those at hand, the second and so on, as far as the list reaches."""
    if len(needs) <= at_hand:
        return []
    dice = np.random.default_rng(3)
    drawn = np.sort(np.array([_drawn(dice, mill.today, *days) for days in needs]), axis=0)
    until = 366 + (number_or_none(type_["lead_time_days"]) or 0.0)
    days = [float(np.quantile(drawn[place], LATE)) for place in range(at_hand, len(needs))]
    return [mill.today + timedelta(days=math.ceil(day)) for day in days if day <= until]


def _drawn(
    dice: np.random.Generator, today: date, early: date, mid: date | None, late: date | None
) -> object:
    """Days after today."""
    first = max(0, (early - today).days)
    if mid is None:
        return np.full(DRAWS, float(first))
    middle, tenth = (mid - today).days, float(stats.norm.ppf(0.9))
    before = max((mid - early).days, 0.5) / tenth
    after = np.inf if late is None else max((late - mid).days, 0.5) / tenth
    chance = dice.random(DRAWS)
    begun = float(stats.norm.cdf(-middle / before))
    if first > 0 and begun < 0.1:
        chance = np.where(chance < 0.1, begun + chance / 0.1 * (0.1 - begun), chance)
    away = stats.norm.ppf(chance)
    late_side = np.full(DRAWS, np.inf) if after == np.inf else away * after
    return np.maximum(0.0, middle + np.where(away < 0, away * before, late_side))
