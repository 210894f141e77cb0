"""A mill in two books: the real log, entered by its own door, and the plain one."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import count
from typing import Any
from zoneinfo import ZoneInfo

from tests.soak import plain
from wearlog.equipment.models import Press
from wearlog.history import versions
from wearlog.lockout.models import EnergySource
from wearlog.logbook import actions
from wearlog.logbook.entries import NewIncident, NewRun, NewWork
from wearlog.people.models import Mill, Role, User
from wearlog.people.refusals import Doubtful
from wearlog.reminders.models import ReminderWish
from wearlog.runs.models import Crop, Run
from wearlog.service.models import Incident, Rule, Service

RULES = (
    plain.Rule("grease", every_days=9, lead_days=2),
    plain.Rule("belts", every_days=23, lead_days=5),
    plain.Rule("oil", every_days=40, lead_days=0),
    plain.Rule("scrape", every_h=8.5),
    plain.Rule("aftermetal", after="metal"),
    plain.Rule("afternoise", after="noise"),
)
PEOPLE = (
    {"rhythm": "single", "most_at_once": 100},
    {"rhythm": "daily", "quiet": None},
    {"rhythm": "single", "weekdays": "12345", "zone": "America/New_York"},
    {"rhythm": "weekly", "zone": "Australia/Lord_Howe"},
)


class TwoBooks:
    """Every deed is written into both."""

    def __init__(self, dice: random.Random, *, presses: int, at: datetime, zone: str) -> None:
        self.dice, self.numbers = dice, count(1)
        self.log = plain.Log(ZoneInfo(zone))
        Mill(name="Soaked", time_zone=zone, units="metric").save()
        self.crop = Crop.objects.create(code="rapeseed")
        self.presses = {f"P{number:03}": Press(code=f"P{number:03}") for number in range(presses)}
        for press in self.presses.values():
            press.save()
            EnergySource.objects.create(
                press=press, source="Main motor", kind="electrical", isolate_at=f"Q-{press.code}"
            )
        self.log.presses = list(self.presses)
        self.rules: dict[str, Rule] = {}
        for one in RULES:
            self.add_rule(plain.Rule(**vars(one)), at)
        self.people: dict[str, User] = {}
        self.owner = User.objects.create_user("owner", role=Role.OWNER)  # without an address: never told
        for number, wishes in enumerate(PEOPLE):
            self.add_person(f"person{number}", wishes, at)

    # -------- what is set up

    def add_rule(self, rule: plain.Rule, at: datetime) -> None:
        self.log.rules[rule.code] = rule
        made = Rule(
            code=rule.code,
            action="inspect",
            every_days=rule.every_days and Decimal(rule.every_days),
            every_h=rule.every_h and Decimal(str(rule.every_h)),
            after_incident=rule.after,
            lead_days=Decimal(rule.lead_days),
        )
        made.save()
        self.rules[rule.code] = made
        for code, press in self.presses.items():
            begun = at - timedelta(days=self.dice.randint(1, 15), hours=2)
            ref = f"work-{next(self.numbers)}"
            Service.objects.create(ref=ref, done_at=begun, press=press, action="inspect", rule=made)
            self.log.works.append(plain.Work(ref, code, rule.code, begun))
        versions.touch()

    def add_person(self, name: str, wishes: dict[str, Any], at: datetime) -> None:
        address = f"{name}@mill.example"
        zone = ZoneInfo(wishes["zone"]) if "zone" in wishes else None
        self.people[name] = User.objects.create_user(name, email=address, role=Role.OPERATOR)
        self.log.people[name] = plain.Person(name, address, **{**wishes, "zone": zone})
        self.keep_wish(name)

    def keep_wish(self, name: str) -> None:
        person = self.log.people[name]
        begins, ends = person.quiet or (None, None)
        values = {
            "rhythm": person.rhythm,
            "from_time": person.from_time,
            "quiet_from": begins,
            "quiet_until": ends,
            "weekdays": person.weekdays,
            "urgent_any_time": person.urgent_any_time,
            "most_at_once": person.most_at_once,
            "time_zone": person.zone.key if person.zone else "",
        }
        ReminderWish.objects.update_or_create(person=self.people[name], defaults=values)

    # -------- what is logged

    def work(self, press: str, rule: str, at: datetime) -> None:
        """The work was done just now."""
        ref, done_at = f"work-{next(self.numbers)}", at - timedelta(minutes=5)
        entry = NewWork(
            press_id=self.presses[press].pk,
            action="inspect",
            done_at=done_at,
            rule_id=self.rules[rule].pk,
            ref=ref,
        )
        self.sure(lambda codes: actions.log_work(by=None, at=at, entry=entry, confirmed=codes))
        self.log.works.append(plain.Work(ref, press, rule, done_at))

    def run(self, press: str, begun: datetime, ended: datetime, at: datetime) -> None:
        ref = f"run-{next(self.numbers)}"
        hours = Decimal((ended - begun).total_seconds()) / 3600
        entry = NewRun(
            press_id=self.presses[press].pk,
            crop_id=self.crop.pk,
            seed_kg=hours * 40,
            started_at=begun,
            ended_at=ended,
            hours_h=hours,
            ref=ref,
        )
        self.sure(lambda codes: actions.log_run(by=None, at=at, entry=entry, confirmed=codes))
        self.log.runs.append(plain.Run(ref, press, begun, ended))

    def incident(self, press: str, kind: str, at: datetime) -> None:
        ref, happened = f"incident-{next(self.numbers)}", at - timedelta(minutes=3)
        entry = NewIncident(press_id=self.presses[press].pk, kind=kind, happened_at=happened, ref=ref)
        actions.report_incident(by=None, at=at, entry=entry)
        self.log.incidents.append(plain.Incident(ref, press, kind, happened))

    # -------- what is corrected

    def strike_out(self, at: datetime) -> str:
        """A piece of work, a run or an incident that was no such thing; the first work of a rule stays."""
        firsts = {(work.press, work.rule): work.ref for work in reversed(self.log.works)}
        works = [work for work in self.log.works if firsts[work.press, work.rule] != work.ref]
        book, records, model = self.dice.choice(
            [
                (self.log.works, works, Service),
                (self.log.runs, self.log.runs, Run),
                (self.log.incidents, self.log.incidents, Incident),
            ]
        )
        if not records:
            return ""
        one = self.dice.choice(records[-10:])
        actions.void(by=None, at=at, record=model.objects.get(ref=one.ref), reason="it was another press")
        book.remove(one)  # type: ignore[arg-type]
        return f"{one.ref} {one.press}"

    def move_work(self, at: datetime) -> str:
        """A piece of work was done on another day than was logged."""
        one = self.dice.choice(self.log.works[-30:])
        done_at = one.done_at + timedelta(days=self.dice.randint(-6, 0) or -1)
        record = Service.objects.get(ref=one.ref)
        self.sure(
            lambda codes: actions.correct(
                by=None,
                at=at,
                record=record,
                changes={"done_at": done_at},
                reason="the wrong day",
                confirmed=codes,
            )
        )
        one.done_at = done_at
        return f"{one.ref} {one.press}"

    # -------- what is changed

    def change_rule(self, at: datetime) -> str:
        code = self.dice.choice([rule.code for rule in self.log.rules.values() if rule.every_days])
        rule, made = self.log.rules[code], self.rules[code]
        rule.every_days = self.dice.choice([7, 9, 14, 23, 31, 40])
        rule.lead_days = self.dice.choice([0, 1, 3, 7])
        made.every_days, made.lead_days = Decimal(rule.every_days), Decimal(rule.lead_days)
        actions.save_thing(by=None, at=at, thing=made)
        return f"{code}: every {rule.every_days} days, {rule.lead_days} ahead"

    def change_zone(self, at: datetime) -> str:
        zone = self.dice.choice(["Europe/Vienna", "Europe/Lisbon", "Africa/Cairo", "Europe/Helsinki"])
        mill = Mill.current()
        mill.time_zone = zone
        actions.save_thing(by=None, at=at, thing=mill)
        self.log.zone = ZoneInfo(zone)
        return zone

    def change_address(self, name: str, at: datetime) -> str:
        address = f"{name}.{next(self.numbers)}@mill.example"
        user = User.objects.get(pk=self.people[name].pk)
        user.email = address
        actions.save_person(by=None, at=at, user=user)
        self.log.people[name].address = address
        self.log.people[name].address_works = True
        return address

    def switch_mail(self, name: str, at: datetime) -> str:
        person = self.log.people[name]
        person.gets_mail = not person.gets_mail
        user = User.objects.get(pk=self.people[name].pk)
        user.gets_mail = person.gets_mail
        actions.save_person(by=None, at=at, user=user)
        return f"{name}: {'on' if person.gets_mail else 'off'}"

    def sure(self, enter: Callable[[tuple[str, ...]], object]) -> None:
        """Enter it, and again with a yes to whatever is asked."""
        try:
            enter(())
        except Doubtful as asked:
            enter(tuple(doubt.code for doubt in asked.doubts))
