"""All runs that have ended, as arrays: the data of comparisons."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
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


def load() -> RunTable:
    """The runs as they are now, cached until the log changes.

    The last run's primary key is part of the key beside the log's version, so that runs added to the database
    directly, not through the actions of the log, are noticed too.
    """
    number = versions.latest().number
    last = last_run()
    return _KEPT.get(last, lambda: _table(load_log().setup, last), number=number)


def _natural(code: str) -> tuple[object, ...]:
    """A sort key that puts P2 before P10."""
    return tuple(
        (0, int(part), "") if part.isdecimal() else (1, 0, part) for part in re.split(r"(\d+)", code)
    )


def load_each(press_ids: Collection[int], setup: Setup) -> dict[int, RunTable]:
    """The runs of each of these presses as they are now; an empty table for a press without runs."""
    found = _of_presses(press_ids, every=len(press_ids) == len(setup.presses))
    return {press_id: _joined(setup, [setup.presses[press_id]], found) for press_id in press_ids}


def _table(setup: Setup, last: int) -> RunTable:
    """The table of all runs that have ended, in order of their primary keys."""
    presses = sorted(setup.presses.values(), key=lambda press: _natural(press.code))
    return _joined(setup, presses, _of_presses([press.id for press in presses], every=True, last=last))


@dataclass(frozen=True, eq=False)
class _OfPress:
    """What the table takes from one press: its runs, what they gave, and their hours as far as they were
    asked for, by whether the press counts by its meter."""

    log: PressLog
    given: Columns
    hours: dict[bool, Floats]

    @property
    def runs(self) -> PressRuns:
        return self.log.runs or NO_RUNS

    def press_hours(self, *, by_meter: bool) -> Floats:
        if by_meter not in self.hours:
            self.hours[by_meter] = self.log.press_hours(by_meter=by_meter)
        return self.hours[by_meter]


MOST_MB = 256
"""Runs with their hours and what they gave, kept for comparisons; most of their arrays are those of
`history.runs`, counted once more."""
_OF_PRESS: RunsCache[_OfPress] = RunsCache("runs to be compared", most_mb=MOST_MB)


def _of_presses(press_ids: Collection[int], *, every: bool, last: int | None = None) -> dict[int, _OfPress]:
    logs = runs_and_readings(press_ids, every=every, last_run=last)

    def make(some: list[int]) -> dict[int, _OfPress]:
        ids = {press_id: (logs[press_id].runs or NO_RUNS).id for press_id in some}
        given = WEIGHED.of(ids, every=every and len(some) == len(press_ids))
        return {press_id: _OfPress(logs[press_id], given[press_id], {}) for press_id in some}

    found = _OF_PRESS.get(press_ids, make)
    other = [press_id for press_id in press_ids if found[press_id].log is not logs[press_id]]
    return found | make(other) if other else found


def _joined(setup: Setup, presses: Sequence[PressRow], of_presses: Mapping[int, _OfPress]) -> RunTable:
    nothing = _OfPress(PressLog(None, None), WEIGHED.nothing, {})
    parts = [of_presses[press.id] for press in presses]

    def joined(column: Callable[[_OfPress], npt.NDArray[Kind]]) -> npt.NDArray[Kind]:
        return np.concatenate([column(nothing), *(column(part) for part in parts)])

    sizes = [part.runs.id.size for part in parts]
    hours = np.concatenate(
        [
            np.zeros(0),
            *(part.press_hours(by_meter=press.by_meter) for press, part in zip(presses, parts, strict=True)),
        ]
    )
    ended = joined(lambda part: ~(np.isnan(part.runs.ended) & np.isnan(part.runs.recorded_h)))
    order = np.argsort(joined(lambda part: part.runs.id))
    order = order[ended[order]]
    return RunTable(
        press_codes=tuple(press.code for press in presses),
        press_names=tuple(press.label for press in presses),
        crop_codes=tuple(code for _, code in setup.crops),
        id=joined(lambda part: part.runs.id)[order],
        press=np.repeat(np.arange(len(presses), dtype=np.int64), sizes)[order],
        crop=_places(joined(lambda part: part.runs.crop_id)[order], [pk for pk, _ in setup.crops]),
        started=joined(lambda part: part.runs.start)[order],
        # A run with seed but 0 hours lacks a figure; it does not mean that the press is infinitely fast.
        hours=np.where(hours > 0, hours, np.nan)[order],
        seed_kg=joined(lambda part: part.runs.seed_kg)[order],
        oil_kg=joined(lambda part: part.given["oil_kg"])[order],
        cake_kg=joined(lambda part: part.given["cake_kg"])[order],
        energy_kwh=joined(lambda part: part.given["energy_kwh"])[order],
        purge=joined(lambda part: part.runs.purge)[order],
        worked_out=joined(lambda part: part.runs.seed_how == WORKED_OUT)[order],
        running=int(np.count_nonzero(~ended)),
    )


def _places(keys: Places, known: list[int]) -> Places:
    """For each key its index in `known`."""
    if not keys.size:
        return keys
    order = np.argsort(known)
    places: Places = order[np.searchsorted(np.array(known)[order], keys)].astype(np.int64)
    return places
