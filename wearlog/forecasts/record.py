"""The log as it stood at the end of a day: the one loader that forecasts read from.

As-of ends at 24:00 of its day in the mill's zone. A row whose first instant is later does not exist; a
later `removed_at`, `ended_at` or `retired_on` counts as empty, and so does its reason; a run counts once it
has ended; a plan entry counts from `planned_on`. Presses, positions, part types, crops, rules and energy
sources count as always known, voided rows never. When a row was entered does not matter.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from django.db.models import Q

from wearlog.calc.exposure import PressTimeline, lane, timeline_of
from wearlog.calc.meters import counted_hours, hours_of_runs, unlogged_hours
from wearlog.equipment.models import Fitting, HoursFrom, Part, PartType, Position, Press
from wearlog.forecasts.columns import columns, number, seconds
from wearlog.forecasts.rows import (
    FittingRow,
    Floats,
    IncidentRow,
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
from wearlog.lockout.models import EnergySource
from wearlog.people.models import Mill
from wearlog.runs.models import Crop, PlanEntry, Reading, ReadingKind, Run
from wearlog.service.models import Incident, Measurement, Rule, Service


@dataclass(frozen=True, eq=False)
class Record:
    """Everything a forecast may know. Mappings are by primary key; tuples in order of time, then key."""

    as_of: date
    zone: ZoneInfo
    units: str
    end: float
    """24:00 of the as-of day, in seconds since 1970: the first instant that is not known."""
    crops: tuple[str, ...]
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
    sources: Mapping[int, tuple[EnergySource, ...]]
    runs: Mapping[int, RunColumns]
    readings: Mapping[int, ReadingColumns]

    def day_of(self, instant: float) -> date:
        """The mill's day that an instant lies in."""
        return datetime.fromtimestamp(instant, UTC).astimezone(self.zone).date()

    def start_of(self, day: date) -> float:
        """0:00 of a day in the mill's zone."""
        return datetime.combine(day, time.min, self.zone).timestamp()

    def retired(self, part: PartRow) -> bool:
        return part.retired_on is not None

    @cached_property
    def run_hours(self) -> Mapping[int, Floats]:
        """The hours of each press's runs, in the order of `runs`."""
        hours = {}
        for press_id, runs in self.runs.items():
            meter = self.readings.get(press_id)
            if meter is None:
                none = np.zeros(0)
                at, count, new = none, none, np.zeros(0, dtype=np.bool_)
            else:
                at, new = meter.at, meter.new_meter
                count = counted_hours(meter.meter_h, meter.new_meter)
            hours[press_id] = hours_of_runs(runs.start, runs.end, runs.recorded_h, at, count, new)
        return hours

    def unlogged_hours(self, press_id: int) -> tuple[Floats, Floats]:
        """Hours on the meter without a run: the ends of the stretches between readings, and their hours."""
        meter = self.readings.get(press_id)
        if meter is None or meter.at.size < 2:
            return np.zeros(0), np.zeros(0)
        runs = self.runs.get(press_id) or NO_RUNS
        logged = lane(runs.start, runs.end, self.run_hours.get(press_id, runs.start)).upto(meter.at)[:, 0]
        counted = counted_hours(meter.meter_h, meter.new_meter)
        return meter.at[1:], unlogged_hours(counted, np.diff(logged))

    @cached_property
    def timelines(self) -> Mapping[int, PressTimeline]:
        """What each press has worked; every press has one."""
        shares: dict[int, dict[str, float]] = defaultdict(dict)
        for position in self.positions.values():
            if position.barrel:
                shares[position.press_id].setdefault(position.barrel, position.share)
        timelines = {}
        for press_id, press in self.presses.items():
            runs = self.runs.get(press_id) or NO_RUNS
            meter = self.readings.get(press_id) if press.by_meter else None
            timelines[press_id] = timeline_of(
                start=runs.start,
                end=runs.end,
                hours=self.run_hours.get(press_id, runs.start),
                kilograms=runs.seed_kg,
                crop=runs.crop,
                crops=len(self.crops),
                shares=shares[press_id],
                through=runs.through,
                meter=None if meter is None else (meter.at, counted_hours(meter.meter_h, meter.new_meter)),
            )
        return timelines

    @cached_property
    def services_by_rule(self) -> Mapping[int, tuple[ServiceRow, ...]]:
        """For each rule the services that name it, or name none and have its action; in order of time."""
        naming: dict[int, list[ServiceRow]] = defaultdict(list)
        acting: dict[str, list[ServiceRow]] = defaultdict(list)
        for service in self.services:
            if service.rule_id is None:
                acting[service.action].append(service)
            else:
                naming[service.rule_id].append(service)
        return {
            rule.id: tuple(
                sorted([*naming[rule.id], *acting[rule.action]], key=lambda row: (row.done, row.id))
            )
            for rule in self.rules
        }

    @cached_property
    def fittings_of(self) -> Mapping[int, tuple[FittingRow, ...]]:
        """Each part's fittings in order of time; parts that never were fitted are absent."""
        found: dict[int, list[FittingRow]] = defaultdict(list)
        for fitting in self.fittings:
            found[fitting.part_id].append(fitting)
        return {part: tuple(rows) for part, rows in found.items()}


_NONE = np.zeros(0)
NO_RUNS = RunColumns(
    _NONE, _NONE, _NONE, _NONE, np.zeros(0, dtype=np.int64), None, _NONE, _NONE, np.zeros(0, dtype=np.bool_)
)


def load(as_of: date) -> Record:
    """Read the log as it stood at 24:00 of the day in the mill's zone. Reads only."""
    mill = Mill.current()
    zone = mill.zone
    end_at = datetime.combine(as_of + timedelta(days=1), time.min, zone).astimezone(UTC)
    end = end_at.timestamp()
    crop_rows = list(Crop.objects.order_by("code").values_list("id", "code"))
    crop_index = {pk: index for index, (pk, _) in enumerate(crop_rows)}
    return Record(
        as_of=as_of,
        zone=zone,
        units=mill.units,
        end=end,
        crops=tuple(code for _, code in crop_rows),
        presses=_presses(as_of),
        positions=_positions(),
        types=_types(),
        parts=_parts(as_of),
        rules=_rules(crop_index),
        fittings=_fittings(end_at),
        services=_services(end_at),
        measurements=_measurements(end_at),
        incidents=_incidents(end_at),
        plan=_plan(as_of, crop_index),
        sources=_sources(),
        runs=_runs(end_at, crop_index),
        readings=_readings(end_at),
    )


def _float(value: Any) -> float | None:
    return None if value is None else float(value)


def _presses(as_of: date) -> dict[int, PressRow]:
    rows = Press.objects.values_list("id", "code", "name", "commissioned_on", "retired_on", "hours_from")
    return {
        pk: PressRow(pk, code, name, begun, over if over and over <= as_of else None, by == HoursFrom.METER)
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


def _parts(as_of: date) -> dict[int, PartRow]:
    rows = Part.objects.values_list("id", "code", "part_type_id", "retired_on", "retired_because")
    return {
        pk: PartRow(pk, code, type_id, over, because)
        if over and over <= as_of
        else PartRow(pk, code, type_id, None, "")
        for pk, code, type_id, over, because in rows
    }


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
            _float(rule.every_h),
            _float(rule.every_kg),
            _float(rule.every_days),
            None if rule.after_crop_id is None else crop_index[rule.after_crop_id],
            rule.at_limit,
            rule.on_drift,
            tuple(rule.after_incident.split()),
            float(rule.lead_days or 0),
            rule.instructions,
        )
        for rule in Rule.objects.order_by("code")
    )


def _fittings(end_at: datetime) -> tuple[FittingRow, ...]:
    rows = (
        Fitting.objects.standing()
        .filter(fitted_at__lt=end_at)
        .order_by("fitted_at", "id")
        .values_list("id", "part_id", "edge", "position_id", "fitted_at", "removed_at")
    )
    return tuple(
        FittingRow(
            pk,
            part,
            edge,
            position,
            fitted.timestamp(),
            removed.timestamp() if removed is not None and removed < end_at else None,
        )
        for pk, part, edge, position, fitted, removed in rows
    )


def _services(end_at: datetime) -> tuple[ServiceRow, ...]:
    rows = (
        Service.objects.standing()
        .filter(done_at__lt=end_at)
        .order_by("done_at", "id")
        .values_list(
            "id", "done_at", "press_id", "position_id", "part_id", "edge", "action", "rule_id", "finding"
        )
    )
    return tuple(ServiceRow(pk, done.timestamp(), *rest) for pk, done, *rest in rows)


def _measurements(end_at: datetime) -> tuple[MeasurementRow, ...]:
    rows = (
        Measurement.objects.standing()
        .filter(measured_at__lt=end_at)
        .order_by("measured_at", "id")
        .values_list(
            "id", "measured_at", "part_id", "edge", "value_mm", "place", "bound", "service_id", "phase"
        )
    )
    return tuple(
        MeasurementRow(pk, measured.timestamp(), part, edge, float(value), *rest)
        for pk, measured, part, edge, value, *rest in rows
    )


def _incidents(end_at: datetime) -> tuple[IncidentRow, ...]:
    rows = (
        Incident.objects.standing()
        .filter(happened_at__lt=end_at)
        .order_by("happened_at", "id")
        .values_list("id", "happened_at", "press_id", "position_id", "kind")
    )
    return tuple(IncidentRow(pk, happened.timestamp(), *rest) for pk, happened, *rest in rows)


def _plan(as_of: date, crop_index: dict[int, int]) -> tuple[PlanRow, ...]:
    rows = (
        PlanEntry.objects.filter(Q(planned_on__isnull=True) | Q(planned_on__lte=as_of))
        .order_by("start_on", "press_id", "crop__code")
        .values_list("press_id", "crop_id", "start_on", "end_on", "seed_kg")
    )
    return tuple(
        PlanRow(press, crop_index[crop], start, end, float(seed)) for press, crop, start, end, seed in rows
    )


def _sources() -> dict[int, tuple[EnergySource, ...]]:
    found: dict[int, list[EnergySource]] = defaultdict(list)
    for source in EnergySource.objects.order_by("press_id", "source"):
        found[source.press_id].append(source)
    return {press: tuple(rows) for press, rows in found.items()}


def _runs(end_at: datetime, crop_index: dict[int, int]) -> dict[int, RunColumns]:
    rows = Run.objects.standing().filter(started_at__lt=end_at)
    table = columns(
        rows,
        numbers=("id", "press_id", "crop_id", "hours_h", "seed_kg", "drive_hz", "moisture_pct"),
        instants=("started_at", "ended_at"),
        flags=("purge",),
    )
    if table["id"].size == 0:
        return {}
    last = end_at.timestamp()
    starts, ends = table["started_at"], table["ended_at"]
    ends[ends > last] = np.nan
    ends = np.where(np.isnan(ends), starts + table["hours_h"] * 3600.0, ends)
    keys = np.array(sorted(crop_index))
    index = np.array([crop_index[key] for key in keys.tolist()], dtype=np.int64)
    crops = index[np.searchsorted(keys, table["crop_id"])]
    through = dict(rows.exclude(through="").order_by().values_list("id", "through"))
    ended_by_now = ends <= last  # false for NaN: a run that goes on
    found = {}
    for press_id in np.unique(table["press_id"]).astype(int).tolist():
        own = np.flatnonzero((table["press_id"] == press_id) & ended_by_now)
        own = own[np.lexsort((table["id"][own], ends[own], starts[own]))]
        found[press_id] = RunColumns(
            start=starts[own],
            end=ends[own],
            recorded_h=table["hours_h"][own],
            seed_kg=table["seed_kg"][own],
            crop=crops[own],
            through=tuple(through.get(int(key), "") for key in table["id"][own]) if through else None,
            drive_hz=table["drive_hz"][own],
            moisture_pct=table["moisture_pct"][own],
            purge=table["purge"][own] > 0,
        )
    return found


def _readings(end_at: datetime) -> dict[int, ReadingColumns]:
    rows = (
        Reading.objects.standing()
        .filter(read_at__lt=end_at)
        .order_by("press_id", "read_at")
        .values_list("press_id", seconds("read_at"), number("meter_h"), "kind")
    )
    found: dict[int, list[tuple[float, float, bool]]] = defaultdict(list)
    for press_id, at, meter_h, kind in rows.iterator(chunk_size=20_000):
        found[press_id].append((at, meter_h, kind == ReadingKind.NEW_METER))
    return {
        press_id: ReadingColumns(
            np.array([row[0] for row in table], dtype=np.float64),
            np.array([row[1] for row in table], dtype=np.float64),
            np.array([row[2] for row in table], dtype=np.bool_),
        )
        for press_id, table in found.items()
    }
