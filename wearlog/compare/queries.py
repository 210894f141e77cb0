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
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.compare.costs.money import Basket, Money, basket_of, money_of
from wearlog.compare.costs.runs import RunCosts, any_recorded, costs_of_runs
from wearlog.compare.grounds import MixShare, PairFigure, PressFigure, standardised
from wearlog.compare.over_seasons import OverSeasons, over_seasons
from wearlog.compare.runtable import Places, RunTable, load, load_each
from wearlog.history.cache import RunsCache, VersionCache
from wearlog.history.log import Setup, load_log
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
    key = (tuple(by), season_start, *(tuple(sorted(kept)) for kept in (presses, crops, seasons)))

    def make() -> Comparison:
        return _compare(by, parse_start(season_start), presses, crops, seasons, money_on=money_on, over=over)

    return _KEPT.get((*key, money_on, over, get_language() or "", last_run()), make)


_KEPT: VersionCache[tuple[object, ...], Comparison] = VersionCache("comparisons", most=8)
"""As they were asked for; each holds some hundred bytes for each line."""


def _compare(
    by: Sequence[str],
    start: tuple[int, int],
    presses: Collection[str],
    crops: Collection[str],
    seasons: Collection[str],
    *,
    money_on: date | None,
    over: bool,
) -> Comparison:
    table, mill = load(), Mill.current()
    found = summarise(
        table,
        zone=mill.zone,
        by=by,
        start=start,
        presses=presses,
        crops=crops,
        seasons=seasons,
        costs=None if money_on is None else known_costs(table, on=money_on, start=start),
        currency=mill.currency,
    )
    if not over:
        return found
    kept = over_seasons(table, zone=mill.zone, start=start, presses=presses, crops=crops, seasons=seasons)
    return replace(found, over=kept)


_COSTS: VersionCache[tuple[object, ...], RunCosts | None] = VersionCache("what runs cost", most=2)


def known_costs(table: RunTable, *, on: date, start: tuple[int, int]) -> RunCosts | None:
    """The costs of all runs as of a day; None where nothing about money is recorded."""

    def make() -> RunCosts | None:
        return costs_of_runs(table, on=on, start=start) if any_recorded() else None

    return _COSTS.get((on, start, last_run()), make)


def summarise(
    table: RunTable,
    *,
    zone: ZoneInfo,
    by: Sequence[str],
    start: tuple[int, int],
    presses: Collection[str] = (),
    crops: Collection[str] = (),
    seasons: Collection[str] = (),
    costs: RunCosts | None = None,
    currency: str = "",
) -> Comparison:
    by = tuple(group for group in GROUPS if group in by)
    years = season_years(table.started, start, zone)
    names = {int(year): season_name(int(year), start) for year in np.unique(years)}
    kept = np.ones(table.press.size, dtype=np.bool_)
    if presses:
        kept &= np.isin(
            table.press, [place for place, code in enumerate(table.press_codes) if code in presses]
        )
    if crops:
        kept &= np.isin(table.crop, [place for place, code in enumerate(table.crop_codes) if code in crops])
    if seasons:
        kept &= np.isin(years, [year for year, name in names.items() if name in seasons])
    rows = np.flatnonzero(kept)
    lines, member = _lines(table, rows, years, names, by)
    basket = None if costs is None else basket_of(table, costs, rows)
    if costs is not None and basket is not None and lines:
        earned = money_of(table, costs, rows, member, len(lines), basket)
        lines = [replace(line, money=each) for line, each in zip(lines, earned, strict=True)]
    everything = _sums(table, rows, np.zeros(rows.size, dtype=np.int64), 1)
    total = _line(everything, 0, {})
    earned_on: tuple[str, ...] = ()
    grounds = standardised(table, rows)
    figures = grounds.presses
    if costs is not None and basket is not None:
        whole = money_of(table, costs, rows, np.zeros(rows.size, dtype=np.int64), 1, basket)
        total = replace(total, money=whole[0])
        if costs.seed_priced:
            priced = rows[~np.isnan(costs.seed[rows])]
            if len(priced) < len(rows):
                earned_on = tuple(table.crop_codes[place] for place in np.unique(table.crop[priced]))
        of_press = money_of(table, costs, rows, table.press[rows], len(table.press_codes), basket)
        figures = [
            replace(figure, money=of_press[table.press_codes.index(figure.press)]) for figure in figures
        ]
    return Comparison(
        by=by,
        season_start=f"{start[0]:02d}-{start[1]:02d}",
        lines=lines,
        total=total,
        presses=figures,
        mix=grounds.mix,
        left_out=grounds.left_out,
        pairs=grounds.pairs,
        running=table.running,
        currency=currency,
        earned_on=earned_on,
        basket=basket,
        choices={
            "press": list(zip(table.press_codes, table.press_names, strict=True)),
            "crop": [(code, code) for code in table.crop_codes],
            "season": [(names[year], names[year]) for year in sorted(names, reverse=True)],
        },
    )


def season_lines(press_ids: Collection[int], *, season: str) -> dict[int, Line]:
    """A season's line of the comparison for each of these presses that has run in it. Kept for each press
    until its runs change."""
    setup = load_log().setup

    def make(some: list[int]) -> dict[int, tuple[object, dict[str, Line]]]:
        tables = load_each(some, setup)
        return {press_id: (_named(press_id), _seasons_of(tables[press_id], setup)) for press_id in some}

    def _named(press_id: int) -> object:
        return setup.presses.get(press_id), setup.zone

    kept = _SEASONS.get(press_ids, make)
    renamed = [press_id for press_id in press_ids if kept[press_id][0] != _named(press_id)]
    found = kept | make(renamed)
    return {press_id: found[press_id][1][season] for press_id in press_ids if season in found[press_id][1]}


_SEASONS: RunsCache[tuple[object, dict[str, Line]]] = RunsCache("the lines of each season")


def _seasons_of(table: RunTable, setup: Setup) -> dict[str, Line]:
    start = parse_start(SEASON_START)
    years = season_years(table.started, start, setup.zone)
    names = {int(year): season_name(int(year), start) for year in np.unique(years)}
    lines, _ = _lines(table, np.arange(table.press.size), years, names, ("press", "season"))
    return {line.season: line for line in lines}


def _lines(
    table: RunTable, rows: Places, years: Places, names: dict[int, str], by: Sequence[str]
) -> tuple[list[Line], Places]:
    """A line for each group of the runs at the indexes `rows`, and the number of each run's line."""
    if not rows.size or not by:
        return [], np.zeros(0, dtype=np.int64)
    columns = {"press": table.press[rows], "crop": table.crop[rows], "season": years[rows]}
    sizes = {"press": len(table.press_codes), "crop": len(table.crop_codes), "season": 10_000}
    code = np.zeros(rows.size, dtype=np.int64)
    for group in by:
        code = code * sizes[group] + columns[group]
    found = np.unique(code, return_index=True, return_inverse=True)
    first, member = found[1], found[2]
    sums = _sums(table, rows, member, first.size)
    keys = np.stack([columns[group][first] for group in by], axis=1)
    lines = [_line(sums, place, _labels(table, names, by, key)) for place, key in enumerate(keys.tolist())]
    return lines, member


def _labels(table: RunTable, names: dict[int, str], by: Sequence[str], key: list[int]) -> dict[str, str]:
    labels = {}
    for group, value in zip(by, key, strict=True):
        if group == "press":
            labels["press"], labels["press_name"] = table.press_codes[value], table.press_names[value]
        elif group == "crop":
            labels["crop"] = table.crop_codes[value]
        else:
            labels["season"] = names[value]
    return labels


def _sums(table: RunTable, rows: Places, member: Places, groups: int) -> dict[str, npt.NDArray[np.float64]]:
    """Sums over each group of the runs at the indexes `rows`; `member` is the group number of each run."""
    hours, seed, oil = table.hours[rows], table.seed_kg[rows], table.oil_kg[rows]
    purge, timed, worked_out = table.purge[rows], ~np.isnan(hours), table.worked_out[rows]
    counted = timed & ~purge & ~worked_out
    weighed = counted & ~np.isnan(oil)

    def total(
        which: npt.NDArray[np.bool_], amount: npt.NDArray[np.float64] | None = None
    ) -> npt.NDArray[np.float64]:
        weights = None if amount is None else amount[which]
        return np.bincount(member[which], weights=weights, minlength=groups).astype(np.float64)

    return {
        "runs": total(counted),
        "hours": total(counted, hours),
        "seed": total(counted, seed),
        "weighed": total(weighed),
        "oil": total(weighed, oil),
        "oil_seed": total(weighed, seed),
        "purge_runs": total(purge),
        "purge_seed": total(purge, seed),
        "purge_hours": total(purge & timed, hours),
        "untimed_runs": total(~purge & ~timed),
        "untimed_seed": total(~purge & ~timed, seed),
        "worked_out_runs": total(timed & ~purge & worked_out),
        "worked_out_seed": total(timed & ~purge & worked_out, seed),
    }


def _line(sums: dict[str, npt.NDArray[np.float64]], place: int, labels: dict[str, str]) -> Line:
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
