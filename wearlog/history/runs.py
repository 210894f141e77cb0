"""The runs and readings of each press as arrays, without a cut-off day. They make up most of a log.

They are cached under the version of their press, so that after an entry for one press only that press is read
again."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from django.db.models import Case, Max, When

from wearlog.calc.order import order_by
from wearlog.history import sealed
from wearlog.history.cache import RunsCache
from wearlog.history.rows import ABOUT, WORKED_OUT, Flags, Floats, Ints, ReadingColumns, RunColumns
from wearlog.history.sealed import Seal
from wearlog.runs import hours
from wearlog.runs.models import Run, RunQuerySet, SeedHow


@dataclass(frozen=True, eq=False)
class PressRuns:
    """All runs of one press in any order, shape (n,) each, NaN for null; `crop_id` is the primary key."""

    id: Ints
    start: Floats
    ended: Floats
    recorded_h: Floats
    seed_kg: Floats
    crop_id: Ints
    slot: Ints
    drive_hz: Floats
    moisture_pct: Floats
    purge: Flags
    seed_how: Ints
    through: Mapping[int, str]

    @cached_property
    def ends(self) -> Floats:
        """When each run ended; where only its hours are recorded, its start plus these."""
        return hours.ends_by(self.start, self.ended, self.recorded_h)

    def upto(self, end: float, crops: tuple[int, ...]) -> RunColumns:
        """The runs that had started by an instant, in order; an end after it counts as unknown. `crops` are
        the primary keys of all crops in the order of the record; each run's crop becomes an index into
        them."""
        if self._last_instant > end:
            return self._cut(end, crops)
        kept = self._uncut.get(crops)
        if kept is None:
            self._uncut.clear()
            kept = self._uncut[crops] = self._cut(end, crops)
        return kept

    @cached_property
    def _last_instant(self) -> float:
        return float(np.nanmax(np.concatenate([self.start, self.ends]), initial=-np.inf))

    @cached_property
    def _uncut(self) -> dict[tuple[int, ...], RunColumns]:
        return {}

    def _cut(self, end: float, crops: tuple[int, ...]) -> RunColumns:
        ends = hours.ends_by(self.start, self.ended, self.recorded_h, end)
        begun = self.start < end
        own = np.flatnonzero(begun & ~np.isnan(ends))
        going_on = np.flatnonzero(begun & np.isnan(ends))
        own = own[order_by(self.start[own], ends[own], self.id[own])]
        order = np.argsort(crops)
        place = order[np.searchsorted(np.array(crops)[order], self.crop_id[own])]
        return RunColumns(
            id=self.id[own],
            start=self.start[own],
            end=ends[own],
            recorded_h=self.recorded_h[own],
            seed_kg=self.seed_kg[own],
            crop=place,
            slot=self.slot[own],
            through=tuple(self.through.get(int(key), "") for key in self.id[own]) if self.through else None,
            drive_hz=self.drive_hz[own],
            moisture_pct=self.moisture_pct[own],
            purge=self.purge[own],
            seed_how=self.seed_how[own],
            going_on=self.start[going_on],
            slot_going_on=self.slot[going_on],
        )


_NONE = np.zeros(0)
_NO_KEYS = np.zeros(0, dtype=np.int64)
NO_RUNS = PressRuns(
    id=_NO_KEYS,
    start=_NONE,
    ended=_NONE,
    recorded_h=_NONE,
    seed_kg=_NONE,
    crop_id=_NO_KEYS,
    slot=_NO_KEYS,
    drive_hz=_NONE,
    moisture_pct=_NONE,
    purge=np.zeros(0, dtype=np.bool_),
    seed_how=_NO_KEYS,
    through={},
)


@dataclass(frozen=True, eq=False)
class PressLog:
    """The runs and readings of one press; None where there are none."""

    runs: PressRuns | None
    readings: ReadingColumns | None

    @property
    def last_run(self) -> int:
        """The largest primary key of the press's runs; 0 where there are none."""
        return int((self.runs or NO_RUNS).id.max(initial=0))

    def press_hours(self, *, by_meter: bool) -> Floats:
        """Each run's share of the press's hours, which count each moment once; NaN for a run that goes on."""
        runs = self.runs or NO_RUNS
        return hours.compute_press_hours(
            start=runs.start,
            end=runs.ends,
            recorded_h=runs.recorded_h,
            slot=runs.slot,
            readings=self.readings,
            by_meter=by_meter,
        ).press_h


MOST_MB = 256
"""Columns of runs that a process keeps, with what it derives from them: about a million runs' at once."""
_KEPT: RunsCache[PressLog] = RunsCache("runs and readings of each press", most_mb=MOST_MB)


def runs_and_readings(
    presses: Collection[int], *, every: bool, last_run: int | None = None
) -> dict[int, PressLog]:
    """Runs and readings of these presses, without voided ones; `every` says that they are all presses, which
    is faster to read without a condition.

    last_run: the largest primary key of all runs at present. Runs added to the database directly, not through
    the actions of the log, raise no version; if `last_run` reveals any, their presses are read again."""

    def read(some: Collection[int]) -> dict[int, PressLog]:
        return _read(some, every=every and len(some) == len(presses), stored=True)

    found = _KEPT.get(presses, read)
    if last_run is not None and last_run != max((of.last_run for of in found.values()), default=0):
        last = _last_runs()
        other = [press_id for press_id in presses if found[press_id].last_run != last.get(press_id, 0)]
        found |= _read(other, every=False, stored=False) if other else {}
    return found


def runs_and_readings_uncached(presses: Collection[int], *, every: bool) -> dict[int, PressLog]:
    """The same, always read from their rows in the database, and neither from the cache nor as sealed."""
    return _read(presses, every=every, stored=False)


def _read(presses: Collection[int], *, every: bool, stored: bool) -> dict[int, PressLog]:
    seals = sealed.sealed(presses, sealed.FOR_FORECASTS) if stored else {}
    rows = Run.objects.filter(sealed.open_runs(presses, seals, every=every))
    runs = _runs(rows.not_voided(), presses, seals)
    readings = hours.readings_of(presses)
    return {press_id: PressLog(runs.get(press_id), readings.get(press_id)) for press_id in presses}


def _last_runs() -> dict[int, int]:
    """The largest primary key of each press's runs."""
    rows = Run.objects.not_voided().order_by().values_list("press_id").annotate(last=Max("pk"))
    return dict(rows)


def last_run() -> int:
    """The largest primary key of all runs; 0 where there are none. Reads one row."""
    return Run.objects.not_voided().order_by("-pk").values_list("pk", flat=True).first() or 0


def runs_written_as(*, lot: str = "", done_by: str = "") -> Ints:
    """The primary keys of the runs of this lot and of this person, in any order; capitals don't matter."""
    rows = Run.objects.not_voided().order_by()
    if lot:
        rows = rows.filter(lot__iexact=lot)
    if done_by:
        rows = rows.filter(done_by__iexact=done_by)
    return np.array(rows.values_list("pk", flat=True), dtype=np.int64)


def columns_of_runs(
    rows: RunQuerySet, presses: Collection[int]
) -> tuple[dict[str, Floats], dict[int, dict[int, str]]]:
    """The columns of all these runs, which are of these presses, and by press the barrels of those runs for
    which some are named. At most two queries."""
    guessed = Case(
        When(seed_how=SeedHow.ABOUT, then=ABOUT),
        When(seed_how=SeedHow.WORKED_OUT, then=WORKED_OUT),
        default=0,
    )
    table = hours.run_columns(
        rows.annotate(how=guessed, some_barrels=Case(When(through="", then=0), default=1)),
        presses,
        numbers=("seed_kg", "drive_hz", "moisture_pct"),
        small={"purge": 2, "how": WORKED_OUT + 1, "some_barrels": 2},
    )
    through: dict[int, dict[int, str]] = defaultdict(dict)
    if table.pop("some_barrels").any():
        named = rows.exclude(through="").order_by().values_list("press_id", "id", "through")
        for press_id, run_id, barrels in named:
            through[press_id][run_id] = barrels
    return table, through


def _runs(rows: RunQuerySet, presses: Collection[int], seals: Mapping[int, Seal]) -> dict[int, PressRuns]:
    """Runs by press, the sealed ones and these rows; presses without runs are absent."""
    table, through = columns_of_runs(rows, presses)
    return {
        press_id: PressRuns(
            id=own["id"].astype(np.int64),
            start=own["started_at"],
            ended=own["ended_at"],
            recorded_h=own["hours_h"],
            seed_kg=own["seed_kg"],
            crop_id=own["crop_id"].astype(np.int64),
            slot=own["slot"].astype(np.int64),
            drive_hz=own["drive_hz"],
            moisture_pct=own["moisture_pct"],
            purge=own["purge"] > 0,
            seed_how=own["how"].astype(np.int64),
            through={**(seals[press_id].through if press_id in seals else {}), **through.get(press_id, {})},
        )
        for press_id, own in sealed.split(table, seals).items()
    }
