"""Costs and income of each run, in the order of the run table.

- Parts: what the run used up of them, and what was left of parts that were retired early (`parts`).
- Work: invoices, and the mill's own hours at the price of the day; stand-still likewise, at the price of an
  hour. Both belong to a press and a season, and are divided among its runs (`spread`).
- Minding: the run's hours at the price of minding a press for an hour.
- Energy, oil, cake, seed: at the price of the run's day.
- Lost oil: what the run's oil fell short of the yield that better runs of the same crop and harvest gave, at
  the price of oil less that of cake, as which it is sold. Better runs: a quarter of the seed yielded as much
  or more, by weeks of a press. The sign is kept, so that chance evens out over many runs.

What has no price or was not recorded is NaN, never 0. A run that cleaned the press (purge) costs like any
other and earns nothing; its seed is in no divisor. Seed that was worked out counts in costs and in tonnes
alike.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time

import numpy as np

from wearlog.compare.costs.kinds import CostKind, Lack, Sort
from wearlog.compare.costs.parts import PartsUsed, WrittenOff, facts, parts_used
from wearlog.compare.costs.spread import Spread
from wearlog.compare.ledger import (
    CAKE,
    ENERGY,
    LABOUR,
    MINDING,
    OIL,
    SEED,
    STAND_STILL,
    Prices,
    oil_lost_in_cake,
    prices,
)
from wearlog.compare.runtable import Floats, Places, RunTable
from wearlog.forecasts.memory.queries import forecast_of_day
from wearlog.history.bills import NO_BILL, bills
from wearlog.history.record import Record
from wearlog.runs.seasons import season_years

WEEK_S = 7 * 86400.0
BETTER_SHARE = 0.25
"""The share of the seed, of one crop and harvest, that yielded as much oil as is taken as reached."""
ENOUGH_JOBS = 0.5
"""Of the jobs on a press so many say hours or money where its work is taken as on record."""


@dataclass(frozen=True)
class OnNoRun:
    """A cost that belongs to no run: work on a press that never ran, or a part that never sat on a press.
    `press` is its name, empty for a part. `labour_h`: hours of work without a price."""

    press: str
    part: str
    on: date
    amount: float
    labour_h: float = 0.0


@dataclass(frozen=True, eq=False)
class Gauged:
    """What each run used up of parts of one type whose wear gauges told, shape (runs,), with `cases` of how
    much more or less that may be, by the table's crops, shape (cases, crops)."""

    kind: CostKind
    used: Floats
    cases: Floats


@dataclass(frozen=True, eq=False)
class RunCosts:
    """`costs`: for each kind, shape (runs,), NaN where not known. `lacking`: why a press, by its index, has
    no figure for a kind, as far as that does not depend on the runs. `no_price`: which of oil, cake and seed
    the mill has no price of."""

    costs: Mapping[CostKind, Floats]
    lacking: Mapping[tuple[CostKind, int], Lack]
    oil: Floats
    cake: Floats
    seed: Floats
    no_price: tuple[str, ...]
    on_no_run: tuple[OnNoRun, ...]
    parts: PartsUsed
    gauged: tuple[Gauged, ...]

    @property
    def cake_priced(self) -> bool:
        return "cake" not in self.no_price

    @property
    def seed_priced(self) -> bool:
        return "seed" not in self.no_price

    @property
    def kinds(self) -> tuple[CostKind, ...]:
        return tuple(self.costs)


def any_recorded(priced: Prices) -> bool:
    """Whether the mill has recorded anything about money."""
    return bool(priced or facts()[0] or any(bill.cost is not None for bill in bills().values()))


def costs_of_runs(table: RunTable, priced: Prices, *, on: date, start: tuple[int, int]) -> RunCosts:
    """The costs as of a day. `start` is the month and day on which a season begins."""
    ground = forecast_of_day(as_of=on).ground
    record = ground.record
    record.timelines_of(record.presses)
    return _made(_Making(table, record, priced, start), parts_used(record, ground.edges))


def costs_within(
    table: RunTable, costs: RunCosts, *, on: date, start: tuple[int, int], first: float, end: float
) -> RunCosts:
    """The costs of runs of one season up to an instant, as they would have been known by then: the table has
    these runs alone, and work and parts that ended count from `first` to `end`. Costs that an earlier season
    left to this one are not among them."""
    record = forecast_of_day(as_of=on).ground.record
    return _made(_Making(table, record, prices(), start, first=first, end=end), costs.parts)


def _made(making: _Making, used: PartsUsed) -> RunCosts:
    making.parts(used)
    making.work()
    making.of_runs()
    return making.done()


class _Making:
    """first, end: the instants within which amounts that are spread were spent."""

    def __init__(
        self,
        table: RunTable,
        record: Record,
        priced: Prices,
        start: tuple[int, int],
        *,
        first: float = -np.inf,
        end: float = np.inf,
    ) -> None:
        self.table, self.record, self.priced, self.start = table, record, priced, start
        self.first, self.end = first, end
        self.spread = Spread(table, record.zone, start)
        self.costs: dict[CostKind, Floats] = {}
        self.lacking: dict[tuple[CostKind, int], Lack] = {}
        self.on_no_run: list[OnNoRun] = []
        self.gauged: dict[int, Gauged] = {}
        of_code = {code: place for place, code in enumerate(table.press_codes)}
        self.places = {pk: of_code[row.code] for pk, row in record.presses.items() if row.code in of_code}

    def done(self) -> RunCosts:
        return RunCosts(
            costs={kind: self.costs[kind] for kind in sorted(self.costs, key=self._in_order)},
            lacking=self.lacking,
            oil=self.oil,
            cake=self.cake,
            seed=self.seed,
            no_price=tuple(name for name, has in self._priced().items() if not has),
            on_no_run=tuple(sorted(self.on_no_run, key=lambda one: (one.on, one.press, one.part))),
            parts=self.used,
            gauged=tuple(self.gauged.values()),
        )

    def _priced(self) -> dict[str, bool]:
        rows = self.priced.rows
        seed = any(SEED % code in rows for code in self.table.crop_codes)
        return {"oil": OIL in rows, "cake": CAKE in rows, "seed": seed}

    def _in_order(self, kind: CostKind) -> tuple[int, int]:
        kinds = self.used.kinds
        return list(Sort).index(kind.sort), kinds.index(kind.part_kind) if kind.part_kind in kinds else -1

    def parts(self, used: PartsUsed) -> None:
        self.used = used
        for name in used.kinds:
            self.costs[CostKind(Sort.PARTS, name)] = np.zeros(self.table.press.size)
        for (name, press_id), money in used.each.items():
            self._add(self.costs[CostKind(Sort.PARTS, name)], press_id, money)
        for (type_id, press_id), money in used.of_type.items():
            if type_id not in self.gauged:
                kind = CostKind(Sort.PARTS, self.record.types[type_id].kind)
                none = np.zeros(self.table.press.size)
                self.gauged[type_id] = Gauged(kind, none, self._by_crop(used.cases[type_id]))
            self._add(self.gauged[type_id].used, press_id, money)
        off = [one for one in used.written_off if self.first <= one.at < self.end]
        for name in sorted({one.kind for one in off}):
            own = [one for one in off if one.kind == name]
            column = self.costs.setdefault(CostKind(Sort.PARTS, name), np.zeros(self.table.press.size))
            ran = self._spread(
                column,
                [self.places.get(one.press_id or 0, -1) for one in own],
                [one.at for one in own],
                [one.amount for one in own],
            )
            self.on_no_run += [self._of_part(one) for one, spread in zip(own, ran, strict=True) if not spread]
        for (kind, press_id), why in used.lacking.items():
            self.lacking[kind, self.places[press_id]] = why

    def _by_crop(self, cases: Floats) -> Floats:
        """Cases by the record's crops, (cases, crops), by those of the table; 1 for a crop without one."""
        place = {code: number for number, code in enumerate(self.record.crops)}
        found = np.ones((len(cases), len(self.table.crop_codes)))
        for number, code in enumerate(self.table.crop_codes):
            if code in place:
                found[:, number] = cases[:, place[code]]
        return found

    def _add(self, column: Floats, press_id: int, money: Floats) -> None:
        """Add what the runs of a press in the record cost to those of them that are in the table."""
        ids = self.record.runs[press_id].id
        if not self.table.id.size:
            return
        place = np.minimum(np.searchsorted(self.table.id, ids), self.table.id.size - 1)
        here = self.table.id[place] == ids
        column[place[here]] += money[here]  # each run is there once

    def _spread(self, column: Floats, places: list[int], at: list[float], amounts: list[float]) -> list[bool]:
        arrays = (
            np.array(places, dtype=np.int64),
            np.array(at, dtype=np.float64),
            np.array(amounts, dtype=np.float64),
        )
        return [bool(ran) for ran in self.spread.add(column, *arrays)]

    def _day(self, instant: float) -> date:
        return datetime.fromtimestamp(instant, self.record.zone).date()

    def _of_part(self, off: WrittenOff) -> OnNoRun:
        press = self.record.presses[off.press_id].label if off.press_id is not None else ""
        return OnNoRun(press, off.part.code, off.on, off.amount)

    def work(self) -> None:
        """Work and stand-still of all jobs."""
        kinds = (CostKind(Sort.WORK), CostKind(Sort.STAND_STILL))
        for kind in kinds:
            self.costs[kind] = np.zeros(self.table.press.size)
        jobs, said, stood = (np.zeros(len(self.table.press_codes)) for _ in range(3))
        took = bills()
        spent = []
        for service in self.record.services:
            bill, place = took.get(service.id, NO_BILL), self.places[service.press_id]
            jobs[place] += 1
            said[place] += bill.labour_h is not None or bill.cost is not None
            stood[place] += bill.downtime_h is not None
            if bill is NO_BILL:
                continue
            day = self._day(service.done)
            wage, hour = self.priced.on(LABOUR, day), self.priced.on(STAND_STILL, day)
            for kind, hours, price in ((kinds[0], bill.labour_h, wage), (kinds[1], bill.downtime_h, hour)):
                if hours and price is None:
                    self.lacking[kind, place] = Lack.NO_PRICE
            if self.first <= service.done < self.end:
                paid = (bill.cost or 0.0) + (bill.labour_h or 0.0) * (wage or 0.0)
                unpriced_h = bill.labour_h if bill.labour_h and wage is None else 0.0
                stood_still = (bill.downtime_h or 0.0) * (hour or 0.0)
                spent.append((service, place, (paid, stood_still), unpriced_h))
        places, instants = [place for _, place, *_rest in spent], [service.done for service, *_rest in spent]
        ran = [True] * len(spent)
        for number, kind in enumerate(kinds):
            ran = self._spread(
                self.costs[kind], places, instants, [amounts[number] for _, _, amounts, _ in spent]
            )
        for (service, _place, amounts, unpriced_h), spread in zip(spent, ran, strict=True):
            if not spread and (any(amounts) or unpriced_h):
                label, day = self.record.presses[service.press_id].label, self._day(service.done)
                self.on_no_run.append(OnNoRun(label, "", day, sum(amounts), unpriced_h))
        for place in range(len(self.table.press_codes)):
            if said[place] < ENOUGH_JOBS * jobs[place] or not jobs[place]:
                self.lacking.setdefault((kinds[0], place), Lack.NOT_RECORDED)
            if not stood[place]:
                self.lacking.setdefault((kinds[1], place), Lack.NOT_RECORDED)

    def of_runs(self) -> None:
        """What each run has on record itself."""
        table = self.table
        self.oil, self.cake = table.oil_kg * self._each(OIL), table.cake_kg * self._each(CAKE)
        self.oil[table.purge] = self.cake[table.purge] = np.nan
        self.seed = np.full(table.press.size, np.nan)
        for place, code in enumerate(table.crop_codes):
            mine = np.flatnonzero(table.crop == place)
            self.seed[mine] = table.seed_kg[mine] * self._each(SEED % code, mine)
        self.costs[CostKind(Sort.MINDING)] = table.hours * self._each(MINDING)
        self.costs[CostKind(Sort.ENERGY)] = table.energy_kwh * self._each(ENERGY)
        worth = oil_lost_in_cake(self._each(OIL), self._each(CAKE))
        years = season_years(table.started, self.start, self.record.zone)
        self.costs[CostKind(Sort.LOST_OIL)] = short_of_better(table, years) * worth
        for sort, item in ((Sort.MINDING, MINDING), (Sort.ENERGY, ENERGY), (Sort.LOST_OIL, OIL)):
            if item not in self.priced.rows:
                for place in range(len(table.press_codes)):
                    self.lacking[CostKind(sort), place] = Lack.NO_PRICE

    def _each(self, item: str, rows: Places | None = None) -> Floats:
        """The price valid at the start of each run, by the mill's days; NaN before the first price."""
        instants = self.table.started if rows is None else self.table.started[rows]
        days, each = self.priced.rows.get(item, ((), ()))
        if not days:
            return np.full(instants.size, np.nan)
        begins = np.array([datetime.combine(day, time.min, self.record.zone).timestamp() for day in days])
        return np.concatenate(([np.nan], each))[np.searchsorted(begins, instants, side="right")]


def short_of_better(table: RunTable, years: Places) -> Floats:
    """Kilograms of oil by which each run fell short of better runs of its crop and harvest; NaN for runs
    whose oil or seed was not weighed."""
    short = np.full(table.press.size, np.nan)
    told = np.flatnonzero(~table.purge & ~table.worked_out & ~np.isnan(table.oil_kg) & (table.seed_kg > 0))
    if not told.size:
        return short
    group = table.crop[told] * 10_000 + years[told]
    week = np.floor(table.started[told] / WEEK_S).astype(np.int64)
    week -= week.min()
    many = int(week.max()) + 1
    code = (group * len(table.press_codes) + table.press[told]) * many + week
    keys, member = np.unique(code, return_inverse=True)
    groups = keys // many // len(table.press_codes)
    seed = np.bincount(member, weights=table.seed_kg[told])
    yields = np.bincount(member, weights=table.oil_kg[told]) / seed
    better = {}
    for name in np.unique(groups).tolist():
        own = np.flatnonzero(groups == name)
        order = own[np.argsort(-yields[own], kind="stable")]
        reached = np.cumsum(seed[order]) >= BETTER_SHARE * seed[order].sum()
        better[name] = yields[order][int(np.argmax(reached))]
    names = np.array(list(better), dtype=np.int64)
    of_run = np.array(list(better.values()))[np.searchsorted(names, group)]
    short[told] = of_run * table.seed_kg[told] - table.oil_kg[told]
    return short
