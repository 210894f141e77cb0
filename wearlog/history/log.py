"""The whole log as plain rows, without a cut-off day: read once and cached while it does not change.

Runs and readings are most of a log. They are cached per press under the press's own version, so that after an
entry for one press only that press is read again; everything else is cached under the log's version
(`history.cache`). Columns that only comparisons and costs need (`history.yields`, `history.bills`) are read
when they are first needed.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db.models import F

from wearlog.equipment.models import Fitting, HoursFrom, Part, PartType, Position, Press
from wearlog.history.cache import VersionCache
from wearlog.history.models import Widening
from wearlog.history.rows import (
    FittingRow,
    IncidentRow,
    MeasurementRow,
    PartRow,
    PlanRow,
    PositionRow,
    PressRow,
    ReadingColumns,
    RuleRow,
    ServiceRow,
    TypeRow,
)
from wearlog.history.runs import PressLog, PressRuns, runs_and_readings, runs_and_readings_uncached
from wearlog.people.models import Mill
from wearlog.runs.columns import number, seconds
from wearlog.runs.models import Crop, PlanEntry
from wearlog.service.models import Incident, Measurement, Rule, Service
from wearlog.service.triggers import TriggerValue, field_of, trigger_value


@dataclass(frozen=True, eq=False)
class Log:
    """Every row that is not voided, in order of time, then key, however late it is."""

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
    """(first day, factor by which ranges are widened from then on), in order of days."""


_ROWS: VersionCache[None, Log] = VersionCache("the log's rows", most=1)


def load_log() -> Log:
    """The log as it is now, from the cache if possible. Reads only."""
    return _ROWS.get(None, lambda: _read(runs_and_readings), one_at_a_time=True)


def load_log_uncached() -> Log:
    """The log as it is now, always read from the database."""
    return _read(runs_and_readings_uncached)


def _read(of_presses: Callable[[Collection[int]], Mapping[int, PressLog]]) -> Log:
    mill = Mill.current()
    crops = tuple(Crop.objects.order_by("code").values_list("id", "code"))
    crop_index = {pk: index for index, (pk, _) in enumerate(crops)}
    presses = press_rows()
    of_press = of_presses(presses)
    return Log(
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
        runs={press_id: kept.runs for press_id, kept in of_press.items() if kept.runs is not None},
        readings={
            press_id: kept.readings for press_id, kept in of_press.items() if kept.readings is not None
        },
        widenings=tuple(Widening.objects.order_by("since").values_list("since", "factor")),
    )


def _float(value: Decimal | None) -> float | None:
    return None if value is None else float(value)


def press_rows() -> dict[int, PressRow]:
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


def _triggers(rule: Rule, crop_index: dict[int, int]) -> dict[str, TriggerValue]:
    found: dict[str, TriggerValue] = {}
    for name in Rule.TRIGGERS:
        asked = trigger_value(rule, name)
        if asked is not None:
            is_crop = field_of(name).is_relation
            found[name] = crop_index[asked] if is_crop and isinstance(asked, int) else asked
    return found


def _fittings() -> tuple[FittingRow, ...]:
    rows = (
        Fitting.objects.not_voided()
        .order_by("fitted_at", "id")
        .values_list("id", "part_id", "edge", "position_id", seconds("fitted_at"), seconds("removed_at"))
    )
    return tuple(FittingRow(*row) for row in rows)


def _services() -> tuple[ServiceRow, ...]:
    rows = (
        Service.objects.not_voided()
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
        Measurement.objects.not_voided()
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
        Incident.objects.not_voided()
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
