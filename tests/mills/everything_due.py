"""A mill in which all is due: each action, each part kind, each trigger, on a press and off it."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

from tests.mills.wishes import any_hour
from wearlog.equipment.models import Fitting, Kind, Part, PartOrder, PartType, Position, Press
from wearlog.lockout.models import CautionWording, EnergySource, Isolation, Lock
from wearlog.people.models import Mill, Role, User
from wearlog.runs.models import Crop, PlanEntry, Price, Run
from wearlog.service.models import Action, Incident, LotHold, Measurement, Rule, Service


def fill(now: datetime) -> None:
    """Press P1 has energy sources and words of its own in its cautions, press P2 has none recorded; four
    people, one of each role."""
    Mill(name="Mill where all is due", time_zone="Europe/Vienna", currency="EUR", units="metric").save()
    for role in Role.values:
        person = User.objects.create_user(role, name=role.title(), email=f"{role}@mill.example", role=role)
        any_hour(person)
    first, second = Press.objects.create(code="P1", name="North press"), Press.objects.create(code="P2")
    for source, kind, place in (
        ("Main motor", "electrical", "disconnect Q1 beside the door"),
        ("Heater circuit", "thermal", "fuse F7 in the office"),
    ):
        EnergySource.objects.create(
            press=first, source=source, kind=kind, isolate_at=place, verify_by="trying the start"
        )
    _words_of_the_mill(first, now)
    long_ago = now - timedelta(days=200)
    crop, other = Crop.objects.create(code="canola"), Crop.objects.create(code="sunflower")
    for number, press in enumerate((first, second)):
        _runs(press, crop, other, now - timedelta(days=number))
        _rules_of_the_press(press, long_ago, number)
    for number, kind in enumerate(Kind.values):
        _part_of_kind(first, kind, Action.values[number % len(Action.values)], long_ago, 70 + number)
    _worn_dies(first, crop, now)
    for ref, arrived_on in (("ordered", None), ("came", now.date())):
        PartOrder.objects.create(
            ref=ref,
            part_type=PartType.objects.earliest("pk"),
            count=2,
            ordered_on=long_ago.date(),
            arrived_on=arrived_on,
        )
    PlanEntry.objects.create(
        press=first,
        crop=crop,
        start_on=now.date(),
        end_on=now.date() + timedelta(days=60),
        seed_kg=Decimal(60000),
    )
    _locks(first, now)
    incident = Incident.objects.create(
        ref="metal", happened_at=now - timedelta(days=1), press=first, kind="metal", note="a bolt"
    )
    Run.objects.create(
        ref="running", press=second, crop=crop, started_at=now - timedelta(hours=2), seed_kg=Decimal(0)
    )
    Price.objects.create(item="oil_kg", from_on=long_ago.date(), price=Decimal(2))
    Position.objects.create(press=first, name="empty place", kind="die")
    LotHold.objects.create(incident=incident, lot="L-1", held_at=now - timedelta(days=1))


def fill_quietly(now: datetime) -> None:
    """One press, greased today: the next time is in 60 days."""
    Mill(name="Quiet mill", time_zone="Europe/Vienna", units="metric").save()
    User.objects.create_user("operator", email="operator@mill.example", role=Role.OPERATOR)
    press = Press.objects.create(code="P1", name="North press")
    EnergySource.objects.create(press=press, source="Main motor", kind="electrical", isolate_at="Q1")
    _rule("grease", "lubricate", press, now - timedelta(hours=1), every_days=Decimal(60))


def _words_of_the_mill(press: Press, now: datetime) -> None:
    """The trapped pressure in other words, and as a DANGER at one press; an addition to every task."""
    for number, (hazard, at_press, words) in enumerate(
        (
            ("trapped-pressure", None, {"instead": "The plug shoots out like a cork"}),
            ("trapped-pressure", press, {"added": "In May it flew across the yard.", "word": "DANGER"}),
            ("every-task", None, {"added": "The keys of the locks hang nowhere: carry yours"}),
        ),
        start=1,
    ):
        CautionWording.objects.create(
            number=number,
            hazard=hazard,
            press=at_press,
            reason="it happened",
            at=now,
            by_name="Owner",
            **words,
        )


def _locks(press: Press, now: datetime) -> None:
    """An isolation that goes on: one lock of the operator is on, one came off while she was not there."""
    operator, owner = User.objects.get(role=Role.OPERATOR), User.objects.get(role=Role.OWNER)
    since = now - timedelta(hours=1)
    isolation = Isolation.objects.create(
        ref="stop", press=press, work="look inside", lead="Operator", begun_at=since
    )
    lock = {
        "isolation": isolation,
        "number": "7",
        "holder": operator,
        "holder_name": "Operator",
        "fitted_at": since,
    }
    Lock.objects.create(ref="l1", source_name="Main motor", **lock)
    Lock.objects.create(
        ref="l2",
        source_name="Heater circuit",
        off_at=now,
        off_how="for-another",
        off_by=owner,
        off_by_name="Owner",
        reason="wanted",
        not_here="looked",
        contact="phoned",
        **lock,
    )


def _runs(press: Press, crop: Crop, last: Crop, now: datetime) -> None:
    for day in range(190, 3, -4):
        start = now - timedelta(days=day)
        Run.objects.create(
            ref=f"{press.code}-{day}",
            press=press,
            crop=last if 60 < day < 90 else crop,
            started_at=start,
            ended_at=start + timedelta(hours=40),
            hours_h=Decimal(40),
            seed_kg=Decimal(2000),
            ends_at=start + timedelta(hours=40),
        )


def _rules_of_the_press(press: Press, long_ago: datetime, number: int) -> None:
    """One rule for each action by the calendar, and one for each other trigger of a whole press. No two have
    the same interval, so that each item's sentence is its own."""
    for step, action in enumerate(Action.values):
        days = Decimal(30 + 20 * number + step)
        _rule(f"{press.code} {action} by days", action, press, long_ago, every_days=days)
    _rule(
        f"{press.code} soon",
        "adjust",
        press,
        long_ago,
        every_days=Decimal(210 + number),
        lead_days=Decimal(30),
    )
    _rule(f"{press.code} by hours", "lubricate", press, long_ago, every_h=Decimal(100 + number))
    _rule(f"{press.code} by tonnes", "clean", press, long_ago, every_kg=Decimal(5000 + 1000 * number))
    _rule(f"{press.code} after metal", "inspect", press, long_ago, after_incident="metal")
    _rule(
        f"{press.code} after season",
        "clean",
        press,
        long_ago,
        after_crop=Crop.objects.get(code="sunflower"),
    )


def _rule(code: str, action: str, press: Press, long_ago: datetime, **triggers: object) -> None:
    rule = Rule.objects.create(
        code=code, action=action, press=press, instructions=f"How to: {code}.", **triggers
    )
    Service.objects.create(ref=code, done_at=long_ago, press=press, action=action, rule=rule)


def _part_of_kind(press: Press, kind: str, action: str, long_ago: datetime, days: int) -> None:
    position = Position.objects.create(press=press, name=f"place of {kind}", kind=kind)
    part_type = PartType.objects.create(code=f"type of {kind}", kind=kind, size_mm=Decimal(6))
    part = Part.objects.create(code=f"{kind}-1", part_type=part_type)
    Fitting.objects.create(part=part, position=position, fitted_at=long_ago)
    Rule.objects.create(
        code=f"{kind} by days",
        action=action,
        kind=kind,
        every_days=Decimal(days),
        instructions=f"For {kind}.",
    )


def _worn_dies(press: Press, crop: Crop, now: datetime) -> None:
    """One die past its limit on the press, one off it."""
    part_type = PartType.objects.create(
        code="two-edged die",
        kind="die",
        edges=2,
        size_mm=Decimal(6),
        new_mm=Decimal(6),
        limit_mm=Decimal("6.4"),
        expected_life_kg=Decimal(60000),
    )
    Rule.objects.create(code="die at its limit", action="flip", part_type=part_type, at_limit=True)
    position = Position.objects.create(press=press, name="second die", kind="die")
    for code, begin, end in (("D-01", 190, 120), ("D-02", 120, None)):
        part = Part.objects.create(code=code, part_type=part_type)
        Fitting.objects.create(
            part=part,
            edge="A",
            position=position,
            fitted_at=now - timedelta(days=begin),
            removed_at=None if end is None else now - timedelta(days=end),
        )
        last = (end or 5) + 1
        for day, value in ((begin - 10, "6.1"), ((begin + last) // 2, "6.3"), (last, "6.45")):
            Measurement.objects.create(
                ref=f"{code} {day}",
                measured_at=now - timedelta(days=day) + timedelta(hours=11),
                part=part,
                edge="A",
                value_mm=Decimal(value),
            )
