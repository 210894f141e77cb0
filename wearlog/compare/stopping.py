"""Whether a worn screw still pays: the loss per tonne now, compared with the average cost per tonne so far
(`calc.policy.stopping`).

Both refer to the crop that was pressed last, and to the screw's whole life since it was new or rebuilt:
taking it off and putting it back changes nothing. Oil per kilogram of seed comes from analyses of the oil
left in the cake, else from the oil that was weighed; hours per tonne come from the runs. Runs are compared
within one press and one harvest only, since harvests differ in oil by more than a worn screw costs; a harvest
is the season in which a run lies. Runs of one week are averaged.

Advice is given only if the 95 % range of the loss lies wholly above or below the average.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cache, partial

import numpy as np

from wearlog.calc import policy
from wearlog.calc.life import Limits
from wearlog.compare.ages import ages_of, seed_along
from wearlog.compare.ledger import LABOUR, OIL, STAND_STILL, Ledger
from wearlog.history.record import Record
from wearlog.history.rows import WORKED_OUT, FittingRow, Flags, Floats, Ints, PartRow, RunColumns
from wearlog.history.yields import ANALYSED
from wearlog.runs.seasons import SEASON_START, parse_start, season_years
from wearlog.service.work import RENEWS

WORN_KINDS = ("screw",)
"""Only a screw's wear shows in oil and throughput: a die is changed for the next crop before it does."""
WEEK_S = 7 * 86400.0


class NoStop(StrEnum):
    """Why there is no advice on whether to stop."""

    NO_PART_PRICE = "no part price"
    NO_OIL_PRICE = "no oil price"
    NO_LABOUR_PRICE = "no labour price"
    NO_OIL_FIGURES = "no oil figures"
    TOO_LITTLE_SEEN = "too little seen"
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
    """Runs that had ended by the record's day, in order; shape (n,), NaN where unknown."""

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
        own = np.flatnonzero(_counts(runs))
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


def _counts(runs: RunColumns | None) -> Flags:
    """Which of a press's runs count: all but purge runs and those whose seed was worked out."""
    if runs is None:
        return np.zeros(0, dtype=np.bool_)
    counted: Flags = ~runs.purge & (runs.seed_kg > 0) & (runs.seed_how != WORKED_OUT)
    return counted


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
        (record.parts[part_id], rows)
        for part_id, rows in record.fittings_of.items()
        if rows[-1].removed is None
        and record.parts[part_id].retired_on is None
        and record.types[record.parts[part_id].type_id].kind in WORN_KINDS
    ]
    fitted.sort(key=lambda pair: pair[0].code)
    renewed: dict[int | None, float] = {}
    for service in record.services:
        if service.action in RENEWS:
            renewed[service.part_id] = max(service.done, renewed.get(service.part_id, 0.0))
    since = [max(rows[0].fitted, renewed.get(part.id, 0.0)) for part, rows in fitted]
    spans = zip(fitted, since, strict=True)
    ages = ages_of(record, [(part.id, at) for (part, _), begun in spans for at in (begun, record.end)])
    seed = np.diff(ages.seed_kg.reshape(-1, 2))[:, 0]

    @cache
    def runs() -> Mapping[int, PressedRuns]:
        """Read when the first part has all the prices that advice needs."""
        return pressed(
            record, {record.positions[row.position_id].press_id for _, rows in fitted for row in rows}
        )

    made = []
    for (part, rows), begun, taken in zip(fitted, since, seed.tolist(), strict=True):
        press_id = record.positions[rows[-1].position_id].press_id
        if taken > 0 and _counts(record.runs.get(press_id)).any():
            worked = partial(_under, record, rows, runs, begun)
            made.append(_advice(record, ledger, Stop(part, press_id, taken), worked, begun))
    return made


@dataclass(frozen=True, eq=False)
class _Worked:
    """The runs that a part worked in, in order of time, over all presses; `press` is the press of each."""

    runs: PressedRuns
    press: Ints


def _under(
    record: Record,
    rows: Sequence[FittingRow],
    of_presses: Callable[[], Mapping[int, PressedRuns]],
    since: float,
) -> _Worked:
    runs = of_presses()
    none = np.zeros(0, dtype=np.int64)
    found: list[tuple[int, PressedRuns, Ints]] = []
    for row in rows:
        press_id = record.positions[row.position_id].press_id
        if press_id in runs:
            start, until = runs[press_id].start, np.inf if row.removed is None else row.removed
            place = np.flatnonzero((start >= max(since, row.fitted)) & (start < until))
            found.append((press_id, runs[press_id], place))

    def joined(column: Callable[[PressedRuns], Floats]) -> Floats:
        return np.concatenate([np.zeros(0), *(column(pressed)[place] for _press, pressed, place in found)])

    crops = [pressed.crop[place] for _press, pressed, place in found]
    presses = [np.full(place.size, press_id) for press_id, _pressed, place in found]
    return _Worked(
        PressedRuns(
            start=joined(lambda one: one.start),
            hours=joined(lambda one: one.hours),
            crop=np.concatenate(crops or [none]),
            seed_kg=joined(lambda one: one.seed_kg),
            oil=joined(lambda one: one.oil),
            analysed=joined(lambda one: one.analysed),
        ),
        np.concatenate(presses or [none]),
    )


def _advice(
    record: Record, ledger: Ledger, bare: Stop, find_worked: Callable[[], _Worked], since: float
) -> Stop:
    price = ledger.unit_cost.get(record.parts[bare.part.id].type_id)
    oil_price = ledger.prices.on(OIL, record.as_of)
    if price is None:
        return replace(bare, why=NoStop.NO_PART_PRICE)
    if oil_price is None:
        return replace(bare, why=NoStop.NO_OIL_PRICE)
    work = _work(record, ledger, bare.part.id, since)
    if work is None:
        return replace(bare, why=NoStop.NO_LABOUR_PRICE)
    worked = find_worked()
    runs = worked.runs
    if not runs.start.size:
        return replace(bare, why=NoStop.NO_OIL_FIGURES)
    crop = int(runs.crop[-1])
    bare = replace(bare, crop=record.crops[crop])
    tonnes = bare.seed_kg / 1000
    mine = np.flatnonzero(runs.crop == crop)
    stand_still = ledger.prices.on(STAND_STILL, record.as_of)

    def trends_by(oil: Floats) -> tuple[policy.Trend, policy.Trend, policy.Trend] | None:
        return _trends(record, bare.part.id, since, worked, mine, oil, oil_price, stand_still or 0.0)

    by_analysis = trends_by(runs.analysed)
    trends = by_analysis or trends_by(runs.oil)
    if trends is None:
        return replace(bare, why=NoStop.NO_OIL_FIGURES)
    loss, lost_kg, extra_h = trends
    if loss.seen < tonnes / 2:
        return replace(bare, why=NoStop.TOO_LITTLE_SEEN)
    found = policy.stop_rule(part_and_work_cost=price + work, tonnes=tonnes, loss=loss)
    return replace(
        bare,
        analysed=by_analysis is not None,
        lost_oil_kg_per_t=lost_kg.slope * tonnes,
        extra_h_per_t=extra_h.slope * tonnes,
        loss_now=found.loss_now,
        loss_range=found.loss_range,
        average_so_far=found.average_so_far,
        left_out=() if stand_still is not None else (STAND_STILL,),
        stop=found.stop,
        why=NoStop.UNSURE if found.stop is None else None,
    )


def _trends(
    record: Record,
    part_id: int,
    since: float,
    worked: _Worked,
    mine: Ints,
    oil: Floats,
    oil_price: float,
    hour_cost: float,
) -> tuple[policy.Trend, policy.Trend, policy.Trend] | None:
    """The trends over the part's age, in tonnes, of the loss in money, the oil left in the cake in kg, and
    the hours, all per tonne, in those of the runs at the indexes `mine` whose oil is known; None where these
    are too few."""
    own = mine[~np.isnan(oil[mine])]
    start, seed_t = worked.runs.start[own], worked.runs.seed_kg[own] / 1000
    done = seed_along(record, part_id, np.concatenate([[since], start]))
    harvest = season_years(start, parse_start(SEASON_START), record.zone)
    group = worked.press[own] * 10_000 + harvest
    week = np.floor(start / WEEK_S).astype(np.int64)
    left_kg, hours = -1000 * oil[own], worked.runs.hours[own] / seed_t
    found = [
        policy.trend_within((done[1:] - done[0]) / 1000, figure, group, week)
        for figure in (left_kg * oil_price + hours * hour_cost, left_kg, hours)
    ]
    loss, lost_kg, extra_h = found
    return None if loss is None or lost_kg is None or extra_h is None else (loss, lost_kg, extra_h)


def _work(record: Record, ledger: Ledger, part_id: int, since: float) -> float | None:
    """The cost of the work on the part since an instant; None where labour has no price."""
    total = 0.0
    for service in record.services:
        if service.part_id != part_id or service.done < since:
            continue
        bill = ledger.bill(service.id)
        price = ledger.prices.on(LABOUR, record.day_of(service.done))
        if bill.labour_h and price is None:
            return None
        total += (bill.cost or 0.0) + (bill.labour_h or 0.0) * (price or 0.0)
    return total
