"""Hours per tonne by press, crop and season, with further figures.

How runs are counted:

- A run counts once it has ended, for the season in which it started.
- Purge runs are left out of every rate and sum and shown separately: their seed cleans the press.
- Runs without hours are left out of every rate and sum and shown separately: seed without hours has no rate.
- Oil yield is that of the runs whose oil was weighed: their oil divided by their seed.
- Money is divided among the runs as described in `costs`, and only on request.
- The standardised rate of a press applies its own rate for each crop to the crop mix of all compared runs
  (`calc.mix`); its range is estimated from the differences between the press's weeks.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
from django.utils.translation import gettext as _

from wearlog.calc import mix, units
from wearlog.compare.costs import Money, RunCosts, any_recorded, costs_of_runs, money_of
from wearlog.compare.runtable import Places, RunTable, load
from wearlog.compare.seasons import SEASON_START, parse_start, season_name, season_years
from wearlog.people.models import Mill

GROUPS = ("press", "crop", "season")
WEEK_S = 7 * 24 * 3600


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
class PressFigure:
    """A press's hours per tonne, crude and for the common crop mix. `never_ran` names the crops without which
    it can't be standardised; `why` is the sentence that says so, or why there is no range."""

    press: str
    press_name: str
    crude: float | None
    standardised: float | None
    low: float | None
    high: float | None
    never_ran: tuple[str, ...]
    why: str
    money: Money | None = None


@dataclass(frozen=True, kw_only=True)
class MixShare:
    crop: str
    share_pct: float


@dataclass(frozen=True, kw_only=True)
class Comparison:
    by: tuple[str, ...]
    season_start: str
    lines: list[Line]
    total: Line
    presses: list[PressFigure]
    mix: list[MixShare]
    running: int
    currency: str
    """The mill's currency, for columns of money."""
    earned_on: tuple[str, ...]
    """The crops that the presses' money is based on, if only some have a price of seed; else empty."""
    choices: dict[str, list[tuple[str, str]]]
    """The choices of the filters: for press, crop and season a list of (value, words)."""


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
    money: bool = False,
) -> Comparison:
    """Compare the recorded runs. `presses`, `crops` and `seasons` keep only those named (by code, or by the
    season's name); empty keeps all. `money`: include costs, for readers who may see them. Raises
    BadSeasonStart."""
    start = parse_start(season_start)
    table, mill = load(), Mill.current()
    return summarise(
        table,
        zone=mill.zone,
        by=by,
        start=start,
        presses=presses,
        crops=crops,
        seasons=seasons,
        costs=costs_of_runs(table, mill.zone, start) if money and any_recorded() else None,
        currency=mill.currency,
    )


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

    columns = {"press": table.press[rows], "crop": table.crop[rows], "season": years[rows]}
    lines = []
    if rows.size and by:
        sizes = {"press": len(table.press_codes), "crop": len(table.crop_codes), "season": 10_000}
        code = np.zeros(rows.size, dtype=np.int64)
        for group in by:
            code = code * sizes[group] + columns[group]
        found = np.unique(code, return_index=True, return_inverse=True)
        first, member = found[1], found[2]
        sums = _sums(table, rows, member, first.size)
        keys = np.stack([columns[group][first] for group in by], axis=1)
        lines = [
            _line(sums, place, _labels(table, names, by, key)) for place, key in enumerate(keys.tolist())
        ]
        if costs is not None:
            earned = money_of(table, costs, rows, member, first.size)
            lines = [replace(line, money=each) for line, each in zip(lines, earned, strict=True)]
    everything = _sums(table, rows, np.zeros(rows.size, dtype=np.int64), 1)
    total = _line(everything, 0, {})
    earned_on: tuple[str, ...] = ()
    figures, shares = _standardised(table, rows)
    if costs is not None:
        total = replace(total, money=money_of(table, costs, rows, np.zeros(rows.size, dtype=np.int64), 1)[0])
        priced = rows
        if costs.seed_priced:
            priced = rows[~np.isnan(costs.seed[rows])]
            if len(priced) < len(rows):
                earned_on = tuple(table.crop_codes[place] for place in np.unique(table.crop[priced]))
        of_press = money_of(table, costs, priced, table.press[priced], len(table.press_codes))
        figures = [
            replace(figure, money=of_press[table.press_codes.index(figure.press)]) for figure in figures
        ]
    return Comparison(
        by=by,
        season_start=f"{start[0]:02d}-{start[1]:02d}",
        lines=lines,
        total=total,
        presses=figures,
        mix=shares,
        running=table.running,
        currency=currency,
        earned_on=earned_on,
        choices={
            "press": list(zip(table.press_codes, table.press_names, strict=True)),
            "crop": [(code, code) for code in table.crop_codes],
            "season": [(names[year], names[year]) for year in sorted(names, reverse=True)],
        },
    )


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


def _standardised(table: RunTable, rows: Places) -> tuple[list[PressFigure], list[MixShare]]:
    """Each press of the runs at the indexes `rows`, standardised to the crop mix of all these runs."""
    rows = rows[~table.purge[rows] & ~np.isnan(table.hours[rows]) & ~table.worked_out[rows]]
    crop, press = table.crop[rows], table.press[rows]
    hours, tonnes = table.hours[rows], table.seed_kg[rows] / 1000
    week = (table.started[rows] // WEEK_S).astype(np.int64)
    common = np.bincount(crop, weights=tonnes, minlength=len(table.crop_codes))
    shares = [
        MixShare(crop=table.crop_codes[place], share_pct=100 * float(common[place] / common.sum()))
        for place in np.flatnonzero(common > 0).tolist()
    ]
    figures = []
    for place in np.unique(press).tolist():
        mine = press == place
        size = len(table.crop_codes)
        own_hours = np.bincount(crop[mine], weights=hours[mine], minlength=size)
        own_tonnes = np.bincount(crop[mine], weights=tonnes[mine], minlength=size)
        blocks = []
        for number in range(size):
            which = mine & (crop == number)
            member = np.unique(week[which], return_inverse=True)[1]
            blocks.append(
                (np.bincount(member, weights=hours[which]), np.bincount(member, weights=tonnes[which]))
            )
        result = mix.standardise_hours(own_hours, own_tonnes, common, blocks)
        figures.append(_figure(table, place, result, mix.crude_rate(own_hours, own_tonnes)))
    return figures, shares


def _figure(
    table: RunTable,
    place: int,
    result: mix.Standardised | mix.NeverRan | mix.NoMix,
    crude: float | None,
) -> PressFigure:
    never: tuple[str, ...] = ()
    why = ""
    rate = low = high = None
    if isinstance(result, mix.Standardised):
        rate, low, high = result.rate, result.low, result.high
        if low is None:
            why = _("no range: too few weeks to tell")
    elif isinstance(result, mix.NeverRan):
        never = tuple(table.crop_codes[number] for number in result.missing)
        why = _("never ran %(crops)s") % {"crops": ", ".join(never)}
    else:
        why = _("no seed on record")
    return PressFigure(
        press=table.press_codes[place],
        press_name=table.press_names[place],
        crude=crude,
        standardised=rate,
        low=low,
        high=high,
        never_ran=never,
        why=why,
    )
