"""Hours per tonne by press, crop and season, with further figures.

How runs are counted:

- A run counts once it has ended, for the season in which it started.
- Purge runs are left out of every rate and sum and shown separately: their seed cleans the press.
- Runs without hours are left out of every rate and sum and shown separately: seed without hours has no rate.
- Oil yield is that of the runs whose oil was weighed: their oil divided by their seed.
- Money is that of the runs as described in `costs`, and only on request: of all runs that have ended, worked
  out ones included. The cost of a line has the kinds of cost that all presses compared have on record.
- The standardised rate of a press applies its own rate for each crop to a mix of crops that the presses
  compared have in common (`grounds`).
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from zoneinfo import ZoneInfo

import numpy as np
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.compare.costs.money import Basket, Money, basket_of, money_of
from wearlog.compare.costs.runs import RunCosts, any_recorded, costs_of_runs
from wearlog.compare.grounds import MixShare, PairFigure, PressFigure, standardised
from wearlog.compare.ledger import prices
from wearlog.compare.over_seasons import OverSeasons, over_seasons
from wearlog.compare.runtable import Floats, Places, RunTable, load
from wearlog.compare.sums import SUMS, SumTable, load_some, load_sums
from wearlog.history.cache import VersionCache
from wearlog.history.runs import last_run
from wearlog.people.models import Mill
from wearlog.runs.seasons import SEASON_START, parse_start, season_name, season_years

GROUPS = ("press", "crop", "season")


class BadGrouping(ValueError):
    """A grouping that does not exist."""


@dataclass(frozen=True, kw_only=True)
class Line:
    """One row of the comparison. The names of groups that are not used are empty. Rates are None where they
    can't be computed: no seed, no hours, no oil weighed."""

    press: str
    press_name: str
    crop: str
    season: str
    runs: int
    hours_h: float
    seed_kg: float
    hours_per_tonne: float | None
    kg_per_h: float | None
    oil_kg: float | None
    oil_pct: float | None
    purge_runs: int
    purge_kg: float
    purge_h: float
    runs_without_hours: int
    seed_without_hours_kg: float
    runs_worked_out: int = 0
    """Runs with hours whose seed was worked out from the usual rate: in no rate, shown separately."""
    seed_worked_out_kg: float = 0.0
    money: Money | None = None
    """Only if requested, and where some money is recorded."""


@dataclass(frozen=True, kw_only=True)
class Comparison:
    by: tuple[str, ...]
    season_start: str
    lines: list[Line]
    total: Line
    presses: list[PressFigure]
    mix: list[MixShare]
    """The common crop mix; empty where the presses have no crop in common."""
    left_out: list[MixShare]
    """The other crops, with their shares of the seed of the presses compared."""
    pairs: list[PairFigure]
    """Presses two by two, each pair on the crops that both ran, where all together can't be compared, or
    only on less than half of their seed."""
    running: int
    currency: str
    """The mill's currency, for columns of money."""
    earned_on: tuple[str, ...]
    """The crops that what is left is based on, if only some have a price of seed; else empty."""
    basket: Basket | None
    """The kinds of cost that are compared; None where money was not asked for, or none is recorded."""
    choices: dict[str, list[tuple[str, str]]]
    """The choices of the filters: for press, crop and season a list of (value, words)."""
    over: OverSeasons | None = None
    """From season to season, only if requested."""


def parse_by(text: str) -> tuple[str, ...]:
    """`press,crop` as a tuple in the order of `GROUPS`. Raises BadGrouping for unknown names or none."""
    requested = [word.strip() for word in text.split(",") if word.strip()]
    unknown = [word for word in requested if word not in GROUPS]
    if unknown or not requested:
        raise BadGrouping(
            _("Can't group by “%(text)s”: name one or more of %(groups)s, comma between.")
            % {"text": text, "groups": ", ".join(GROUPS)}
        )
    return tuple(group for group in GROUPS if group in requested)


def compare(
    *,
    by: Sequence[str] = GROUPS,
    season_start: str = SEASON_START,
    presses: Collection[str] = (),
    crops: Collection[str] = (),
    seasons: Collection[str] = (),
    money_on: date | None = None,
    over: bool = False,
) -> Comparison:
    """Compare the recorded runs. `presses`, `crops` and `seasons` keep only those named (by code, or by the
    season's name); empty keeps all. `money_on`: include costs as of a day, for readers who may see them;
    `over`: the presses from season to season. Raises BadSeasonStart."""
    return compare_each(
        [by],
        season_start=season_start,
        presses=presses,
        crops=crops,
        seasons=seasons,
        money_on=money_on,
        over=over,
    )[0]


def compare_each(
    groupings: Sequence[Sequence[str]],
    *,
    season_start: str = SEASON_START,
    presses: Collection[str] = (),
    crops: Collection[str] = (),
    seasons: Collection[str] = (),
    money_on: date | None = None,
    over: bool = False,
) -> list[Comparison]:
    """The same runs compared by several groupings, as by `compare`; what they share is read once."""
    log = _Shared(parse_start(season_start), last_run())
    kept = tuple(tuple(sorted(each)) for each in (presses, crops, seasons))

    def one(by: Sequence[str]) -> Comparison:
        key = (tuple(by), season_start, *kept, money_on, over, get_language() or "", log.last)
        return _KEPT.get(
            key, lambda: _compare(log, by, presses, crops, seasons, money_on=money_on, over=over)
        )

    return [one(by) for by in groupings]


def season_names(season_start: str = SEASON_START) -> tuple[str, ...]:
    """The seasons in which runs ended, the newest first."""
    start = parse_start(season_start)
    years = np.unique(load_sums(start).year)[::-1]
    return tuple(season_name(int(year), start) for year in years)


@dataclass(frozen=True)
class _Shared:
    """What comparisons of the same runs share. start: of the seasons; last: the key of the last run."""

    start: tuple[int, int]
    last: int

    @cached_property
    def sums(self) -> SumTable:
        return load_sums(self.start, self.last)

    @cached_property
    def mill(self) -> Mill:
        return Mill.current()


_KEPT: VersionCache[tuple[object, ...], Comparison] = VersionCache("comparisons", most=8)
"""As they were asked for; each holds some hundred bytes for each line."""


def _compare(
    log: _Shared,
    by: Sequence[str],
    presses: Collection[str],
    crops: Collection[str],
    seasons: Collection[str],
    *,
    money_on: date | None,
    over: bool,
) -> Comparison:
    start, table, mill = log.start, log.sums, log.mill
    names = {int(year): season_name(int(year), start) for year in np.unique(table.year)}
    kept = np.ones(table.press.size, dtype=np.bool_)
    if presses:
        kept &= np.isin(
            table.press, [place for place, code in enumerate(table.press_codes) if code in presses]
        )
    if crops:
        kept &= np.isin(table.crop, [place for place, code in enumerate(table.crop_codes) if code in crops])
    if seasons:
        kept &= np.isin(table.year, [year for year, name in names.items() if name in seasons])
    filtered = table if kept.all() else table.where(kept)
    found = _summarise(filtered, names, tuple(group for group in GROUPS if group in by), start, mill.currency)
    if money_on is not None:
        found = _with_money(found, filtered, mill.zone, log, money_on)
    return replace(found, over=over_seasons(filtered, start)) if over else found


def _summarise(
    table: SumTable, names: dict[int, str], by: tuple[str, ...], start: tuple[int, int], currency: str
) -> Comparison:
    """The comparison without money. names: of all seasons, by the years in which they began."""
    grounds = standardised(table)
    total = {name: np.array([column.sum()]) for name, column in table.sums.items()}
    return Comparison(
        by=by,
        season_start=f"{start[0]:02d}-{start[1]:02d}",
        lines=_lines(table, names, by),
        total=_line(total, 0, {}),
        presses=grounds.presses,
        mix=grounds.mix,
        left_out=grounds.left_out,
        pairs=grounds.pairs,
        running=table.running,
        currency=currency,
        earned_on=(),
        basket=None,
        choices={
            "press": list(zip(table.press_codes, table.press_names, strict=True)),
            "crop": [(code, code) for code in table.crop_codes],
            "season": [(names[year], names[year]) for year in sorted(names, reverse=True)],
        },
    )


_COSTS: VersionCache[tuple[object, ...], RunCosts | None] = VersionCache("what runs cost", most=2)


def known_costs(
    table: RunTable, *, on: date, start: tuple[int, int], last: int | None = None
) -> RunCosts | None:
    """The costs of all runs as of a day; None where nothing about money is recorded. last: the key of the
    last run, where the caller knows it."""

    def make() -> RunCosts | None:
        priced = prices()
        return costs_of_runs(table, priced, on=on, start=start) if any_recorded(priced) else None

    return _COSTS.get((on, start, last_run() if last is None else last), make)


def _with_money(found: Comparison, sums: SumTable, zone: ZoneInfo, log: _Shared, on: date) -> Comparison:
    """The comparison with what its runs cost and earned. sums: those that it was made of."""
    table, start = load(log.last), log.start
    costs = known_costs(table, on=on, start=start, last=log.last)
    if costs is None:
        return found
    years = season_years(table.started, start, zone)
    cells = _codes(sums, sums.press, sums.crop, sums.year, GROUPS)
    rows = np.flatnonzero(np.isin(_codes(sums, table.press, table.crop, years, GROUPS), cells))
    codes = _codes(sums, table.press[rows], table.crop[rows], years[rows], found.by)
    basket = basket_of(table, costs, rows)
    lines = found.lines
    if lines:
        of_lines = np.unique(_codes(sums, sums.press, sums.crop, sums.year, found.by))
        member = np.searchsorted(of_lines, codes)
        earned = money_of(table, costs, rows, member, len(lines), basket)
        lines = [replace(line, money=each) for line, each in zip(lines, earned, strict=True)]
    whole = money_of(table, costs, rows, np.zeros(rows.size, dtype=np.int64), 1, basket)[0]
    earned_on = found.earned_on
    if costs.seed_priced:
        priced = rows[~np.isnan(costs.seed[rows])]
        if len(priced) < len(rows):
            earned_on = tuple(table.crop_codes[place] for place in np.unique(table.crop[priced]))
    of_press = money_of(table, costs, rows, table.press[rows], len(table.press_codes), basket)
    place_of = {code: place for place, code in enumerate(table.press_codes)}
    return replace(
        found,
        lines=lines,
        total=replace(found.total, money=whole),
        presses=[replace(each, money=of_press[place_of[each.press]]) for each in found.presses],
        earned_on=earned_on,
        basket=basket,
    )


def season_lines(press_ids: Collection[int], *, season: str) -> dict[int, Line]:
    """A season's line of the comparison for each of these presses that has run in it."""
    start = parse_start(SEASON_START)
    table = load_some(press_ids, start)
    names = {int(year): season_name(int(year), start) for year in np.unique(table.year)}
    wanted = table.where(np.isin(table.year, [year for year, name in names.items() if name == season]))
    lines = {line.press: line for line in _lines(wanted, names, ("press", "season"))}
    codes = zip(press_ids, table.press_codes, strict=True)
    return {press_id: lines[code] for press_id, code in codes if code in lines}


def _codes(table: SumTable, press: Places, crop: Places, year: Places, by: Sequence[str]) -> Places:
    """A number for each group that is the same for all of its runs, in the order of the groups."""
    columns = {"press": press, "crop": crop, "season": year}
    sizes = {"press": len(table.press_codes), "crop": len(table.crop_codes), "season": 10_000}
    code = np.zeros(press.size, dtype=np.int64)
    for group in by:
        code = code * sizes[group] + columns[group]
    return code


def _lines(table: SumTable, names: dict[int, str], by: Sequence[str]) -> list[Line]:
    """A line for each group of runs, in the order of their codes."""
    if not table.press.size or not by:
        return []
    columns = {"press": table.press, "crop": table.crop, "season": table.year}
    codes = _codes(table, table.press, table.crop, table.year, by)
    _found, first, member = np.unique(codes, return_index=True, return_inverse=True)
    sums = {name: table.group(member, first.size, name) for name in SUMS}
    keys = np.stack([columns[group][first] for group in by], axis=1)
    return [_line(sums, place, _labels(table, names, by, key)) for place, key in enumerate(keys.tolist())]


def _labels(table: SumTable, names: dict[int, str], by: Sequence[str], key: list[int]) -> dict[str, str]:
    labels = {}
    for group, value in zip(by, key, strict=True):
        if group == "press":
            labels["press"], labels["press_name"] = table.press_codes[value], table.press_names[value]
        elif group == "crop":
            labels["crop"] = table.crop_codes[value]
        else:
            labels["season"] = names[value]
    return labels


def _line(sums: dict[str, Floats], place: int, labels: dict[str, str]) -> Line:
    value = {name: float(column[place]) for name, column in sums.items()}
    oil_known = value["weighed"] > 0
    return Line(
        press=labels.get("press", ""),
        press_name=labels.get("press_name", ""),
        crop=labels.get("crop", ""),
        season=labels.get("season", ""),
        runs=int(value["runs"]),
        hours_h=value["hours"],
        seed_kg=value["seed"],
        hours_per_tonne=units.hours_per_tonne(value["hours"], value["seed"]),
        kg_per_h=value["seed"] / value["hours"] if value["hours"] > 0 else None,
        oil_kg=value["oil"] if oil_known else None,
        oil_pct=100 * value["oil"] / value["oil_seed"] if oil_known and value["oil_seed"] > 0 else None,
        purge_runs=int(value["purge_runs"]),
        purge_kg=value["purge_seed"],
        purge_h=value["purge_hours"],
        runs_without_hours=int(value["untimed_runs"]),
        seed_without_hours_kg=value["untimed_seed"],
        runs_worked_out=int(value["worked_out_runs"]),
        seed_worked_out_kg=value["worked_out_seed"],
    )
