"""Hours per tonne of each press from season to season, at crops that make the seasons comparable.

The best ground are the crops that every press ran in each of its seasons: then all seasons of all presses can
be held against each other. Where they are none, or leave out more than half of the seed, each press is given
at the crops that it ran itself in each of its seasons; and where it has none, as pressed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from wearlog.calc import mix
from wearlog.compare.grounds import MUCH_LEFT_OUT
from wearlog.compare.runtable import Floats
from wearlog.compare.sums import SumTable
from wearlog.runs.seasons import season_name

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


def over_seasons(table: SumTable, start: tuple[int, int]) -> OverSeasons:
    """The presses of the table over its last seasons. start: month and day on which a season begins."""
    table = table.where(table.sums["fed_runs"] > 0)
    if not table.press.size:
        return OverSeasons((), (), (), 0)
    last = int(table.year.max())
    first = max(int(table.year.min()), last - MOST_SEASONS + 1)
    table = table.where(table.year >= first)
    shown = _most_pressed(table)
    more = int(np.unique(table.press).size) - len(shown)
    table = table.where(np.isin(table.press, shown))
    cells = {(cell.press, cell.year): cell for cell in _cells(table)}
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


def _most_pressed(table: SumTable) -> list[int]:
    """The presses that pressed most, in the order of the table."""
    seed = table.group(table.press, len(table.press_codes), "seed")
    most = np.argsort(-seed, kind="stable")[:MOST_PRESSES]
    return sorted(press for press in most.tolist() if seed[press] > 0)


def _cells(table: SumTable) -> Iterator[_Cell]:
    """The sums by press and season, and within these by crop and week."""
    order = np.lexsort((table.week, table.crop, table.year, table.press))
    keys = np.stack([table.press, table.year, table.crop], axis=1)[order]
    hours, tonnes = table.sums["fed_hours"][order], table.sums["seed"][order] / 1000
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
    table: SumTable,
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


def _crops(table: SumTable, ground: mix.Ground) -> tuple[str, ...]:
    return tuple(code for code, share in zip(table.crop_codes, ground.mix, strict=True) if share > 0)
