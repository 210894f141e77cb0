"""Entries at random through the one door, at a small mill with a rule of each kind."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import TypeVar

from tests.dates import at
from tests.mills.logbook_mill import SmallMill
from wearlog.equipment.models import Fitting, Part, Position
from wearlog.logbook import actions
from wearlog.logbook.entries import NewIncident, NewMeasurement, NewRun, NewWork
from wearlog.people.refusals import Refused
from wearlog.runs.models import PlanEntry, Run
from wearlog.service.models import Measurement, Rule

NOW = at("2026-03-30 18:00")
EVERY_DOUBT = (
    "more_hours_than_clock",
    "meter_went_back",
    "twice_the_rate",
    "half_the_rate",
    "unit_looks_wrong",
    "overlaps_gap",
    "in_the_future",
    "large_step",
)

AnyRow = TypeVar("AnyRow")


def add_rules(mill: SmallMill) -> None:
    for values in (
        {"code": "die at limit", "action": "flip", "kind": "die", "at_limit": True, "lead_days": 7},
        {"code": "screw at limit", "action": "replace", "kind": "screw", "at_limit": True},
        {"code": "look at screw", "action": "inspect", "kind": "screw", "every_h": 40, "every_kg": 3000},
        {"code": "after flax", "action": "clean", "after_crop": mill.flax},
        {"code": "grease", "action": "lubricate", "every_days": 10},
        {"code": "after metal", "action": "inspect", "kind": "screw", "after_incident": "metal"},
        {"code": "output", "action": "inspect", "on_drift": True},
    ):
        Rule.objects.create(**values)


def entries(mill: SmallMill, chance: random.Random) -> list[Callable[[], object]]:
    """One of each kind of entry, at a day and a place that chance picks."""
    begun = at("2026-03-02 06:00") + timedelta(hours=chance.randrange(0, 27 * 24, 2))
    press = chance.choice([mill.press, mill.twin, mill.other])
    crop = chance.choice([mill.rape, mill.flax])
    part = chance.choice([mill.die, mill.spare_die, mill.screw, mill.other_screw, mill.spare_screw])
    place = chance.choice(list(Position.objects.all()))

    def one_of(rows: list[AnyRow]) -> AnyRow:
        if not rows:
            raise Refused("There is nothing yet to choose from.")
        return chance.choice(rows)

    def run() -> object:
        entry = NewRun(
            press_id=press.pk,
            crop_id=crop.pk,
            seed_kg=Decimal(chance.randint(200, 600)),
            started_at=begun,
            ended_at=begun + timedelta(hours=1.5),
        )
        return actions.log_run(by=None, at=NOW, entry=entry, confirmed=EVERY_DOUBT)

    def gauge() -> object:
        is_die = part.part_type.kind == "die"
        value = chance.uniform(5.0, 5.5) if is_die else chance.uniform(58.3, 60)
        return actions.log_measurement(
            by=None,
            at=NOW,
            part_id=part.pk,
            edge=chance.choice("AB") if is_die else "",
            measured_at=begun,
            measurement=NewMeasurement(value_mm=Decimal(f"{value:.3f}")),
            confirmed=EVERY_DOUBT,
        )

    def move() -> object:
        now = Fitting.objects.open().filter(position=place).first()
        kind = Part.objects.filter(part_type__kind=place.kind, retired_on=None)
        return actions.replace(
            by=None,
            at=NOW,
            position_id=place.pk,
            expected_fitting_id=now.pk if now else None,
            new_part_id=chance.choice(list(kind)).pk,
            new_edge=chance.choice("AB") if place.kind == "die" else "",
            moved_at=max(begun, now.fitted_at + timedelta(hours=1)) if now else begun,
            old_part_retired_because=chance.choice(["", "", "worn"]),
        )

    def correct() -> object:
        old = one_of(list(Run.objects.not_voided()))
        changes = {"seed_kg": Decimal(chance.randint(100, 700)), "press_id": press.pk}
        return actions.correct(
            by=None, at=NOW, record=old, changes=changes, reason="misread", confirmed=EVERY_DOUBT
        )

    def strike_out() -> object:
        rows = [*Run.objects.not_voided(), *Measurement.objects.not_voided()]
        return actions.void(by=None, at=NOW, record=one_of(rows), reason="entered twice")

    def worked_before() -> object:
        known = Part.objects.get(pk=part.pk)
        known.used_h, known.used_kg = Decimal(chance.randint(0, 90)), Decimal(chance.randint(0, 4000))
        known.used_on = chance.choice([None, begun.date()])
        return actions.save_thing(by=None, at=NOW, thing=known)

    def ask_otherwise() -> object:
        rule = Rule.objects.get(code=chance.choice(["grease", "look at screw", "die at limit"]))
        rule.lead_days = Decimal(chance.randint(0, 20))
        if rule.every_days:
            rule.every_days = Decimal(chance.randint(5, 40))
        return actions.save_thing(by=None, at=NOW, thing=rule)

    def plan() -> object:
        day = NOW.date() + timedelta(days=chance.randint(-5, 30))
        known = {"press": press, "crop": crop, "start_on": day}
        if PlanEntry.objects.filter(**known).exists():
            raise Refused("It is planned already.")
        seed = Decimal(chance.randint(500, 9000))
        thing = PlanEntry(**known, end_on=day + timedelta(days=20), seed_kg=seed)
        return actions.save_thing(by=None, at=NOW, thing=thing)

    def buy() -> object:
        return actions.save_thing(
            by=None, at=NOW, thing=Part(code=f"N{chance.randrange(10**9)}", part_type=part.part_type)
        )

    return [
        ask_otherwise,
        plan,
        buy,
        run,
        run,
        worked_before,
        gauge,
        gauge,
        move,
        correct,
        strike_out,
        lambda: actions.log_work(
            by=None,
            at=NOW,
            entry=NewWork(press_id=press.pk, action=chance.choice(["inspect", "lubricate"]), done_at=begun),
        ),
        lambda: actions.report_incident(
            by=None, at=NOW, entry=NewIncident(press_id=press.pk, kind="metal", happened_at=begun)
        ),
        lambda: actions.log_reading(
            by=None,
            at=NOW,
            press_id=press.pk,
            read_at=begun,
            meter_h=Decimal(chance.randint(100, 900)),
            confirmed=EVERY_DOUBT,
        ),
    ]
