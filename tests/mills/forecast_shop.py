"""A small invented mill for forecasts, built row by row. Days and times are the mill's, Vienna."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from wearlog.equipment.models import Fitting, Part, PartType, Position, Press
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import due_items
from wearlog.lockout.models import EnergySource
from wearlog.people.models import Mill
from wearlog.runs.models import Crop, PlanEntry, Reading, Run
from wearlog.service.models import Incident, Measurement, Rule, Service

ZONE = ZoneInfo("Europe/Vienna")


def when(text: str) -> datetime:
    """`2026-03-01 06:30` (or a day: 0:00) in the mill's zone, as UTC."""
    return datetime.fromisoformat(text).replace(tzinfo=ZONE).astimezone(UTC)


def day(text: str) -> date:
    return date.fromisoformat(text)


def number(value: float | None) -> Decimal | None:
    return None if value is None else Decimal(str(value))


class Shop:
    """Rows are made by code; what already exists is found again."""

    def __init__(self) -> None:
        self.mill = Mill.objects.create(name="Mill by the brook", time_zone="Europe/Vienna", units="metric")
        self.count = 0

    def ref(self) -> str:
        self.count += 1
        return f"x{self.count:05d}"

    def crop(self, code: str) -> Crop:
        return Crop.objects.get_or_create(code=code)[0]

    def press(self, code: str = "P1", *, isolate_at: str = "wall switch", **fields: object) -> Press:
        press, new = Press.objects.get_or_create(code=code, defaults=fields)
        if new and isolate_at:
            EnergySource.objects.create(press=press, source="mains", kind="electrical", isolate_at=isolate_at)
        return press

    def position(
        self,
        press: str = "P1",
        name: str = "screw",
        kind: str = "",
        barrel: str = "",
        share: float | None = None,
    ) -> Position:
        return Position.objects.get_or_create(
            press=self.press(press),
            name=name,
            defaults={"kind": kind or name.split()[-1], "barrel": barrel, "share": number(share)},
        )[0]

    def type(self, code: str, kind: str, **fields: object) -> PartType:
        plain = {key: number(value) if isinstance(value, float) else value for key, value in fields.items()}
        return PartType.objects.create(code=code, kind=kind, **plain)

    def part(self, code: str, type_: PartType, **fields: object) -> Part:
        return Part.objects.get_or_create(code=code, defaults={"part_type": type_, **fields})[0]

    def fit(
        self,
        part: Part,
        at: str,
        until: str = "",
        *,
        edge: str = "",
        press: str = "P1",
        position: str = "screw",
    ) -> Fitting:
        return Fitting.objects.create(
            part=part,
            edge=edge,
            position=self.position(press, position),
            fitted_at=when(at),
            removed_at=when(until) if until else None,
        )

    def run(
        self,
        start: str,
        hours: float,
        kg: float,
        *,
        crop: str = "rapeseed",
        press: str = "P1",
        recorded: bool = True,
        ended: str = "-",
        through: str = "",
    ) -> Run:
        """A run of so many hours; not `recorded`: by the clock; `ended`: another end, "" for none."""
        begun = when(start)
        end = begun + timedelta(hours=hours) if ended == "-" else when(ended) if ended else None
        return Run.objects.create(
            ref=self.ref(),
            press=self.press(press),
            crop=self.crop(crop),
            started_at=begun,
            ended_at=end,
            hours_h=number(hours) if recorded else None,
            seed_kg=number(kg),
            through=through,
            ends_at=Run.end_of(begun, end, number(hours) if recorded else None),
        )

    def runs(
        self,
        first: str,
        days: int,
        *,
        hours: float = 10,
        kg: float = 500,
        crop: str = "rapeseed",
        press: str = "P1",
    ) -> None:
        """One run from 6:00 on each of so many days in a row."""
        for step in range(days):
            self.run(f"{day(first) + timedelta(days=step)} 06:00", hours, kg, crop=crop, press=press)

    def read(self, at: str, meter: float, *, press: str = "P1", new: bool = False) -> Reading:
        return Reading.objects.create(
            press=self.press(press),
            read_at=when(at),
            meter_h=number(meter),
            kind="new_meter" if new else "reading",
        )

    def plan(
        self, start: str, end: str, kg: float, *, crop: str = "rapeseed", press: str = "P1", planned: str = ""
    ) -> PlanEntry:
        return PlanEntry.objects.create(
            press=self.press(press),
            crop=self.crop(crop),
            start_on=day(start),
            end_on=day(end),
            seed_kg=number(kg),
            planned_on=day(planned) if planned else None,
        )

    def serve(
        self,
        at: str,
        action: str,
        *,
        press: str = "P1",
        position: str = "",
        part: Part | None = None,
        edge: str = "",
        rule: Rule | None = None,
    ) -> Service:
        return Service.objects.create(
            ref=self.ref(),
            done_at=when(at),
            press=self.press(press),
            position=self.position(press, position) if position else None,
            part=part,
            edge=edge,
            action=action,
            rule=rule,
        )

    def gauge(
        self,
        at: str,
        part: Part,
        value: float,
        *,
        edge: str = "",
        service: Service | None = None,
        phase: str = "",
    ) -> Measurement:
        return Measurement.objects.create(
            ref=self.ref(),
            measured_at=when(at),
            part=part,
            edge=edge,
            value_mm=number(value),
            service=service,
            phase=phase,
        )

    def incident(self, at: str, kind: str = "metal", *, press: str = "P1", position: str = "") -> Incident:
        return Incident.objects.create(
            ref=self.ref(),
            happened_at=when(at),
            press=self.press(press),
            position=self.position(press, position) if position else None,
            kind=kind,
        )

    def rule(self, code: str, action: str, *, after_crop: str = "", **fields: object) -> Rule:
        plain = {
            key: number(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else value
            for key, value in fields.items()
        }
        if after_crop:
            plain["after_crop"] = self.crop(after_crop)
        return Rule.objects.create(code=code, action=action, **plain)


def span(found: DueItem) -> tuple[date, date, date]:
    """Early, due and late day of an item that has all three."""
    assert found.early_on is not None
    assert found.due_on is not None
    assert found.late_on is not None
    return found.early_on, found.due_on, found.late_on


def items(as_of: str, rule: str = "") -> Sequence[DueItem]:
    """The items of one rule (or all), by press, position and part."""
    found = [item for item in due_items(as_of=day(as_of)) if not rule or item.rule == rule]
    return sorted(found, key=lambda item: (item.rule, item.press, item.position, item.part))


def item(as_of: str, rule: str = "", part: str = "") -> DueItem:
    """The only item of the rule (and part)."""
    found = [one for one in items(as_of, rule) if not part or one.part == part]
    assert len(found) == 1, [f"{one.rule} {one.press} {one.position} {one.part}" for one in found]
    return found[0]
