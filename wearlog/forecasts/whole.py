"""The whole log as plain rows, whatever day it is asked for: read once, and kept while it stays as it is.

Runs and readings are most of a log. They are kept per press under the press's own version, so that an entry
at one press makes only that press's be read again; all the rest is kept under the log's version. Within a
transaction, and where a version was never written, nothing is kept.
"""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from django.db import connection
from django.db.models import Case, F, When

from wearlog.equipment.models import Fitting, HoursFrom, Part, PartType, Position, Press
from wearlog.forecasts import versions
from wearlog.forecasts.models import Widening
from wearlog.forecasts.rows import (
    ABOUT,
    WORKED_OUT,
    FittingRow,
    Floats,
    IncidentRow,
    Ints,
    MeasurementRow,
    PartRow,
    PlanRow,
    PositionRow,
    PressRow,
    ReadingColumns,
    RuleRow,
    RunColumns,
    ServiceRow,
    TypeRow,
)
from wearlog.people.models import Mill
from wearlog.runs import hours
from wearlog.runs.columns import number, seconds
from wearlog.runs.models import Crop, PlanEntry, Run, SeedHow
from wearlog.service.models import Incident, Measurement, Rule, Service
from wearlog.service.triggers import Asked, asked_by, field_of


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
    purge: np.ndarray
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


@dataclass(frozen=True, eq=False)
class Whole:
    """Every standing row, in order of time, then key. Nothing is left out for being later than some day."""

    zone: ZoneInfo
    units: str
    crops: tuple[tuple[int, str], ...]
    presses: Mapping[int, PressRow]
    positions: Mapping[int, PositionRow]
    types: Mapping[int, TypeRow]
    parts: Mapping[int, PartRow]
    rules: tuple[RuleRow, ...]
    fittings: tuple[FittingRow, ...]
    services: tuple[ServiceRow, ...]
    measurements: tuple[MeasurementRow, ...]
    incidents: tuple[IncidentRow, ...]
    plan: tuple[PlanRow, ...]
    runs: Mapping[int, PressRuns]
    readings: Mapping[int, ReadingColumns]
    widenings: tuple[tuple[date, float], ...]
    """From which day on ranges are widened by how much, in order of days."""


@dataclass(frozen=True)
class _Kept:
    number: int
    whole: Whole


_latest: dict[str, _Kept] = {}
_by_press: dict[int, tuple[int, PressRuns | None, ReadingColumns | None]] = {}
"""Of each press: the version of its runs, and those runs and readings, None where it has none."""
_lock = threading.Lock()


def forget() -> None:
    """Drop what is kept in this process."""
    with _lock:
        _latest.clear()
        _by_press.clear()


def whole() -> Whole:
    """The log as it stands. Reads only."""
    number = versions.current()
    lasting = number > 0 and not connection.in_atomic_block
    if not lasting:
        return anew()
    kept = _latest.get("kept")
    if kept is not None and kept.number == number:
        return kept.whole
    with _lock:
        kept = _latest.get("kept")
        if kept is not None and kept.number == number:
            return kept.whole
        of_runs = versions.of_runs()
        made = _read({press: kept for press, kept in _by_press.items() if of_runs.get(press) == kept[0]})
        if versions.current() == number:
            _latest["kept"] = _Kept(number, made)
            _by_press.clear()
            for press_id, version in of_runs.items():
                _by_press[press_id] = version, made.runs.get(press_id), made.readings.get(press_id)
    return made


def anew() -> Whole:
    """The log as it stands, read from the database whatever is kept."""
    return _read({})


def _read(known: Mapping[int, tuple[int, PressRuns | None, ReadingColumns | None]]) -> Whole:
    mill = Mill.current()
    crops = tuple(Crop.objects.order_by("code").values_list("id", "code"))
    crop_index = {pk: index for index, (pk, _) in enumerate(crops)}
    presses = _presses()
    fresh = [press for press in presses if press not in known]
    runs = {press: kept[1] for press, kept in known.items() if press in presses and kept[1] is not None}
    readings = {press: kept[2] for press, kept in known.items() if press in presses and kept[2] is not None}
    if fresh:
        runs |= _runs(fresh, every=not known)
        readings |= hours.readings_of(fresh)
    return Whole(
        zone=mill.zone,
        units=mill.units,
        crops=crops,
        presses=presses,
        positions=_positions(),
        types=_types(),
        parts=_parts(),
        rules=_rules(crop_index),
        fittings=_fittings(),
        services=_services(),
        measurements=_measurements(),
        incidents=_incidents(),
        plan=_plan(crop_index),
        runs=runs,
        readings=readings,
        widenings=tuple(Widening.objects.order_by("since").values_list("since", "factor")),
    )


def _float(value: Any) -> float | None:
    return None if value is None else float(value)


def _presses() -> dict[int, PressRow]:
    rows = Press.objects.values_list("id", "code", "name", "commissioned_on", "retired_on", "hours_from")
    return {
        pk: PressRow(pk, code, name, begun, over, by == HoursFrom.METER)
        for pk, code, name, begun, over, by in rows
    }


def _positions() -> dict[int, PositionRow]:
    rows = Position.objects.order_by("press_id", "name").values_list(
        "id", "press_id", "name", "kind", "barrel", "share"
    )
    return {
        pk: PositionRow(pk, press, name, kind, barrel, 1.0 if share is None else float(share))
        for pk, press, name, kind, barrel, share in rows
    }


def _types() -> dict[int, TypeRow]:
    return {
        row.id: TypeRow(
            row.id,
            row.code,
            row.kind,
            _float(row.size_mm),
            row.edges,
            tuple(row.for_crops.split()),
            _float(row.new_mm),
            _float(row.limit_mm),
            _float(row.expected_life_kg),
            _float(row.expected_life_h),
        )
        for row in PartType.objects.all()
    }


def _parts() -> dict[int, PartRow]:
    rows = Part.objects.values_list("id", "code", "part_type_id", "retired_on", "retired_because")
    return {pk: PartRow(pk, code, type_id, over, because) for pk, code, type_id, over, because in rows}


def _rules(crop_index: dict[int, int]) -> tuple[RuleRow, ...]:
    return tuple(
        RuleRow(
            rule.id,
            rule.code,
            rule.action,
            rule.kind,
            rule.part_type_id,
            rule.press_id,
            rule.position,
            _triggers(rule, crop_index),
            float(rule.lead_days or 0),
            rule.instructions,
            rule.yearly is not None,
        )
        for rule in Rule.objects.order_by("code").annotate(yearly=F("yearly_look__pk"))
    )


def _triggers(rule: Rule, crop_index: dict[int, int]) -> dict[str, Asked]:
    found: dict[str, Asked] = {}
    for name in Rule.TRIGGERS:
        asked = asked_by(rule, name)
        if asked is not None:
            is_crop = field_of(name).is_relation
            found[name] = crop_index[asked] if is_crop and isinstance(asked, int) else asked
    return found


def _fittings() -> tuple[FittingRow, ...]:
    rows = (
        Fitting.objects.standing()
        .order_by("fitted_at", "id")
        .values_list("id", "part_id", "edge", "position_id", seconds("fitted_at"), seconds("removed_at"))
    )
    return tuple(FittingRow(*row) for row in rows)


def _services() -> tuple[ServiceRow, ...]:
    rows = (
        Service.objects.standing()
        .order_by("done_at", "id")
        .values_list(
            "id",
            seconds("done_at"),
            "press_id",
            "position_id",
            "part_id",
            "edge",
            "action",
            "rule_id",
            "finding",
        )
    )
    return tuple(ServiceRow(*row) for row in rows)


def _measurements() -> tuple[MeasurementRow, ...]:
    rows = (
        Measurement.objects.standing()
        .order_by("measured_at", "id")
        .values_list(
            "id",
            seconds("measured_at"),
            "part_id",
            "edge",
            number("value_mm"),
            "place",
            "bound",
            "service_id",
            "phase",
        )
    )
    return tuple(MeasurementRow(*row) for row in rows)


def _incidents() -> tuple[IncidentRow, ...]:
    rows = (
        Incident.objects.standing()
        .order_by("happened_at", "id")
        .values_list("id", seconds("happened_at"), "press_id", "position_id", "kind")
    )
    return tuple(IncidentRow(*row) for row in rows)


def _plan(crop_index: dict[int, int]) -> tuple[PlanRow, ...]:
    rows = PlanEntry.objects.order_by("start_on", "press_id", "crop__code").values_list(
        "press_id", "crop_id", "start_on", "end_on", "seed_kg", "planned_on"
    )
    return tuple(
        PlanRow(press, crop_index[crop], start, end, float(seed), planned)
        for press, crop, start, end, seed, planned in rows
    )


def _runs(presses: list[int], *, every: bool) -> dict[int, PressRuns]:
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
