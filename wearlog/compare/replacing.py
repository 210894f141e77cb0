"""Planned replacement or failure, mending or buying: which is cheaper, by the mill's own records
(`calc.policy`).

A replacement costs the part, the invoice and the mill's own labour, and the press's stand-still. Costs come
from the mill's own work: planned ones from replacements of parts that had not failed, the others from work on
parts that had. Work without a recorded stand-still is left out. Where a figure is missing or there are too
few failures, no advice is given, with a reason of type `Withheld`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from wearlog.calc import policy
from wearlog.calc.life import UNKNOWN, Limits
from wearlog.compare.ledger import LABOUR, STAND_STILL, Ledger, mean
from wearlog.compare.reliability import Ended, TypeLives
from wearlog.history.record import Record
from wearlog.history.rows import ServiceRow
from wearlog.service.work import RENEWS

FAILURE_WORK = ("replace", "repair")


class Withheld(StrEnum):
    """Why there is no advice."""

    FEW_FAILURES = "few failures"
    NO_PART_PRICE = "no part price"
    NO_STAND_STILL_PRICE = "no stand-still price"
    NO_LABOUR_PRICE = "no labour price"
    NO_PLANNED_WORK = "no planned work"
    NO_FAILURE_WORK = "no failure work"
    BY_CHANCE = "by chance"
    MAY_BE_CHANCE = "may be chance"
    NO_DEARER = "no dearer"
    SAVES_LITTLE = "saves little"
    BEYOND = "beyond any age"
    LIFE_UNKNOWN = "life unknown"
    ABOUT_THE_SAME = "about the same"
    NO_MEND_PRICE = "no price of mending"


@dataclass(frozen=True)
class PlannedReplacement:
    """The age at which a planned replacement costs least, in the unit of `lives`; None where no advice is
    given, and `why` says why. Costs are those of one replacement; None where unknown."""

    lives: TypeLives
    best_age: float | None
    saving: float
    planned_cost: float | None
    failure_cost: float | None
    why: Withheld | None


def planned_replacement(record: Record, ledger: Ledger, lives: TypeLives) -> PlannedReplacement:
    """Whether to change parts of a type before they fail."""
    fit = lives.life

    def no(why: Withheld, planned: float | None = None, failure: float | None = None) -> PlannedReplacement:
        return PlannedReplacement(lives, None, 0.0, planned, failure, why)

    if fit.basis != "mle" or fit.shape is None or fit.scale is None:
        return no(Withheld.FEW_FAILURES)
    price = ledger.unit_cost.get(lives.type.id)
    if price is None:
        return no(Withheld.NO_PART_PRICE)
    if ledger.prices.on(STAND_STILL, record.as_of) is None:
        return no(Withheld.NO_STAND_STILL_PRICE)
    failed = {one.part.id for one in lives.lived if one.ended is Ended.FAILED}
    planned_work, failure_work = [], []
    for service in record.services:
        if service.part_id is None or record.parts[service.part_id].type_id != lives.type.id:
            continue
        if service.part_id in failed and service.action in FAILURE_WORK:
            failure_work.append(service)
        elif service.part_id not in failed and service.action == "replace":
            planned_work.append(service)
    costs = []
    for work, missing in (
        (planned_work, Withheld.NO_PLANNED_WORK),
        (failure_work, Withheld.NO_FAILURE_WORK),
    ):
        cost = cost_of(record, ledger, work)
        if isinstance(cost, Withheld):
            return no(cost)
        if cost is None:
            return no(missing)
        costs.append(price + cost)
    planned, failure = costs
    if planned <= 0 or failure <= planned:
        return no(Withheld.NO_DEARER, planned, failure)
    found = policy.replacement(
        shape=fit.shape,
        scale=fit.scale,
        planned_cost=planned,
        failure_cost=failure,
        shape_low=lives.least_shape or 0.0,
    )
    if found.best_age is not None:
        return PlannedReplacement(lives, found.best_age, found.saving, planned, failure, None)
    if fit.shape <= 1:
        return no(Withheld.BY_CHANCE, planned, failure)
    if (lives.least_shape or 0.0) <= 1:
        return no(Withheld.MAY_BE_CHANCE, planned, failure)
    little = found.cost_rate < found.run_to_failure_cost
    return no(Withheld.SAVES_LITTLE if little else Withheld.BEYOND, planned, failure)


def cost_of(record: Record, ledger: Ledger, work: Iterable[ServiceRow]) -> float | Withheld | None:
    """The mean cost of this work at today's prices, stand-still included; None where none has the figures.
    Withheld where labour was recorded but has no price."""
    labour = ledger.prices.on(LABOUR, record.as_of)
    stand_still = ledger.prices.on(STAND_STILL, record.as_of)
    costs = []
    for service in work:
        bill = ledger.bill(service.id)
        if bill.downtime_h is None or stand_still is None:
            continue
        if bill.labour_h and labour is None:
            return Withheld.NO_LABOUR_PRICE
        own = (bill.labour_h or 0.0) * (labour or 0.0)
        costs.append((bill.cost or 0.0) + own + bill.downtime_h * stand_still)
    return mean(costs)


@dataclass(frozen=True)
class Option:
    """Mending or buying: its price, and what it costs per tonne that such a part lasts. `lives` is the number
    of finished lives behind it; 0 if it is the part type's expected life, or unknown."""

    price: float | None
    lives: int
    cost_per_t: float | None


@dataclass(frozen=True)
class Mending:
    """`better` is "mend" or "buy", or None where `why` says why there is no advice. `difference` holds the
    cost per tonne of mending less that of buying, at 95 %."""

    lives: TypeLives
    mend: Option
    buy: Option
    better: str | None
    why: Withheld | None
    difference: Limits = UNKNOWN


def mend_or_buy(record: Record, ledger: Ledger, lives: TypeLives) -> Mending | None:
    """The comparison for a type of which a part was rebuilt at least once; else None. Lives that go on, or
    that ended otherwise, count as longer than they are. The stand-still is left out, since mending and buying
    need the same one to change the part."""
    work = [
        service
        for service in record.services
        if service.action in RENEWS
        and service.part_id is not None
        and record.parts[service.part_id].type_id == lives.type.id
    ]
    if not work:
        return None
    labour = ledger.prices.on(LABOUR, record.as_of)
    bills = []
    unpriced = False
    for service in work:
        bill = ledger.bill(service.id)
        if bill.labour_h and labour is None:
            unpriced = True
        elif bill.cost is not None or bill.labour_h:
            bills.append((bill.cost or 0.0) + (bill.labour_h or 0.0) * (labour or 0.0))
    price, bill_mean = ledger.unit_cost.get(lives.type.id), mean(bills)
    expected = lives.type.expected_life_kg
    new_t = None if expected is None else expected * lives.type.edges / 1000
    mend, buy = _way("mend", bill_mean, lives), _way("buy", price, lives, expected_t=new_t)
    found = policy.mend_or_buy(mend, buy)
    options = [
        Option(paid, sum(way.ended), cost if paid is not None else None)
        for paid, way, cost in zip((bill_mean, price), (mend, buy), found.cost_per_tonne, strict=True)
    ]
    why = None
    if price is None:
        why = Withheld.NO_PART_PRICE
    elif bill_mean is None:
        why = Withheld.NO_LABOUR_PRICE if unpriced else Withheld.NO_MEND_PRICE
    elif None in found.cost_per_tonne:
        why = Withheld.LIFE_UNKNOWN
    elif found.better is None:
        why = Withheld.ABOUT_THE_SAME
    sure = why is None or why is Withheld.ABOUT_THE_SAME
    better, difference = (found.better, found.difference) if sure else (None, UNKNOWN)
    return Mending(lives, options[0], options[1], better, why, difference)


def _way(name: str, price: float | None, lives: TypeLives, expected_t: float | None = None) -> policy.Way:
    """The way of new parts ("buy"), or of rebuilt ones, with their lives: finished, or longer than that."""
    mine = [one for one in lives.lived if (one.cycle > 0) == (name == "mend") and one.seed_kg > 0]
    ends = (Ended.FAILED, Ended.AT_LIMIT, Ended.REBUILT)
    return policy.Way(
        name,
        price or 0.0,
        tonnes=[one.seed_kg / 1000 for one in mine],
        ended=[one.ended in ends for one in mine],
        expected_tonnes=expected_t,
    )
