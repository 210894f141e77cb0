"""What runs amounted to, summed for each press, crop, season and week: the ground of comparisons.

The sums of a press are kept with its runs (`runtable`), so that an entry makes only those of its press stale,
and a comparison adds up some fifty cells for each press and year, whatever number of runs they hold. Sums
of a press are added up in the order of its runs' primary keys, whoever makes them.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from wearlog.compare import runtable
from wearlog.compare.runtable import Cells, Floats, OfPress, Places, RunTable
from wearlog.history.log import Setup, load_log
from wearlog.history.rows import PressRow
from wearlog.history.runs import last_run
from wearlog.runs.seasons import season_years

WEEK_S = 7 * 24 * 3600
START = tuple[int, int]
"""Month and day on which a season begins."""

SUMS = (
    *("runs", "hours", "seed"),
    *("weighed", "oil", "oil_seed"),
    *("purge_runs", "purge_seed", "purge_hours"),
    *("untimed_runs", "untimed_seed"),
    *("worked_out_runs", "worked_out_seed"),
    *("fed_runs", "fed_hours"),
)
"""What is summed of a cell's runs: of those counted (with hours, no purge, seed not worked out), of those of
them whose oil was weighed, of purge runs, of runs without hours, of runs whose seed was worked out, and of
those counted that took seed."""


@dataclass(frozen=True, eq=False)
class SumTable:
    """The cells of some presses, shape (n,) each. `press` and `crop` are indexes into the tuples of codes;
    `year` is that in which the season began; `sums` has each of `SUMS`."""

    press_codes: tuple[str, ...]
    press_names: tuple[str, ...]
    crop_codes: tuple[str, ...]
    press: Places
    crop: Places
    year: Places
    week: Places
    sums: dict[str, Floats]
    running: int

    def where(self, kept: npt.NDArray[np.bool_]) -> SumTable:
        """The same table with some of its cells."""
        return replace(
            self,
            press=self.press[kept],
            crop=self.crop[kept],
            year=self.year[kept],
            week=self.week[kept],
            sums={name: column[kept] for name, column in self.sums.items()},
        )

    def group(self, member: Places, groups: int, name: str) -> Floats:
        """One of the sums for each group of cells; `member` is the group number of each."""
        return np.bincount(member, weights=self.sums[name], minlength=groups).astype(np.float64)


def load_sums(start: START, last: int | None = None) -> SumTable:
    """The sums of all presses as they are now. start: of the seasons; last: the key of the last run, where
    the caller knows it."""
    setup = load_log().setup
    presses = runtable.in_order(setup)
    # Runs that came past the actions of the log are noticed by the last key.
    runs = runtable.of_presses(
        [press.id for press in presses], every=True, last=last_run() if last is None else last
    )
    return _joined(setup, presses, runs, start)


def load_some(press_ids: Collection[int], start: START) -> SumTable:
    """The sums of these presses as they are now."""
    setup = load_log().setup
    presses = [setup.presses[press_id] for press_id in press_ids]
    runs = runtable.of_presses(press_ids, every=len(press_ids) == len(setup.presses))
    return _joined(setup, presses, runs, start)


def _cells_of(
    presses: Sequence[PressRow], runs: dict[int, OfPress], setup: Setup, start: START
) -> list[Cells]:
    """The cells of each of these presses: those that are kept with its runs, else made, all at once."""
    keys = {press.id: (start, str(setup.zone), press.by_meter) for press in presses}
    found = {press.id: runs[press.id].cells.get(keys[press.id]) for press in presses}
    new = [press for press in presses if found[press.id] is None]
    if new:
        table = runtable.joined(setup, new, runs)
        crop_ids = np.array([pk for pk, _ in setup.crops], dtype=np.int64)
        for press, cells in zip(new, _cells(table, crop_ids, setup.zone, start), strict=True):
            found[press.id] = cells
            runs[press.id].keep(keys[press.id], cells)
    return [cells for cells in found.values() if cells is not None]


def _cells(table: RunTable, crop_ids: Places, zone: ZoneInfo, start: START) -> list[Cells]:
    """The cells of each press of the table, in its order."""
    presses = len(table.press_codes)
    week = (table.started // WEEK_S).astype(np.int64)
    years = season_years(table.started, start, zone)
    crops = crop_ids[table.crop] if table.crop.size else table.crop
    columns = (table.press, crops, years, week)
    order = np.lexsort(columns[::-1])
    rows = np.stack([column[order] for column in columns], axis=1)
    first = np.any(np.diff(rows, axis=0, prepend=-1) != 0, axis=1)
    member = np.empty(order.size, dtype=np.int64)
    member[order] = np.cumsum(first) - 1
    keys = rows[first]
    sums = np.stack(_sums(table, member, len(keys)), axis=1)
    borders = np.searchsorted(keys[:, 0], np.arange(presses + 1))
    return [Cells(keys[begin:end, 1:], sums[begin:end]) for begin, end in pairwise(borders.tolist())]


def _sums(table: RunTable, member: Places, groups: int) -> list[Floats]:
    """Each of `SUMS` over each group of runs; `member` is the group number of each run."""
    hours, seed, oil = table.hours, table.seed_kg, table.oil_kg
    purge, timed, worked_out = table.purge, ~np.isnan(hours), table.worked_out
    counted = timed & ~purge & ~worked_out
    weighed, fed = counted & ~np.isnan(oil), counted & (seed > 0)
    untimed, from_rate = ~purge & ~timed, timed & ~purge & worked_out
    wanted: list[tuple[npt.NDArray[np.bool_], Floats | None]] = [
        *((counted, None), (counted, hours), (counted, seed)),
        *((weighed, None), (weighed, oil), (weighed, seed)),
        *((purge, None), (purge, seed), (purge & timed, hours)),
        *((untimed, None), (untimed, seed)),
        *((from_rate, None), (from_rate, seed)),
        *((fed, None), (fed, hours)),
    ]
    return [
        np.bincount(
            member[which], weights=None if amount is None else amount[which], minlength=groups
        ).astype(np.float64)
        for which, amount in wanted
    ]


def _joined(setup: Setup, presses: Sequence[PressRow], runs: dict[int, OfPress], start: START) -> SumTable:
    cells = _cells_of(presses, runs, setup, start)
    keys = np.concatenate([np.zeros((0, 3), dtype=np.int64), *(each.keys for each in cells)])
    sums = np.concatenate([np.zeros((0, len(SUMS))), *(each.sums for each in cells)])
    return SumTable(
        press_codes=tuple(press.code for press in presses),
        press_names=tuple(press.label for press in presses),
        crop_codes=tuple(code for _, code in setup.crops),
        press=np.repeat(np.arange(len(presses), dtype=np.int64), [len(each.keys) for each in cells]),
        crop=runtable.places_of(keys[:, 0], [pk for pk, _ in setup.crops]),
        year=keys[:, 1],
        week=keys[:, 2],
        sums={name: np.ascontiguousarray(sums[:, place]) for place, name in enumerate(SUMS)},
        running=sum(runs[press.id].running for press in presses),
    )
