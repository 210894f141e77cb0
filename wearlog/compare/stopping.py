"""Whether a worn screw still pays: the loss per tonne now, compared with the average cost per tonne so far.

Both refer to the crop that was pressed last, and to the runs since the part was fitted or rebuilt: the first
third of these runs is "new", the last third "now". Oil per kilogram of seed comes from analyses of the oil
left in the cake, else from the oil that was weighed; hours per tonne come from the runs. The loss so far is
taken as half of the present loss rate, as if it had grown evenly from 0.

The present loss is uncertain because runs differ. Advice is given only if the 90 % range of the loss lies
wholly above or below the average.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from wearlog.calc import policy
from wearlog.calc.life import Limits
from wearlog.compare.ages import ages_of
from wearlog.compare.ledger import LABOUR, OIL, STAND_STILL, Ledger
from wearlog.history.record import Record
from wearlog.history.rows import WORKED_OUT, Floats, Ints, PartRow, ServiceRow
from wearlog.history.yields import ANALYSED
from wearlog.service.work import RENEWS

WORN_KINDS = ("screw",)
"""Only a screw's wear shows in oil and throughput: a die is changed for the next crop before it does."""
FEWEST_ANALYSED, FEWEST_WEIGHED, MOST = 3, 8, 30
Z = 1.645


class NoStop(StrEnum):
    """Why there is no advice on whether to stop."""

    NO_PART_PRICE = "no part price"
    NO_OIL_PRICE = "no oil price"
    NO_LABOUR_PRICE = "no labour price"
    NO_OIL_FIGURES = "no oil figures"
    NOT_SEEN_YOUNG = "not seen young"
    UNSURE = "unsure"


@dataclass(frozen=True)
class Stop:
    """`stop` is None where there is no advice, and `why` says why. Money is per tonne of seed; oil is in kg
    per tonne, positive where less oil is extracted than when the part was new. `left_out` names missing
    prices whose loss is not included."""

    part: PartRow
    press_id: int
    seed_kg: float
    crop: str = ""
    analysed: bool = False
    lost_oil_kg_per_t: float | None = None
    extra_h_per_t: float | None = None
    loss_now: float | None = None
    loss_range: Limits | None = None
    average_so_far: float | None = None
    left_out: tuple[str, ...] = ()
    stop: bool | None = None
    why: NoStop | None = None


@dataclass(frozen=True, eq=False)
class PressedRuns:
    """The runs of one press that had ended by the record's day, in order; shape (n,), NaN where unknown."""

    start: Floats
    hours: Floats
    crop: Ints
    seed_kg: Floats
    oil: Floats
    """Kilograms of oil per kilogram of seed, as weighed."""
    analysed: Floats
    """The same, computed from the oil contents of seed and cake."""


def pressed(record: Record, presses: set[int]) -> dict[int, PressedRuns]:
    """The runs by press, without purge runs and runs whose seed was worked out from the usual rate."""
    given = ANALYSED.of({press_id: record.runs[press_id].id for press_id in presses & record.runs.keys()})
    made = {}
    for press_id, oil in given.items():
        runs = record.runs[press_id]
        own = np.flatnonzero(~runs.purge & (runs.seed_kg > 0) & (runs.seed_how != WORKED_OUT))
        if own.size:
            made[press_id] = PressedRuns(
                start=runs.start[own],
                hours=record.run_hours(press_id)[own],
                crop=runs.crop[own],
                seed_kg=runs.seed_kg[own],
                oil=oil["oil_kg"][own] / runs.seed_kg[own],
                analysed=_analysed(oil["seed_oil_pct"][own] / 100, oil["cake_oil_pct"][own] / 100),
            )
    return made


def _analysed(seed_oil: Floats, cake_oil: Floats) -> Floats:
    """Oil per kilogram of seed from the oil contents of seed and cake, NaN where these are missing or
    impossible."""
    possible = (seed_oil > 0) & (seed_oil < 1) & (cake_oil <= seed_oil)
    found = np.full(seed_oil.size, np.nan)
    found[possible] = [
        policy.oil_per_kg(seed, cake)
        for seed, cake in zip(seed_oil[possible].tolist(), cake_oil[possible].tolist(), strict=True)
    ]
    return found


def stops(record: Record, ledger: Ledger) -> list[Stop]:
    """The advice for each screw that is on a press and has pressed seed."""
    fitted = [
        (record.parts[part_id], rows[-1])
        for part_id, rows in record.fittings_of.items()
        if rows[-1].removed is None
        and record.parts[part_id].retired_on is None
        and record.types[record.parts[part_id].type_id].kind in WORN_KINDS
    ]
    presses = {record.positions[last.position_id].press_id for _part, last in fitted}
    runs = pressed(record, presses) if presses else {}
    work: dict[int, list[ServiceRow]] = {part.id: [] for part, _last in fitted}
    for row in record.services:
        if row.part_id in work:
            work[row.part_id].append(row)
    fitted.sort(key=lambda pair: pair[0].code)
    since = [
        max([last.fitted, *(row.done for row in work[part.id] if row.action in RENEWS)])
        for part, last in fitted
    ]
    moments = [
        (part.id, at) for (part, _), begun in zip(fitted, since, strict=True) for at in (begun, record.end)
    ]
    seed = np.diff(ages_of(record, moments).seed_kg.reshape(-1, 2)).ravel().tolist()
    made = []
    for (part, last), begun, kg in zip(fitted, since, seed, strict=True):
        press_id = record.positions[last.position_id].press_id
        if kg > 0 and press_id in runs:
            done = [row for row in work[part.id] if row.done >= begun]
            made.append(_advice(record, ledger, Stop(part, press_id, kg), runs[press_id], begun, done))
    return made


def _advice(
    record: Record, ledger: Ledger, bare: Stop, runs: PressedRuns, since: float, done: list[ServiceRow]
) -> Stop:
    price = ledger.unit_cost.get(record.parts[bare.part.id].type_id)
    oil_price = ledger.prices.on(OIL, record.as_of)
    if price is None:
        return replace(bare, why=NoStop.NO_PART_PRICE)
    if oil_price is None:
        return replace(bare, why=NoStop.NO_OIL_PRICE)
    work = _work(record, ledger, done)
    if work is None:
        return replace(bare, why=NoStop.NO_LABOUR_PRICE)
    own = np.flatnonzero(runs.start >= since)
    if not own.size:
        return replace(bare, why=NoStop.NO_OIL_FIGURES)
    crop = int(runs.crop[own[-1]])
    bare = replace(bare, crop=record.crops[crop])
    same = own[runs.crop[own] == crop]
    analysed = True
    young, old = _first_and_last_third(same, runs.analysed, FEWEST_ANALYSED)
    if not young.size:
        analysed = False
        young, old = _first_and_last_third(same, runs.oil, FEWEST_WEIGHED)
    if not young.size:
        return replace(bare, why=NoStop.NO_OIL_FIGURES)
    figures = runs.analysed if analysed else runs.oil
    timeline = record.timelines[bare.press_id]
    taken = timeline.kilograms(np.full(2, since), np.array([runs.start[young[-1]], record.end])).sum(axis=1)
    if taken[0] > taken[1] / 2:
        return replace(bare, why=NoStop.NOT_SEEN_YOUNG)
    lost, lost_sd = _change(figures[young] * 1000, figures[old] * 1000)
    hours = runs.hours / (runs.seed_kg / 1000)
    slower, slower_sd = _change(hours[old], hours[young])
    stand_still = ledger.prices.on(STAND_STILL, record.as_of)
    hour_cost = stand_still or 0.0
    tonnes = bare.seed_kg / 1000
    now = max(0.0, lost) * oil_price + max(0.0, slower) * hour_cost
    found = policy.stop_rule(
        part_and_work_cost=price + work,
        losses_so_far=now / 2 * tonnes,
        tonnes_so_far=tonnes,
        lost_oil_kg_per_t=lost,
        oil_price_per_kg=oil_price,
        extra_h_per_t=slower,
        hour_cost=hour_cost,
    )
    reach = Z * float(np.hypot(lost_sd * oil_price, slower_sd * hour_cost))
    span = Limits(max(0.0, now - reach), now + reach)
    average = found.average_so_far or 0.0
    unsure = (span.low or 0.0) <= average <= (span.high or 0.0)
    return replace(
        bare,
        analysed=analysed,
        lost_oil_kg_per_t=lost,
        extra_h_per_t=slower,
        loss_now=found.loss_now,
        loss_range=span,
        average_so_far=average,
        left_out=() if stand_still is not None else (STAND_STILL,),
        stop=None if unsure else found.stop,
        why=NoStop.UNSURE if unsure else None,
    )


def _first_and_last_third(runs: Ints, figures: Floats, fewest: int) -> tuple[Ints, Ints]:
    """The first and last third (indexes, at most `MOST` each) of the runs with a figure; empty where a third
    has fewer than `fewest`."""
    known = runs[~np.isnan(figures[runs])]
    size = min(known.size // 3, MOST)
    return (known[:size], known[-size:]) if size >= fewest else (known[:0], known[:0])


def _change(before: Floats, after: Floats) -> tuple[float, float]:
    """The decrease of the mean, and its standard error."""
    spread = before.var(ddof=1) / before.size + after.var(ddof=1) / after.size
    return float(before.mean() - after.mean()), float(np.sqrt(spread))


def _work(record: Record, ledger: Ledger, done: list[ServiceRow]) -> float | None:
    """The cost of this work; None where labour has no price."""
    total = 0.0
    for service in done:
        bill = ledger.bill(service.id)
        price = ledger.prices.on(LABOUR, record.day_of(service.done))
        if bill.labour_h and price is None:
            return None
        total += (bill.cost or 0.0) + (bill.labour_h or 0.0) * (price or 0.0)
    return total
