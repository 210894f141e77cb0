"""The runs of a press as arrays, whatever day they are asked for: the columns that every forecast needs."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from django.db.models import Case, When

from wearlog.history.rows import ABOUT, WORKED_OUT, Flags, Floats, Ints, RunColumns
from wearlog.runs import hours
from wearlog.runs.models import Run, SeedHow


@dataclass(frozen=True, eq=False)
class PressRuns:
    """All runs of one press in any order, shape (n,) each, NaN for null; `crop_id` is the crop's key."""

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
        """When each run ended; where only its hours are known, when that must have been."""
        return hours.ends_by(self.start, self.ended, self.recorded_h)

    def upto(self, end: float, crops: tuple[int, ...]) -> RunColumns:
        """The runs that had started and ended by an instant, in order; an end after it counts as unknown.
        Crops become their places in `crops`, the keys of all crops in the order of the record."""
        if self._last > end:
            return self._cut(end, crops)
        kept = self._whole.get(crops)
        if kept is None:
            self._whole.clear()
            kept = self._whole[crops] = self._cut(end, crops)
        return kept

    @cached_property
    def _last(self) -> float:
        return float(np.nanmax(np.concatenate([self.start, self.ends]), initial=-np.inf))

    @cached_property
    def _whole(self) -> dict[tuple[int, ...], RunColumns]:
        return {}

    def _cut(self, end: float, crops: tuple[int, ...]) -> RunColumns:
        ends = hours.ends_by(self.start, self.ended, self.recorded_h, end)
        begun = self.start < end
        own = np.flatnonzero(begun & ~np.isnan(ends))
        going_on = np.flatnonzero(begun & np.isnan(ends))
        own = own[np.lexsort((self.id[own], ends[own], self.start[own]))]
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


def runs_of(presses: list[int], *, every: bool) -> dict[int, PressRuns]:
    """By press; one without runs is absent. `every` says that these are all presses there are."""
    rows = Run.objects.standing() if every else Run.objects.standing().filter(press_id__in=presses)
    guessed = Case(
        When(seed_how=SeedHow.ABOUT, then=ABOUT),
        When(seed_how=SeedHow.WORKED_OUT, then=WORKED_OUT),
        default=0,
    )
    table = hours.run_columns(
        rows.annotate(how=guessed),
        numbers=("crop_id", "seed_kg", "drive_hz", "moisture_pct"),
        flags=("purge", "how"),
    )
    if table["id"].size == 0:
        return {}
    through: dict[int, dict[int, str]] = defaultdict(dict)
    for press_id, run_id, barrels in (
        rows.exclude(through="").order_by().values_list("press_id", "id", "through")
    ):
        through[press_id][run_id] = barrels
    found = {}
    for press_id in np.unique(table["press_id"]).astype(int).tolist():
        own = np.flatnonzero(table["press_id"] == press_id)
        found[press_id] = PressRuns(
            id=table["id"][own].astype(np.int64),
            start=table["started_at"][own],
            ended=table["ended_at"][own],
            recorded_h=table["hours_h"][own],
            seed_kg=table["seed_kg"][own],
            crop_id=table["crop_id"][own].astype(np.int64),
            slot=table["slot"][own].astype(np.int64),
            drive_hz=table["drive_hz"][own],
            moisture_pct=table["moisture_pct"][own],
            purge=table["purge"][own] > 0,
            seed_how=table["how"][own].astype(np.int64),
            through=through.get(press_id, {}),
        )
    return found
