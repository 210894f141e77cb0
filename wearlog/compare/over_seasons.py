"""Hours per tonne of each press from season to season, at crops that make the seasons comparable.

The best ground are the crops that every press ran in each of its seasons: then all seasons of all presses can
be held against each other. Where they are none, or leave out more than half of the seed, each press is given
at the crops that it ran itself in each of its seasons; and where it has none, as pressed.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np

from wearlog.calc import mix
from wearlog.compare.grounds import MUCH_LEFT_OUT, WEEK_S, Floats
from wearlog.compare.runtable import Places, RunTable
from wearlog.runs.seasons import season_name, season_years

MOST_SEASONS = 6
"""The last seasons that are shown."""
MOST_PRESSES = 12
"""Of more presses those that pressed most are shown; the table of all lines has every one."""


@dataclass(frozen=True)
class SeasonRate:
    """Hours per tonne of one press in one season: `crude` as pressed; `rate` at the crops of its ground, with
    its 95 % range, None where there is none."""

    season: str
    tonnes: float
    crude: float
    rate: float | None
    low: float | None
    high: float | None

    @property
    def shown(self) -> float:
        return self.crude if self.rate is None else self.rate


@dataclass(frozen=True)
class PressSeasons:
    """`seasons` has an entry for each season of the comparison, None for one without runs that tell hours per
    tonne. `on` are the crops of its ground, empty where it is shown as pressed; `weights` are theirs."""

    press: str
    press_name: str
    seasons: tuple[SeasonRate | None, ...]
    on: tuple[str, ...]
    weights: tuple[float, ...] = ()

    @property
    def ran(self) -> tuple[SeasonRate, ...]:
        return tuple(one for one in self.seasons if one is not None)


@dataclass(frozen=True)
class OverSeasons:
    """`on` are the crops of the ground of all presses, empty where these differ or there is none.
    `more` is the number of presses that are not shown."""

    names: tuple[str, ...]
    presses: tuple[PressSeasons, ...]
    on: tuple[str, ...]
    more: int


@dataclass(frozen=True)
class _Cell:
    """The hours and tonnes of each crop on one press in one season, and those of its weeks for each crop."""

    press: int
    year: int
    hours: Floats
    tonnes: Floats
    weeks: Sequence[tuple[Floats, Floats]]

    def rate(self, name: str, ground: mix.Ground | None) -> SeasonRate:
        found = None
        if ground is not None:
            found = mix.standardise_hours(self.hours, self.tonnes, ground.mix, self.weeks)
        crude = mix.crude_rate(self.hours, self.tonnes) or 0.0
        tonnes = float(self.tonnes.sum())
        if not isinstance(found, mix.Standardised):
            return SeasonRate(name, tonnes, crude, None, None, None)
        return SeasonRate(name, tonnes, crude, found.rate, found.low, found.high)


def over_seasons(
    table: RunTable,
    *,
    zone: ZoneInfo,
    start: tuple[int, int],
    presses: Collection[str] = (),
    crops: Collection[str] = (),
    seasons: Collection[str] = (),
) -> OverSeasons:
    """The presses of the table over its last seasons, filtered as in `queries.compare`. start: month and day
    on which a season begins."""
    years = season_years(table.started, start, zone)
    kept = ~table.purge & ~np.isnan(table.hours) & ~table.worked_out & (table.seed_kg > 0)
    if presses:
        kept &= np.isin(table.press, [at for at, code in enumerate(table.press_codes) if code in presses])
    if crops:
        kept &= np.isin(table.crop, [at for at, code in enumerate(table.crop_codes) if code in crops])
    if seasons:
        wanted = [year for year in np.unique(years).tolist() if season_name(year, start) in seasons]
        kept &= np.isin(years, wanted)
    rows = np.flatnonzero(kept)
    if not rows.size:
        return OverSeasons((), (), (), 0)
    last = int(years[rows].max())
    first = max(int(years[rows].min()), last - MOST_SEASONS + 1)
    rows = rows[years[rows] >= first]
    shown = _most_pressed(table, rows)
    more = int(np.unique(table.press[rows]).size) - len(shown)
    rows = rows[np.isin(table.press[rows], shown)]
    cells = {(cell.press, cell.year): cell for cell in _cells(table, rows, years)}
    of_all = mix.common_ground([cell.tonnes for cell in cells.values()])
    if of_all is not None and sum(of_all.left_out) > MUCH_LEFT_OUT:
        of_all = None
    names = {year: season_name(year, start) for year in range(first, last + 1)}
    found = tuple(_press(table, press, names, cells, of_all) for press in shown)
    grounds = {press.on for press in found}
    return OverSeasons(
        names=tuple(names.values()),
        presses=found,
        on=grounds.pop() if len(grounds) == 1 else (),
        more=more,
    )


def _most_pressed(table: RunTable, rows: Places) -> list[int]:
    """The presses that pressed most, in the order of the table."""
    seed = np.bincount(table.press[rows], weights=table.seed_kg[rows], minlength=len(table.press_codes))
    most = np.argsort(-seed, kind="stable")[:MOST_PRESSES]
    return sorted(press for press in most.tolist() if seed[press] > 0)


def _cells(table: RunTable, rows: Places, years: Places) -> Iterator[_Cell]:
    """The runs at these rows by press and season. One pass sums them by week and crop as well."""
    week = (table.started[rows] // WEEK_S).astype(np.int64)
    columns = np.stack([table.press[rows], years[rows], table.crop[rows], week], axis=1)
    keys, member = np.unique(columns, axis=0, return_inverse=True)
    hours = np.bincount(member.ravel(), weights=table.hours[rows])
    tonnes = np.bincount(member.ravel(), weights=table.seed_kg[rows] / 1000)
    size = len(table.crop_codes)
    begins = np.flatnonzero(np.any(np.diff(keys[:, :2], axis=0, prepend=-1) != 0, axis=1)).tolist()
    for begin, end in zip(begins, [*begins[1:], len(keys)], strict=True):
        crop = keys[begin:end, 2]
        yield _Cell(
            press=int(keys[begin, 0]),
            year=int(keys[begin, 1]),
            hours=np.bincount(crop, weights=hours[begin:end], minlength=size).astype(np.float64),
            tonnes=np.bincount(crop, weights=tonnes[begin:end], minlength=size).astype(np.float64),
            weeks=[
                (hours[begin:end][crop == number], tonnes[begin:end][crop == number])
                for number in range(size)
            ],
        )


def _press(
    table: RunTable,
    press: int,
    names: dict[int, str],
    cells: dict[tuple[int, int], _Cell],
    of_all: mix.Ground | None,
) -> PressSeasons:
    own = [cell for (place, _), cell in cells.items() if place == press]
    ground = of_all or mix.common_ground([cell.tonnes for cell in own])
    found = {cell.year: cell.rate(names[cell.year], ground) for cell in own}
    return PressSeasons(
        press=table.press_codes[press],
        press_name=table.press_names[press],
        seasons=tuple(found.get(year) for year in names),
        on=() if ground is None else _crops(table, ground),
        weights=() if ground is None else tuple(float(share) for share in ground.mix if share > 0),
    )


def _crops(table: RunTable, ground: mix.Ground) -> tuple[str, ...]:
    return tuple(code for code, share in zip(table.crop_codes, ground.mix, strict=True) if share > 0)
