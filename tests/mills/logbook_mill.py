"""A small invented mill to test with: P1 with one barrel, P2 a twin, dies with two edges, screws with one."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Any

import pytest

from tests.dates import at
from wearlog.equipment.models import Fitting, Part, PartType, Position, Press
from wearlog.logbook import actions
from wearlog.logbook.entries import NewRun, NewWork
from wearlog.people.models import Mill, Role, User
from wearlog.people.refusals import Doubtful, Refused
from wearlog.runs.models import Crop, Run
from wearlog.service.models import Service

NOW = at("2026-03-10 18:00")
FITTED = at("2026-03-01 06:00")


@dataclass
class SmallMill:
    """Everything fitted on 1 March 2026, 06:00 UTC; the entries of the tests are made on 10 March, 18:00."""

    by: User | None
    press: Press
    twin: Press
    other: Press
    screw_place: Position
    die_place: Position
    other_screw_place: Position
    rape: Crop
    flax: Crop
    die: Part
    spare_die: Part
    screw: Part
    other_screw: Part
    spare_screw: Part
    die_fitting: Fitting
    screw_fitting: Fitting
    other_screw_fitting: Fitting
    parts: dict[str, Part] = field(default_factory=dict)

    def run(self, start: str, end: str, kg: int | str = 400, **more: Any) -> Run:
        confirmed = more.pop("confirmed", ())
        values: dict[str, Any] = {
            "press_id": self.press.pk,
            "crop_id": self.rape.pk,
            "seed_kg": Decimal(kg),
            "started_at": at(start),
            "ended_at": at(end),
            **more,
        }
        return actions.log_run(by=self.by, at=NOW, entry=NewRun(**values), confirmed=confirmed)

    def log(self, *, now: datetime = NOW, confirmed: tuple[str, ...] = (), **values: Any) -> Run:
        values = {"press_id": self.press.pk, "crop_id": self.rape.pk, "seed_kg": Decimal(400), **values}
        return actions.log_run(by=self.by, at=now, entry=NewRun(**values), confirmed=confirmed)

    def read(self, when: str, meter: str, **more: Any) -> Any:
        return actions.log_reading(
            by=self.by, at=NOW, press_id=self.press.pk, read_at=at(when), meter_h=Decimal(meter), **more
        )

    def work(self, action: str, done: str, *, confirmed: tuple[str, ...] = (), **more: Any) -> Service:
        values = {"press_id": self.press.pk, "action": action, "done_at": at(done), **more}
        return actions.log_work(by=self.by, at=NOW, entry=NewWork(**values), confirmed=confirmed)


def a_small_mill(by: User | None) -> SmallMill:
    press = Press.objects.create(code="P1", hours_from="runs")
    twin = Press.objects.create(code="P2")
    other = Press.objects.create(code="P3")
    screw_place = Position.objects.create(press=press, name="screw", kind="screw")
    die_place = Position.objects.create(press=press, name="die", kind="die")
    for barrel in ("left", "right"):
        Position.objects.create(
            press=twin, name=f"{barrel} screw", kind="screw", barrel=barrel, share=Decimal("0.5")
        )
    other_screw_place = Position.objects.create(press=other, name="screw", kind="screw")
    die_type = PartType.objects.create(
        code="D5", kind="die", edges=2, new_mm=Decimal("5"), limit_mm=Decimal("5.6")
    )
    screw_type = PartType.objects.create(code="S60", kind="screw", new_mm=Decimal("60"), limit_mm=Decimal(58))
    die, spare_die = (Part.objects.create(code=code, part_type=die_type) for code in ("D-1", "D-2"))
    screw, other_screw, spare_screw = (
        Part.objects.create(code=code, part_type=screw_type) for code in ("S-1", "S-3", "S-2")
    )

    def fitted(part: Part, position: Position, edge: str = "") -> Fitting:
        return actions.fit(
            by=by, at=NOW, part_id=part.pk, edge=edge, position_id=position.pk, fitted_at=FITTED
        )

    return SmallMill(
        by=by,
        press=press,
        twin=twin,
        other=other,
        screw_place=screw_place,
        die_place=die_place,
        other_screw_place=other_screw_place,
        rape=Crop.objects.create(code="rape"),
        flax=Crop.objects.create(code="flax"),
        die=die,
        spare_die=spare_die,
        screw=screw,
        other_screw=other_screw,
        spare_screw=spare_screw,
        die_fitting=fitted(die, die_place, "A"),
        screw_fitting=fitted(screw, screw_place),
        other_screw_fitting=fitted(other_screw, other_screw_place),
    )


def stored_small_mill(by: User | None) -> SmallMill:
    """The same, of a database in which another process has put it."""
    press, twin, other = (Press.objects.get(code=code) for code in ("P1", "P2", "P3"))

    def first(press: Press, name: str) -> Fitting:
        return Fitting.objects.filter(position__press=press, position__name=name).order_by("pk")[0]

    return SmallMill(
        by=by,
        press=press,
        twin=twin,
        other=other,
        screw_place=Position.objects.get(press=press, name="screw"),
        die_place=Position.objects.get(press=press, name="die"),
        other_screw_place=Position.objects.get(press=other, name="screw"),
        rape=Crop.objects.get(code="rape"),
        flax=Crop.objects.get(code="flax"),
        die=Part.objects.get(code="D-1"),
        spare_die=Part.objects.get(code="D-2"),
        screw=Part.objects.get(code="S-1"),
        other_screw=Part.objects.get(code="S-3"),
        spare_screw=Part.objects.get(code="S-2"),
        die_fitting=first(press, "die"),
        screw_fitting=first(press, "screw"),
        other_screw_fitting=first(other, "screw"),
    )


@pytest.fixture
def small_mill(owner: User) -> SmallMill:
    return a_small_mill(owner)


def somebody(role: Role, name: str) -> User:
    return User.objects.create_user(name, name=name.title(), role=role)


def vienna_mill() -> Mill:
    return Mill.objects.create(name="Test mill", time_zone="Europe/Vienna", currency="EUR", units="metric")


def codes(caught: pytest.ExceptionInfo[Doubtful]) -> list[str]:
    return [doubt.code for doubt in caught.value.doubts]


def message(caught: pytest.ExceptionInfo[Refused]) -> str:
    return caught.value.message
