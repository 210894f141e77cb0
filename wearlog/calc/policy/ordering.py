"""The day by which a part must be ordered, so that it comes too late in at most a stated share of cases.

The forecast gives the days by which the part is needed with chances of 10, 50 and 90 %. A part that is
ordered on a day arrives a lead time and a margin later; it is too late where it was needed before. So

    order by = (day by which it is needed with the chance `late_share`) - lead time - margin.

Between and beyond the three days the need is taken as normal on each side of its middle, with the spread of
that side (a two-piece normal distribution): day(p) = mid - (mid - early) z(p) / z(10 %) before the middle,
and with the late day after it. At 10 % that is the early day itself. The chances are those of the forecast:
how well it keeps them is on its track record, not here.

Where several parts of one type are on presses, a spare serves whichever wears out first, so that it is not
each part's early day that counts (adding these up orders far too many), but the number N(t) that are needed
by a day. With s parts at hand, the j-th further one is needed with the chance of late orders on

    the first day t with P(N(t) >= s + j) >= late_share,

N(t) the sum of independent needs, each with its own chance by its three days (Poisson-binomial distribution,
summed exactly). A part that is still at work today was not needed before. The chance of each therefore rises
from nothing today to 10 % on its early day, in proportion to that of the two-piece normal between the two;
one whose early day is over is needed from today on with the chance that it has reached.

Days as dates, lead time and margin in days; fractions of a day make the order earlier. Source: the newsvendor
quantile of need over the lead time (Arrow, Harris and Marschak 1951, from memory); the two-piece normal is
this module's own choice.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np
from scipy import special

from wearlog.calc import quantiles

Chances = np.ndarray[tuple[int], np.dtype[np.float64]]
Flags = np.ndarray[tuple[int], np.dtype[np.bool_]]

LATE_SHARE: Final = 0.10
"""The share of orders that may come too late, until an owner chooses another."""
FORECAST_SHARE: Final = 0.10
"""The chance of the forecast's early day, and that of being needed only after its late day."""


FAR_TAIL: Final = 3
"""So many times the distance from the early day to the middle before the early day nothing is needed: five
standard deviations before the middle."""


@dataclass(frozen=True)
class Needed:
    """The days by which a part is needed with chances of 10, 50 and 90 %; None where the forecast knows
    none."""

    early: date | None
    mid: date | None = None
    late: date | None = None


@dataclass(frozen=True)
class OrderDay:
    """The last day to order; None where that can't be said, and `reason` says why. `needed` is the day by
    which the part is needed with the chance that was asked for."""

    on: date | None
    needed: date | None
    reason: str


def order_by(
    needed: Needed, *, lead_days: float | None, margin_days: float = 0.0, late_share: float = LATE_SHARE
) -> OrderDay:
    """The last day to order. Without a middle day only the early one is known, which serves shares of 10 %
    and more (it is then on the safe side). Raises ValueError for a negative lead time or margin, or a share
    that is not between 0 and 1."""
    if not 0 < late_share < 1:
        raise ValueError("The share of late orders must lie between 0 and 1.")
    if (lead_days is not None and not lead_days >= 0) or not margin_days >= 0:
        raise ValueError("Lead time and margin must not be negative.")
    day = _needed_with(needed, late_share)
    if day is None:
        return OrderDay(None, None, "nothing is known of when it will be needed")
    if lead_days is None:
        return OrderDay(None, day, "the lead time is not known")
    return OrderDay(day - timedelta(days=math.ceil(lead_days + margin_days)), day, "")


def _needed_with(needed: Needed, chance: float) -> date | None:
    early, mid, late = needed.early, needed.mid, needed.late
    if early is None:
        return None
    if mid is None or chance == FORECAST_SHARE:
        return early if chance >= FORECAST_SHARE else None
    z = quantiles.normal(chance) / quantiles.normal(1 - FORECAST_SHARE)  # -1 at 10 %, 1 at 90 %
    if z <= 0:
        return mid + timedelta(days=math.floor(z * (mid - early).days))
    return mid + timedelta(days=math.floor(z * (late - mid).days)) if late is not None else mid


def days_needed(
    needs: Sequence[Needed],
    *,
    at_hand: int,
    until: date,
    late_share: float = LATE_SHARE,
    since: date | None = None,
) -> list[date]:
    """The days by which the first part beyond those at hand, the second and so on are needed with the chance
    `late_share`, in order, up to a day. Needs without an early day are left out; one without a middle day
    counts as certain from its early day on. since: the day on which all of them are still at work, so that
    none is needed earlier. Raises ValueError for fewer than no part at hand, or a share that is not between 0
    and 1."""
    if not 0 < late_share < 1:
        raise ValueError("The share of late orders must lie between 0 and 1.")
    if at_hand < 0:
        raise ValueError("There can't be fewer than no part at hand.")
    known = [(need.early, need.mid, need.late) for need in needs if need.early is not None]
    if len(known) <= at_hand:
        return []
    first = min(
        early.toordinal() - (0 if mid is None else FAR_TAIL * max((mid - early).days, 1)) - 1
        for early, mid, _late in known
    )
    first = first if since is None else max(first, since.toordinal())
    days = np.arange(first, max(first + 1, until.toordinal()) + 1, dtype=np.float64)
    many = np.zeros((len(known) + 1, days.size))
    many[0] = 1.0
    for early, mid, late in known:
        chance = _chance_by(days, early, mid, late)
        if since is not None:
            chance = _still_at_work(chance, days < early.toordinal())
        many[1:] = many[1:] * (1 - chance) + many[:-1] * chance
        many[0] *= 1 - chance
    reached = np.cumsum(many[::-1], axis=0)[::-1]
    found = []
    for count in range(at_hand + 1, len(known) + 1):
        place = np.flatnonzero(reached[count] >= late_share * (1 - 1e-9))
        if not place.size:
            break
        found.append(date.fromordinal(int(days[place[0]])))
    return found


def _chance_by(days: Chances, early: date, mid: date | None, late: date | None) -> Chances:
    """The chance that a part is needed by each of these days: the two-piece normal of the three days."""
    start = float(early.toordinal())
    if mid is None:
        return np.where(days >= start, 1.0, 0.0)
    middle = float(mid.toordinal())
    tenth = quantiles.normal(1 - FORECAST_SHARE)
    before = max(middle - start, 0.5) / tenth
    after = math.inf if late is None else max(late.toordinal() - middle, 0.5) / tenth
    away = days - middle
    chance: Chances = special.ndtr(np.where(away < 0, away / before, away / after))
    return chance


def _still_at_work(
    chance: Chances,
    before_early: Flags,
) -> Chances:
    """The chance by each day of a part that is at work on the first of them: nothing then, as it was from the
    early day on."""
    if not before_early[0] or chance[0] >= FORECAST_SHARE:
        return chance
    risen = FORECAST_SHARE * (chance - chance[0]) / (FORECAST_SHARE - chance[0])
    return np.where(before_early, risen, chance)
