"""The whole log as plain rows, without a cut-off day: read once and cached while it does not change.

The log is cached in three pieces, so that an entry makes only that piece stale which it bears on: runs and
readings, which are most of a log, for each press; work (services, gauges, moves, incidents); and the setup
(presses, types, rules, plan). Columns that only comparisons and costs need (`history.yields`,
`history.bills`) are read when they are first needed.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date
from decimal import Decimal
from functools import cached_property
from typing import Protocol
from zoneinfo import ZoneInfo

from django.db import connection
from django.db.models import F, Subquery, TextField, Value
from django.db.models.functions import Cast, Concat

from wearlog.calc.conformal import RangeFactors, SideFactors
from wearlog.equipment.models import Fitting, HoursFrom, Part, PartType, Position, Press
from wearlog.history import versions
from wearlog.history.by_press import ByPress
from wearlog.history.cache import Cache
from wearlog.history.models import LearnedFactors
from wearlog.history.rows import (
    FittingRow,
    IncidentRow,
    MeasurementRow,
    PartRow,
    PlanRow,
    PositionRow,
    PressRow,
    RuleRow,
    ServiceRow,
    TypeRow,
)
from wearlog.history.runs import PressLog, runs_and_readings, runs_and_readings_uncached
from wearlog.people.models import Mill
from wearlog.runs.columns import JoinedRows, number, seconds, seconds_of
from wearlog.runs.models import Crop, PlanEntry
from wearlog.service.models import Incident, Measurement, Rule, Service
from wearlog.service.triggers import TriggerValue, field_of, trigger_value


class Setup:
    """What concerns all presses; each table is read when it is first asked for."""

    def __init__(self) -> None:
        mill, self.crops, presses = _mill_crops_presses()
        self.zone: ZoneInfo = mill.zone
        self.units: str = mill.units
        self.presses: Mapping[int, PressRow] = presses

    @cached_property
    def positions(self) -> Mapping[int, PositionRow]:
        return _positions()

    @cached_property
    def types(self) -> Mapping[int, TypeRow]:
        return _types()

    @cached_property
    def rules(self) -> tuple[RuleRow, ...]:
        return _rules(self._crop_index)

    @cached_property
    def plan(self) -> tuple[PlanRow, ...]:
        return _plan(self._crop_index)

    @cached_property
    def range_factors(self) -> tuple[tuple[date, RangeFactors], ...]:
        """(first day, factors by which the sides of ranges are corrected from then on), in order of days."""
        pooled: dict[date, SideFactors] = {}
        own: dict[date, dict[int, SideFactors]] = {}
        weights: dict[date, dict[str, float]] = {}
        rows = LearnedFactors.objects.order_by("since", "part_type_id")
        columns = ("since", "part_type_id", "early", "late", "weights")
        for since, type_id, early, late, mixed in rows.values_list(*columns):
            sides = SideFactors(early=early, late=late)
            if type_id is None:
                pooled[since] = sides
                weights[since] = mixed or {}
            else:
                own.setdefault(since, {})[type_id] = sides
        return tuple(
            (since, RangeFactors(pooled=sides, own=own.get(since, {}), weights=weights[since]))
            for since, sides in sorted(pooled.items())
        )

    @property
    def _crop_index(self) -> dict[int, int]:
        return {pk: index for index, (pk, _) in enumerate(self.crops)}

    def has_same_ground(self, other: Setup) -> bool:
        """Whether runs, work and wear mean the same by both: rules and plans may differ."""
        return self is other or all(getattr(self, name) == getattr(other, name) for name in GROUND)


GROUND = ("zone", "units", "crops", "presses", "positions", "types")


class WorkRows:
    """Parts, and every move, service, gauge and incident that is not voided, in order of time, then key; each
    table is read when it is first asked for.

    before: an earlier state of the log, from which the tables are taken that were not written since."""

    def __init__(self, known: versions.Versions, before: Log | None = None) -> None:
        if before is not None:
            for name, number in known.tables.items():
                if before.versions.tables[name] == number and name in vars(before.work):
                    vars(self)[name] = vars(before.work)[name]

    @cached_property
    def parts(self) -> Mapping[int, PartRow]:
        return _parts()

    @cached_property
    def fittings(self) -> tuple[FittingRow, ...]:
        return _fittings()

    @cached_property
    def services(self) -> tuple[ServiceRow, ...]:
        return _services()

    @cached_property
    def measurements(self) -> tuple[MeasurementRow, ...]:
        return _measurements()

    @cached_property
    def incidents(self) -> tuple[IncidentRow, ...]:
        return _incidents()


class ReadRuns(Protocol):
    def __call__(self, presses: Collection[int], *, every: bool) -> Mapping[int, PressLog]: ...


class Log:
    """Every row that is not voided, however late it is; work and runs are read when first asked for.

    versions: those of the log before it was read. before: an earlier state of the log, from which whatever
    has not changed since is taken."""

    setup: Setup
    work: WorkRows

    def __init__(
        self,
        known: versions.Versions,
        read_runs: ReadRuns,
        before: Log | None = None,
    ) -> None:
        self.versions = known
        same_setup = before is not None and before.versions.setup == known.setup
        self.setup = before.setup if before is not None and same_setup else Setup()
        carried_on = before is not None and self.carries_on(before)
        self.work = WorkRows(known, before if carried_on else None)
        every = len(self.setup.presses)
        self.of_press: ByPress[PressLog] = ByPress(
            self.setup.presses, lambda some: read_runs(some, every=len(some) == every)
        )
        """The runs and readings of each press."""

    @property
    def zone(self) -> ZoneInfo:
        return self.setup.zone

    def carries_on(self, before: Log) -> bool:
        """Whether what an earlier state of the log says of runs and work still means the same."""
        return self.setup.has_same_ground(before.setup)


_LOG: Cache[None, Log] = Cache("the log's rows", most=1)


def load_log() -> Log:
    """The log as it is now, from the cache if possible. Reads only."""
    known = versions.latest()
    if connection.in_atomic_block or not known.lasting:
        return Log(known, runs_and_readings)
    with _LOG.making:
        kept = _LOG.find(None)
        if kept is not None and kept.versions == known:
            return kept
        if kept is not None and kept.versions.number > known.number:  # another thread has read a later state
            return Log(known, runs_and_readings)
        return _LOG.keep(None, Log(known, runs_and_readings, kept))


def load_log_uncached() -> Log:
    """The log as it is now, always read from the database."""
    return Log(versions.latest(), runs_and_readings_uncached)


def _float(value: Decimal | None) -> float | None:
    return None if value is None else float(value)


def _mill_crops_presses() -> tuple[Mill, tuple[tuple[int, str], ...], dict[int, PressRow]]:
    """The mill, as far as forecasts ask about it, the keys and codes of all crops, and the presses. One query
    where there is a press, since every page that has nothing kept begins with it."""
    own = Mill.objects.order_by("pk")
    # No code has a space in it, and no key an equals sign.
    crops = Crop.objects.annotate(
        listed=Concat(Cast("pk", TextField()), Value("="), "code", output_field=TextField())
    )
    rows = list(
        Press.objects.annotate(
            zone=Subquery(own.values("time_zone")[:1]),
            system=Subquery(own.values("units")[:1]),
            crops=JoinedRows(crops.order_by("code").values("listed")),
        ).values_list(
            *("zone", "system", "crops"),
            *("id", "code", "name", "commissioned_on", "retired_on", "hours_from"),
        )
    )
    presses = {
        pk: PressRow(pk, code, name, begun, over, by == HoursFrom.METER)
        for _, _, _, pk, code, name, begun, over, by in rows
    }
    if not rows or rows[0][0] is None:
        return Mill.current(), tuple(Crop.objects.order_by("code").values_list("id", "code")), presses
    zone, system, listed = rows[0][:3]
    pairs = [crop.split("=", 1) for crop in listed.split(" ")] if listed else []
    return Mill(time_zone=zone, units=system), tuple((int(pk), code) for pk, code in pairs), presses


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
    rows = Part.objects.values_list(
        "id", "code", "part_type_id", "retired_on", "retired_because", "used_h", "used_kg", "used_on"
    )
    return {
        pk: PartRow(pk, code, type_id, over, because, float(used_h or 0), float(used_kg or 0), used_on)
        for pk, code, type_id, over, because, used_h, used_kg, used_on in rows
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


def open_fitting_row(fitting: Fitting) -> FittingRow:
    """The row of a part that is in place, for a page that has read its fitting already."""
    instant = seconds_of(fitting.fitted_at)
    return FittingRow(fitting.pk, fitting.part_id, fitting.edge, fitting.position_id, instant, None)


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
