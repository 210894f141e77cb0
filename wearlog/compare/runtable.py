"""All runs that have ended, as arrays: the data of comparisons."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from wearlog.history import versions
from wearlog.history.cache import RunsCache, VersionCache
from wearlog.history.log import Setup, load_log
from wearlog.history.rows import WORKED_OUT, PressRow
from wearlog.history.runs import NO_RUNS, PressLog, PressRuns, last_run, runs_and_readings
from wearlog.history.yields import WEIGHED, Columns

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.int64]
Kind = TypeVar("Kind", bound=np.generic)


@dataclass(frozen=True)
class RunTable:
    """Parallel arrays, one entry per run that has ended. `press` and `crop` are indexes into the tuples of
    codes; instants are seconds since 1970; hours, oil, cake and energy are nan where not known."""

    press_codes: tuple[str, ...]
    press_names: tuple[str, ...]
    crop_codes: tuple[str, ...]
    id: Places
    """The primary keys, in their order."""
    press: Places
    crop: Places
    started: Floats
    hours: Floats
    seed_kg: Floats
    oil_kg: Floats
    cake_kg: Floats
    energy_kwh: Floats
    purge: npt.NDArray[np.bool_]
    worked_out: npt.NDArray[np.bool_]
    """Runs whose seed was worked out from the usual rate: they count in no rate."""
    running: int
    """The number of runs that have not ended; they are not counted yet."""

    def at(self, rows: Places) -> RunTable:
        """The table of the runs at these indexes, in order."""
        return replace(
            self,
            id=self.id[rows],
            press=self.press[rows],
            crop=self.crop[rows],
            started=self.started[rows],
            hours=self.hours[rows],
            seed_kg=self.seed_kg[rows],
            oil_kg=self.oil_kg[rows],
            cake_kg=self.cake_kg[rows],
            energy_kwh=self.energy_kwh[rows],
            purge=self.purge[rows],
            worked_out=self.worked_out[rows],
        )


_KEPT: VersionCache[int, RunTable] = VersionCache("the runs in one table", most=1)


def load(last: int | None = None) -> RunTable:
    """The runs as they are now, cached until the log changes.

    The last run's primary key is part of the key beside the log's version, so that runs added to the database
    directly, not through the actions of the log, are noticed too. last: where the caller knows it.
    """
    number = versions.latest().number
    last = last_run() if last is None else last
    return _KEPT.get(last, lambda: _table(load_log().setup, last), number=number)


def _natural(code: str) -> tuple[object, ...]:
    """A sort key that puts P2 before P10."""
    return tuple(
        (0, int(part), "") if part.isdecimal() else (1, 0, part) for part in re.split(r"(\d+)", code)
    )


def _table(setup: Setup, last: int) -> RunTable:
    """The table of all runs that have ended, in order of their primary keys."""
    presses = in_order(setup)
    return joined(setup, presses, of_presses([press.id for press in presses], every=True, last=last))


def in_order(setup: Setup) -> list[PressRow]:
    """The presses, P2 before P10."""
    return sorted(setup.presses.values(), key=lambda press: _natural(press.code))


@dataclass(frozen=True, eq=False)
class Cells:
    """What the runs of one press amounted to (`sums`). keys: primary key of the crop, year in which the
    season began, and week since 1970 of each cell, shape (n, 3), sorted. sums: shape (n, sums)."""

    keys: Places
    sums: Floats


MOST_CELLS = 2
"""Cells for so many beginnings of a season are kept with a press's runs."""


@dataclass(frozen=True, eq=False)
class OfPress:
    """What comparisons take from one press: its runs, what they gave, and their hours as far as they were
    asked for, by whether the press counts by its meter. cells: sums of them, by what else these depend
    on."""

    log: PressLog
    given: Columns
    hours: dict[bool, Floats] = field(default_factory=dict)
    cells: dict[Hashable, Cells] = field(default_factory=dict)

    @property
    def runs(self) -> PressRuns:
        return self.log.runs or NO_RUNS

    @property
    def ended(self) -> npt.NDArray[np.bool_]:
        return ~(np.isnan(self.runs.ended) & np.isnan(self.runs.recorded_h))

    @cached_property
    def running(self) -> int:
        """The number of runs that have not ended."""
        return int(np.count_nonzero(~self.ended))

    def press_hours(self, *, by_meter: bool) -> Floats:
        if by_meter not in self.hours:
            self.hours[by_meter] = self.log.press_hours(by_meter=by_meter)
        return self.hours[by_meter]

    def keep(self, key: Hashable, cells: Cells) -> None:
        while len(self.cells) >= MOST_CELLS:
            self.cells.pop(next(iter(self.cells)), None)
        self.cells[key] = cells


MOST_MB = 256
"""Runs with their hours and what they gave, kept for comparisons; most of their arrays are those of
`history.runs`, counted once more."""
_OF_PRESS: RunsCache[OfPress] = RunsCache("runs to be compared", most_mb=MOST_MB)


def of_presses(press_ids: Collection[int], *, every: bool, last: int | None = None) -> dict[int, OfPress]:
    """The runs of each of these presses as they are now. every: they are all presses. last: the largest key
    of all runs, by which runs that came past the actions of the log are noticed."""
    logs = runs_and_readings(press_ids, every=every, last_run=last)

    def make(some: list[int]) -> dict[int, OfPress]:
        ids = {press_id: (logs[press_id].runs or NO_RUNS).id for press_id in some}
        given = WEIGHED.of(ids, every=every and len(some) == len(press_ids))
        return {press_id: OfPress(logs[press_id], given[press_id]) for press_id in some}

    found = _OF_PRESS.get(press_ids, make)
    other = [press_id for press_id in press_ids if found[press_id].log is not logs[press_id]]
    return found | make(other) if other else found


def joined(setup: Setup, presses: Sequence[PressRow], runs: Mapping[int, OfPress]) -> RunTable:
    """The runs of these presses, in the order given, in one table."""
    nothing = OfPress(PressLog(None, None), WEIGHED.nothing)
    parts = [runs[press.id] for press in presses]

    def column_of(column: Callable[[OfPress], npt.NDArray[Kind]]) -> npt.NDArray[Kind]:
        return np.concatenate([column(nothing), *(column(part) for part in parts)])

    sizes = [part.runs.id.size for part in parts]
    hours = np.concatenate(
        [
            np.zeros(0),
            *(part.press_hours(by_meter=press.by_meter) for press, part in zip(presses, parts, strict=True)),
        ]
    )
    ended = column_of(lambda part: part.ended)
    order = np.argsort(column_of(lambda part: part.runs.id))
    order = order[ended[order]]
    return RunTable(
        press_codes=tuple(press.code for press in presses),
        press_names=tuple(press.label for press in presses),
        crop_codes=tuple(code for _, code in setup.crops),
        id=column_of(lambda part: part.runs.id)[order],
        press=np.repeat(np.arange(len(presses), dtype=np.int64), sizes)[order],
        crop=places_of(column_of(lambda part: part.runs.crop_id)[order], [pk for pk, _ in setup.crops]),
        started=column_of(lambda part: part.runs.start)[order],
        # A run with seed but 0 hours lacks a figure; it does not mean that the press is infinitely fast.
        hours=np.where(hours > 0, hours, np.nan)[order],
        seed_kg=column_of(lambda part: part.runs.seed_kg)[order],
        oil_kg=column_of(lambda part: part.given["oil_kg"])[order],
        cake_kg=column_of(lambda part: part.given["cake_kg"])[order],
        energy_kwh=column_of(lambda part: part.given["energy_kwh"])[order],
        purge=column_of(lambda part: part.runs.purge)[order],
        worked_out=column_of(lambda part: part.runs.seed_how == WORKED_OUT)[order],
        running=int(np.count_nonzero(~ended)),
    )


def places_of(keys: Places, known: list[int]) -> Places:
    """For each key its index in `known`."""
    if not keys.size:
        return keys
    order = np.argsort(known)
    places: Places = order[np.searchsorted(np.array(known)[order], keys)].astype(np.int64)
    return places
