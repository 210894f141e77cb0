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
from wearlog.compare.ledger import LABOUR, STAND_STILL, Ledger, mean
from wearlog.compare.reliability import Ended, PartLife, TypeLives
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
    """Mending or buying: its price, and the seed that such a part is expected to take. `lives` is the number
    of finished lives behind `expected_kg`; 0 if it is the part type's expected life, or unknown."""

    price: float | None
    expected_kg: float | None
    lives: int
    cost_per_t: float | None


@dataclass(frozen=True)
class Mending:
    """`better` is "mend" or "buy", or None where `why` says why there is no advice."""

    lives: TypeLives
    mend: Option
    buy: Option
    better: str | None
    why: Withheld | None


def mend_or_buy(record: Record, ledger: Ledger, lives: TypeLives) -> Mending | None:
    """The comparison for a type of which a part was rebuilt at least once; else None. The stand-still is left
    out, since mending and buying need the same one to change the part."""
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
    price = ledger.unit_cost.get(lives.type.id)
    mended, new = _finished(lives, mended=True), _finished(lives, mended=False)
    expected = mean(one.seed_kg for one in new)
    if expected is None and lives.type.expected_life_kg is not None:
        expected = lives.type.expected_life_kg * lives.type.edges
    mend = _way(mean(bills), mean(one.seed_kg for one in mended), len(mended))
    buy = _way(price, expected, len(new))
    why = None
    if price is None:
        why = Withheld.NO_PART_PRICE
    elif mend.price is None:
        why = Withheld.NO_LABOUR_PRICE if unpriced else Withheld.NO_MEND_PRICE
    elif not mend.expected_kg or not buy.expected_kg:
        why = Withheld.LIFE_UNKNOWN
    if why is not None or mend.price is None or buy.price is None:
        return Mending(lives, mend, buy, None, why)
    found = policy.mend_or_buy(
        policy.Choice("mend", mend.price, 0.0, (mend.expected_kg or 0.0) / 1000),
        policy.Choice("buy", buy.price, 0.0, (buy.expected_kg or 0.0) / 1000),
    )
    return Mending(lives, mend, buy, found.better, None if found.better else Withheld.ABOUT_THE_SAME)


def _finished(lives: TypeLives, *, mended: bool) -> list[PartLife]:
    """Finished lives, either of new parts or after a rebuild (`mended`)."""
    ends = (Ended.FAILED, Ended.AT_LIMIT, Ended.REBUILT)
    return [one for one in lives.lived if one.ended in ends and (one.cycle > 0) == mended]


def _way(price: float | None, expected_kg: float | None, lives: int) -> Option:
    per_t = price / (expected_kg / 1000) if price is not None and expected_kg else None
    return Option(price, expected_kg, lives, per_t)
