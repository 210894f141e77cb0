"""Costs and income per tonne on each press, as far as prices are recorded.

- Work: invoices from outside, and the mill's own labour at the price of the day.
- Parts: the price of each retired part, divided among presses by the time that it was fitted on them.
- Both belong to a press and a season, and are divided among its counted runs in proportion to seed. Costs of
  a season in which the press did not run go to its next season with runs, else to its last one.
- Energy, oil, cake: at the price of the run's day, over the runs whose energy (oil, cake) was recorded.
- Seed: at the price of its own crop (`seed_kg <crop>`), where one is recorded.

What has no price or was not recorded is never counted as 0: the line names it as left out. What is left over
is given only where it allows presses to be compared: in a mill without any price of cake, or without any of
seed, these are left out for all lines; in a mill that has them, a line that lacks them gets no figure.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from enum import StrEnum
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from wearlog.compare.ledger import CAKE, ENERGY, LABOUR, OIL, Prices, prices
from wearlog.compare.runtable import Floats, Places, RunTable
from wearlog.equipment.models import PartType
from wearlog.history.bills import NO_BILL, bills
from wearlog.history.log import load_log
from wearlog.runs.seasons import season_years

SEED = "seed_kg %s"


class LeftOut(StrEnum):
    """What is not included in a line's costs or income."""

    PARTS = "parts"
    """A part was retired whose type has no price."""
    LABOUR = "labour"
    """Hours were worked on days without a price of labour."""
    ENERGY = "energy"
    """No energy is recorded, or it has no price."""
    OIL = "oil"
    CAKE = "cake"
    SEED = "seed"


@dataclass(frozen=True, kw_only=True)
class Money:
    """Money of one line, in the mill's currency per tonne of counted seed (per hour where named so). `cost`
    is parts and work, and energy where known, without the seed. `left` is oil and cake less cost and seed."""

    parts_per_t: float | None
    work_per_t: float | None
    energy_per_t: float | None
    cost_per_t: float | None
    income_per_t: float | None
    seed_per_t: float | None
    left_per_t: float | None
    left_per_h: float | None
    left_out: tuple[LeftOut, ...]


@dataclass(frozen=True, eq=False)
class RunCosts:
    """Costs and income of each run, in the order of the run table; NaN where not known."""

    parts: Floats
    work: Floats
    unpriced_parts: Floats
    unpriced_labour_h: Floats
    energy: Floats
    oil: Floats
    cake: Floats
    seed: Floats
    cake_priced: bool
    seed_priced: bool
    """Whether the mill has a price of seed for any crop; likewise `cake_priced` for cake."""


def any_recorded() -> bool:
    """Whether the mill has recorded anything about money."""
    return bool(
        prices()
        or PartType.objects.filter(unit_cost__isnull=False).exists()
        or any(bill.cost is not None for bill in bills().values())
    )


def costs_of_runs(table: RunTable, zone: ZoneInfo, start: tuple[int, int]) -> RunCosts:
    """Divide all costs among the runs. `start` is the month and day on which a season begins."""
    priced = prices()
    size = table.press.size
    counted = ~table.purge & ~np.isnan(table.hours)
    spread = _Spread(table, counted, zone, start)
    shares = {name: np.zeros(size) for name in ("parts", "work", "no_part", "no_labour")}
    for name, press, at, amount in _spent(table, priced, zone):
        spread.add(shares[name], press, at, amount)

    def each(item: str) -> Floats:
        return _price_of_runs(priced, item, table.started, zone)

    seed = np.full(size, np.nan)
    for place, code in enumerate(table.crop_codes):
        mine = table.crop == place
        seed[mine] = _price_of_runs(priced, SEED % code, table.started[mine], zone)
    return RunCosts(
        parts=shares["parts"],
        work=shares["work"],
        unpriced_parts=shares["no_part"],
        unpriced_labour_h=shares["no_labour"],
        energy=table.energy_kwh * each(ENERGY),
        oil=table.oil_kg * each(OIL),
        cake=table.cake_kg * each(CAKE),
        seed=table.seed_kg * seed,
        cake_priced=CAKE in priced.rows,
        seed_priced=any(SEED % code in priced.rows for code in table.crop_codes),
    )


def money_of(table: RunTable, costs: RunCosts, rows: Places, member: Places, groups: int) -> list[Money]:
    """The money of each group of the runs at the indexes `rows`; `member` is the group number of each run."""
    seed, hours = table.seed_kg[rows], table.hours[rows]
    counted = ~table.purge[rows] & ~np.isnan(hours)

    def total(values: Floats, which: npt.NDArray[np.bool_] = counted) -> Floats:
        return np.bincount(member[which], weights=values[which], minlength=groups).astype(np.float64)

    def rate(values: Floats) -> Floats:
        """Per tonne of the runs that have a value; NaN where none has."""
        known = counted & ~np.isnan(values)
        with np.errstate(divide="ignore", invalid="ignore"):
            return total(values, known) / (total(seed, known) / 1000)

    tonnes = total(seed) / 1000
    with np.errstate(divide="ignore", invalid="ignore"):
        parts, work = total(costs.parts[rows]) / tonnes, total(costs.work[rows]) / tonnes
        per_h = tonnes / total(hours)
    no_parts, no_labour = total(costs.unpriced_parts[rows]), total(costs.unpriced_labour_h[rows])
    energy, oil, cake = (rate(column[rows]) for column in (costs.energy, costs.oil, costs.cake))
    unpriced_seed = np.bincount(member[counted & np.isnan(costs.seed[rows])], minlength=groups)
    bought = np.where(unpriced_seed > 0, np.nan, rate(costs.seed[rows]))
    found = []
    for place in range(groups):
        gaps = (
            (LeftOut.PARTS, no_parts[place] > 0),
            (LeftOut.LABOUR, no_labour[place] > 0),
            (LeftOut.ENERGY, bool(np.isnan(energy[place]))),
            (LeftOut.OIL, bool(np.isnan(oil[place]))),
            (LeftOut.CAKE, bool(np.isnan(cake[place]))),
            (LeftOut.SEED, bool(np.isnan(bought[place]))),
        )
        cost = float(parts[place] + work[place] + np.nan_to_num(energy[place]))
        income = float(oil[place] + np.nan_to_num(cake[place]))
        by_cake = cake[place] if costs.cake_priced else 0.0
        left = float(oil[place] + by_cake - (bought[place] if costs.seed_priced else 0.0) - cost)
        found.append(
            Money(
                parts_per_t=_none_for_nan(parts[place]),
                work_per_t=_none_for_nan(work[place]),
                energy_per_t=_none_for_nan(energy[place]),
                cost_per_t=_none_for_nan(cost),
                income_per_t=_none_for_nan(income),
                seed_per_t=_none_for_nan(bought[place]),
                left_per_t=_none_for_nan(left),
                left_per_h=_none_for_nan(left * per_h[place]),
                left_out=tuple(name for name, lacking in gaps if lacking),
            )
        )
    return found


def _none_for_nan(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _price_of_runs(priced: Prices, item: str, instants: Floats, zone: ZoneInfo) -> Floats:
    """The price valid at each instant, by the mill's days; NaN before the first price."""
    days, each = priced.rows.get(item, ((), ()))
    if not days:
        return np.full(instants.size, np.nan)
    begins = np.array([datetime.combine(day, time.min, zone).timestamp() for day in days])
    return np.concatenate(([np.nan], each))[np.searchsorted(begins, instants, side="right")]


class _Spread:
    """The counted runs of each press and season, among which costs are divided in proportion to seed."""

    def __init__(
        self, table: RunTable, counted: npt.NDArray[np.bool_], zone: ZoneInfo, start: tuple[int, int]
    ) -> None:
        self.seed, self.zone, self.start = table.seed_kg, zone, start
        years = season_years(table.started, start, zone)
        self.runs: dict[int, dict[int, Places]] = defaultdict(dict)
        useful = np.flatnonzero(counted & (table.seed_kg > 0))
        key = table.press[useful] * 10_000 + years[useful]
        order = np.argsort(key, kind="stable")
        borders = np.flatnonzero(np.diff(key[order])) + 1
        for group in np.split(useful[order], borders):
            if group.size:
                self.runs[int(table.press[group[0]])][int(years[group[0]])] = group

    def add(self, column: Floats, press: int, at: float, amount: float) -> None:
        """Divide an amount spent at an instant among the runs; nothing happens for a press that never ran."""
        seasons = self.runs.get(press)
        if not seasons:
            return
        year = int(season_years(np.array([at]), self.start, self.zone)[0])
        chosen = min((one for one in seasons if one >= year), default=max(seasons))
        runs = seasons[chosen]
        column[runs] += amount * self.seed[runs] / self.seed[runs].sum()


def _spent(table: RunTable, priced: Prices, zone: ZoneInfo) -> Iterator[tuple[str, int, float, float]]:
    """(column, index of the press, instant, amount) of all work and parts."""
    log = load_log()
    places = {code: place for place, code in enumerate(table.press_codes)}
    of_press = {pk: places[press.code] for pk, press in log.setup.presses.items() if press.code in places}
    took = bills()
    for service in log.work.services:
        bill = took.get(service.id, NO_BILL)
        if service.press_id not in of_press or (bill.labour_h is None and bill.cost is None):
            continue
        press, at = of_press[service.press_id], service.done
        amount = bill.cost or 0.0
        if bill.labour_h:
            price = priced.on(LABOUR, datetime.fromtimestamp(at, UTC).astimezone(zone).date())
            if price is None:
                yield "no_labour", press, at, bill.labour_h
            else:
                amount += bill.labour_h * price
        yield "work", press, at, amount
    retired = {pk: part for pk, part in log.work.parts.items() if part.retired_on is not None}
    sat: dict[int, dict[int, float]] = defaultdict(lambda: defaultdict(float))
    for row in log.work.fittings:
        if row.removed is not None and row.part_id in retired:
            # At least a second, so that a part that was taken off at once still belongs to a press.
            press_id = log.setup.positions[row.position_id].press_id
            sat[row.part_id][press_id] += max(row.removed - row.fitted, 1.0)
    unit_cost = dict(PartType.objects.values_list("pk", "unit_cost"))
    for pk, part in retired.items():
        cost = unit_cost[part.type_id]
        whole_time = sum(sat[pk].values())
        at = datetime.combine(part.retired_on or date.min, time.min, zone).timestamp()
        for press_id, seconds in sat[pk].items():
            if press_id not in of_press:
                continue
            share = seconds / whole_time
            name, amount = ("no_part", share) if cost is None else ("parts", share * float(cost))
            yield name, of_press[press_id], at, amount
