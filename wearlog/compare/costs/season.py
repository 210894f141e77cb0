"""One season's money: against the last at the same day, by crop and by lot, and what was paid beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import numpy as np

from wearlog.compare.costs.kinds import Sort
from wearlog.compare.costs.money import Basket, Money, basket_of, money_of
from wearlog.compare.costs.runs import OnNoRun, RunCosts, costs_within
from wearlog.compare.ledger import LABOUR, prices
from wearlog.compare.queries import known_costs
from wearlog.compare.runtable import Places, RunTable, load
from wearlog.history.bills import NO_BILL, bills
from wearlog.history.log import load_log
from wearlog.people.models import Mill
from wearlog.runs.models import Run
from wearlog.runs.seasons import SEASON_START, parse_start, season_name, season_years

MOST_SEASONS = 6
"""The last seasons whose payments are listed."""


@dataclass(frozen=True)
class OfGroup:
    """The money of a crop, a lot, or a season up to a day."""

    name: str
    crop: str
    money: Money


@dataclass(frozen=True)
class Paid:
    """A season's steel and work on every press, and on those that never ran: parts by what was used up (with
    what was left of parts retired early), and by what was bought. `undated` is the number of parts without a
    day of buying, which are not among these."""

    season: str
    tonnes: float
    parts_used: float
    parts_bought: float
    invoices: float
    own_h: float
    wages: float | None
    """None where some of these hours have no price."""


@dataclass(frozen=True)
class SeasonCosts:
    """`seasons` are the names of all seasons with runs, the latest first. `this` and `last` are up to the
    same day of their seasons; None where there were no runs."""

    season: str
    seasons: tuple[str, ...]
    basket: Basket
    whole: Money
    until: date
    this: OfGroup | None
    last: OfGroup | None
    crops: tuple[OfGroup, ...]
    lots: tuple[OfGroup, ...]
    paid: tuple[Paid, ...]
    undated: int
    on_no_run: tuple[OnNoRun, ...]
    currency: str


def season_costs(*, on: date, season: str = "") -> SeasonCosts | None:
    """The money of a season as of a day: of the latest with runs where the name is none. None where nothing
    about money is recorded, or nothing has run."""
    table, mill, start = load(), Mill.current(), parse_start(SEASON_START)
    costs = known_costs(table, on=on, start=start)
    if costs is None or not table.press.size:
        return None
    years = season_years(table.started, start, mill.zone)
    names = {year: season_name(year, start) for year in np.unique(years).tolist()}
    year = next((one for one, name in names.items() if name == season), max(names))
    rows = np.flatnonzero(years == year)
    basket = basket_of(table, costs, rows)
    until = _same_day(on, year, start)
    so_far = _SoFar(table, costs, basket, on, start, mill.zone)
    this, last = so_far(year, until), so_far(year - 1, _year_before(until))
    return SeasonCosts(
        season=names[year],
        seasons=tuple(names[one] for one in sorted(names, reverse=True)),
        basket=basket,
        whole=_money(table, costs, rows, basket),
        until=until,
        this=this,
        last=last,
        crops=_by_crop(table, costs, rows, basket),
        lots=_by_lot(table, costs, rows, basket),
        paid=_paid(table, costs, years, names, mill.zone, start),
        undated=sum(
            bought.acquired_on is None and bought.made_from_id is None
            for bought in costs.parts.bought.values()
        ),
        on_no_run=costs.on_no_run,
        currency=mill.currency,
    )


def _same_day(on: date, year: int, start: tuple[int, int]) -> date:
    """The day of the season up to which it is compared: today, or the last day of a season that is over."""
    ends = date(year + 1, *start)
    return min(on, date.fromordinal(ends.toordinal() - 1))


def _year_before(day: date) -> date:
    return (
        day.replace(year=day.year - 1, day=28)
        if (day.month, day.day) == (2, 29)
        else day.replace(year=day.year - 1)
    )


def _end(day: date, zone: ZoneInfo) -> float:
    return datetime.combine(date.fromordinal(day.toordinal() + 1), time.min, zone).timestamp()


def _money(table: RunTable, costs: RunCosts, rows: Places, basket: Basket) -> Money:
    return money_of(table, costs, rows, np.zeros(rows.size, dtype=np.int64), 1, basket)[0]


@dataclass(frozen=True, eq=False)
class _SoFar:
    """A season's money up to the end of a day, of what had been spent by then."""

    table: RunTable
    costs: RunCosts
    basket: Basket
    on: date
    start: tuple[int, int]
    zone: ZoneInfo

    def __call__(self, year: int, day: date) -> OfGroup | None:
        first, end = datetime(year, *self.start, tzinfo=self.zone).timestamp(), _end(day, self.zone)
        rows = np.flatnonzero((self.table.started >= first) & (self.table.started < end))
        if not rows.size:
            return None
        own = self.table.at(rows)
        costs = costs_within(own, self.costs, on=self.on, start=self.start, first=first, end=end)
        money = _money(own, costs, np.arange(rows.size), self.basket)
        return OfGroup(season_name(year, self.start), "", money)


def _by_crop(table: RunTable, costs: RunCosts, rows: Places, basket: Basket) -> tuple[OfGroup, ...]:
    found = money_of(table, costs, rows, table.crop[rows], len(table.crop_codes), basket)
    each = [OfGroup(code, code, money) for code, money in zip(table.crop_codes, found, strict=True)]
    return _best_first([one for one in each if one.money.tonnes > 0])


def _by_lot(table: RunTable, costs: RunCosts, rows: Places, basket: Basket) -> tuple[OfGroup, ...]:
    """Lots that were given a name, each with its crop."""
    first, last = table.started[rows].min(), table.started[rows].max()
    named = dict(
        Run.objects.not_voided()
        .filter(
            started_at__gte=datetime.fromtimestamp(first - 1, UTC),
            started_at__lte=datetime.fromtimestamp(last + 1, UTC),
        )
        .exclude(lot="")
        .order_by()
        .values_list("pk", "lot")
    )
    own = np.array([row for row in rows.tolist() if int(table.id[row]) in named], dtype=np.int64)
    if not own.size:
        return ()
    keys = [(int(table.crop[row]), named[int(table.id[row])]) for row in own.tolist()]
    places = {key: place for place, key in enumerate(dict.fromkeys(keys))}
    member = np.array([places[key] for key in keys], dtype=np.int64)
    found = money_of(table, costs, own, member, len(places), basket)
    return _best_first(
        [
            OfGroup(lot, table.crop_codes[crop], money)
            for (crop, lot), money in zip(places, found, strict=True)
        ]
    )


def _best_first(groups: Sequence[OfGroup]) -> tuple[OfGroup, ...]:
    """Those that leave most first; those of which it can't be said last."""

    def order(one: OfGroup) -> tuple[bool, float, str]:
        left = one.money.left_per_t
        return left is None, -(left or 0.0), one.name

    return tuple(sorted(groups, key=order))


def _paid(
    table: RunTable,
    costs: RunCosts,
    years: Places,
    names: dict[int, str],
    zone: ZoneInfo,
    start: tuple[int, int],
) -> tuple[Paid, ...]:
    def year_of(day: date) -> int:
        instant = datetime.combine(day, time.min, zone).timestamp()
        return int(season_years(np.array([instant]), start, zone)[0])

    log = load_log()
    bought: dict[int, float] = {}
    for pk, facts in costs.parts.bought.items():
        part = log.work.parts.get(pk)
        if part is not None and facts.acquired_on is not None and facts.made_from_id is None:
            year = year_of(facts.acquired_on)
            bought[year] = bought.get(year, 0.0) + costs.parts.prices.get(part.type_id, 0.0)
    lost: dict[int, float] = {}
    for one in costs.on_no_run:
        if one.part:
            lost[year_of(one.on)] = lost.get(year_of(one.on), 0.0) + one.amount
    work = _work(zone, start)
    used = sum(
        (column for kind, column in costs.costs.items() if kind.sort is Sort.PARTS), np.zeros(years.size)
    )
    found = []
    for year in sorted(names, reverse=True)[:MOST_SEASONS]:
        rows = years == year
        invoices, own_h, wages, unpriced = work.get(year, (0.0, 0.0, 0.0, False))
        found.append(
            Paid(
                season=names[year],
                tonnes=float(table.seed_kg[rows & ~table.purge].sum() / 1000),
                parts_used=float(used[rows].sum()) + lost.get(year, 0.0),
                parts_bought=bought.get(year, 0.0),
                invoices=invoices,
                own_h=own_h,
                wages=None if unpriced else wages,
            )
        )
    return tuple(found)


def _work(zone: ZoneInfo, start: tuple[int, int]) -> dict[int, tuple[float, float, float, bool]]:
    """By season in which it was done: invoices, the mill's own hours, their wages, and whether some of these
    hours have no price."""
    priced, took = prices(), bills()
    services = [service for service in load_log().work.services if service.id in took]
    if not services:
        return {}
    years = season_years(np.array([service.done for service in services]), start, zone)
    found: dict[int, tuple[float, float, float, bool]] = {}
    for service, year in zip(services, years.tolist(), strict=True):
        bill = took.get(service.id, NO_BILL)
        wage = priced.on(LABOUR, datetime.fromtimestamp(service.done, UTC).astimezone(zone).date())
        hours = bill.labour_h or 0.0
        invoices, own_h, wages, unpriced = found.get(year, (0.0, 0.0, 0.0, False))
        found[year] = (
            invoices + (bill.cost or 0.0),
            own_h + hours,
            wages + hours * (wage or 0.0),
            unpriced or (hours > 0 and wage is None),
        )
    return found
