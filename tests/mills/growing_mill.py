"""A mill that grows: each step adds one of everything that a page lists."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

from django.utils import timezone

from wearlog.equipment.models import Fitting, Part, PartType, Position, Press
from wearlog.lockout.models import CautionWording, EnergySource, Isolation, Lock, Yearly, YearlyLook
from wearlog.logbook.models import ImportJob
from wearlog.people.models import AuditEntry, Session, User
from wearlog.reminders.models import CalendarFeed, StoppedAddress
from wearlog.runs.models import Crop, PlanEntry, Price, Reading, Run, ShiftNote
from wearlog.service.models import CropChange, Incident, LotHold, Measurement, Photo, Rule, Service


class GrowingMill:
    """`press` is the first press, of which most records are; `person` fits a lock on each of its sources, is
    signed in on each device, and has corrected the crop of `run` and the press of `rule` again and again."""

    def __init__(self, person: User) -> None:
        self.person = person
        self.now = timezone.now()
        self.steps = 0
        self.grow(1)

    def ago(self, **how_long: float) -> datetime:
        return self.now - timedelta(**how_long)

    def grow(self, steps: int) -> None:
        """Grow to this many of everything."""
        for number in range(self.steps, steps):
            self.steps = number + 1
            self._things(number)
            self._records(number)
            self._work(number)
            self._locks(number)
            self._people(number)
            self._corrections(number)

    def _things(self, number: int) -> None:
        press = Press.objects.create(code=f"P{number:02}", name=f"Press {number}")
        crop = Crop.objects.create(code=f"crop{number:02}")
        if number == 0:
            self.press, self.crop = press, crop
        self.kind = PartType.objects.create(
            code=f"die-{number}", kind="die", size_mm=number + 1, for_crops=crop.code, edges=2,
            new_mm=5, limit_mm=6, expected_life_kg=9000,
        )  # fmt: skip
        part = Part.objects.create(code=f"D-{number:02}", part_type=self.kind)
        Part.objects.create(code=f"S-{number:02}", part_type=self.kind)
        place = Position.objects.create(press=self.press, name=f"die {number}", kind="die")
        if number:
            there = Position.objects.create(press=press, name="die", kind="die")
            other = Part.objects.create(code=f"O-{number:02}", part_type=self.kind)
            self._fit(other, there)
        fitting = self._fit(part, place)
        rule = Rule.objects.create(
            code=f"look {number}", action="inspect", kind="die", part_type=self.kind, press=press,
            every_days=1 + number, after_crop=crop,
        )  # fmt: skip
        if number == 0:
            self.part, self.place, self.fitting, self.rule = part, place, fitting, rule
        day = timezone.localdate()
        for start in (day, day - timedelta(days=9)):
            PlanEntry.objects.create(
                press=press, crop=crop, start_on=start, end_on=start + timedelta(days=2), seed_kg=500
            )
        PlanEntry.objects.create(
            press=self.press, crop=crop, start_on=day + timedelta(days=30), end_on=day + timedelta(days=31),
            seed_kg=500,
        )  # fmt: skip
        Price.objects.create(item="oil_kg", from_on=day - timedelta(days=number), price=2)
        self.newest_press, self.newest_crop = press, crop

    def _fit(self, part: Part, place: Position) -> Fitting:
        return Fitting.objects.create(part=part, edge="A", position=place, fitted_at=self.ago(days=60))

    def _entered(self) -> dict[str, object]:
        return {"entered_by": self.person, "entered_at": self.now}

    def _records(self, number: int) -> None:
        key = {"ref": f"r{number}", "press": self.press}
        run = Run.objects.create(
            **key, crop=self.newest_crop, started_at=self.ago(days=40, hours=-2 * number), hours_h=1,
            seed_kg=40, **self._entered(),
        )  # fmt: skip
        if self.newest_press != self.press:
            Run.objects.create(
                ref=f"o{number}", press=self.newest_press, crop=self.newest_crop,
                started_at=self.ago(hours=2), seed_kg=0, **self._entered(),
            )  # fmt: skip
        reading = Reading.objects.create(
            press=self.press, read_at=self.ago(days=30, hours=-number), meter_h=Decimal(number),
            **self._entered(),
        )  # fmt: skip
        note = ShiftNote.objects.create(
            written_at=self.ago(hours=number), by_name="Mira", text="Dusty.", press=self.newest_press,
            **self._entered(),
        )  # fmt: skip
        incident = Incident.objects.create(
            **key, happened_at=self.ago(hours=number), kind="metal", position=self.place, **self._entered()
        )
        hold = LotHold.objects.create(incident=incident, lot=f"{number}", held_at=incident.happened_at)
        self._photo(number, "note", note)
        self._photo(number, "incident", incident)
        if number == 0:
            self.run, self.reading, self.note, self.incident, self.hold = run, reading, note, incident, hold

    def _photo(self, number: int, of: str, record: object) -> None:
        Photo.objects.create(
            name=f"{of}{number}", digest=f"{number}", width=10, height=10, size_bytes=10, entered_at=self.now,
            **{of: record},
        )  # fmt: skip

    def _work(self, number: int) -> None:
        service = Service.objects.create(
            ref=f"w{number}", press=self.press, position=self.place, part=self.part, edge="A",
            done_at=self.ago(days=20, hours=-number), action="polish", rule=self.rule, **self._entered(),
        )  # fmt: skip
        if number == 0:
            self.service = service
        self._photo(number, "service", self.service)
        for phase, belongs in (("before", self.service), ("after", None)):
            gauge = Measurement.objects.create(
                ref=f"g{phase}{number}", measured_at=self.ago(days=20, hours=-number), part=self.part,
                edge="A", value_mm=Decimal("5.2"), service=belongs, phase=phase if belongs else "",
                **self._entered(),
            )  # fmt: skip
            if number == 0:
                self.gauge = gauge
        cleaned = Service.objects.create(
            ref=f"c{number}", press=self.press, done_at=self.ago(days=10, hours=-number), action="clean",
            **self._entered(),
        )  # fmt: skip
        CropChange.objects.create(service=cleaned, to_crop=self.newest_crop, signed_by="Mira")

    def _locks(self, number: int) -> None:
        press = self.newest_press
        source = EnergySource.objects.create(
            press=self.press, source=f"mains {number}", kind="electrical", isolate_at=f"Q{number}"
        )
        if number == 0:
            self.source = source
        else:
            EnergySource.objects.create(press=press, source="mains", kind="electrical")
        EnergySource.objects.create(press=self.press, source=f"bare {number}", kind="electrical")
        now = Isolation.objects.create(
            ref=f"i{number}", press=press, work="flip", lead="Olga", begun_at=self.ago(hours=3)
        )
        past = Isolation.objects.create(
            ref=f"p{number}", press=self.press, work="flip", lead="Olga", begun_at=self.ago(days=3),
            ended_at=self.ago(days=2), ended_by_name="Olga", stated="All clear.",
        )  # fmt: skip
        if number == 0:
            self.isolation = now
        holder = {"holder": self.person, "holder_name": str(self.person), "number": "7"}
        for isolation, off in (
            (now, {}),
            (past, {"off_at": self.ago(days=2), "off_how": "self", "off_by": self.person}),
            (self.isolation, {"off_at": self.ago(hours=1), "off_how": "test", "off_by": self.person}),
        ):
            Lock.objects.create(
                ref=f"{isolation.ref}-{number}-{len(off)}-{off.get('off_how')}", isolation=isolation,
                source=source if isolation.press_id == self.press.pk else None,
                source_name=f"{source.source}{off.get('off_how', '')}", fitted_at=self.ago(days=3),
                off_by_name="Olga" if off else "", **holder, **off,
            )  # fmt: skip
        if number:
            lock = {"isolation": self.isolation, "source": source, "fitted_at": self.ago(hours=3)}
            mine = Lock.objects.create(ref=f"m{number}", source_name=source.source, **lock, **holder)
            Lock.objects.create(
                ref=f"f{number}", source_name="auger", number="8", holder_name=f"Emil {number}", **lock
            )
            assert mine.is_fitted
        else:
            self.lock = Lock.objects.filter(isolation=now, off_at__isnull=True).get()
        CautionWording.objects.create(
            number=2 * number + 1, hazard="every-task", press=press, added=f"Mind the step {number}.",
            reason="a fall", at=self.now, by=self.person, by_name="Olga",
        )  # fmt: skip
        CautionWording.objects.create(
            number=2 * number + 2, hazard="hot-head", press=self.press, added=f"Gloves {number}.",
            reason="a burn", at=self.now, by=self.person, by_name="Olga",
        )  # fmt: skip

    def _people(self, number: int) -> None:
        person = User.objects.create_user(
            f"person{number}", name=f"Person {number}", email=f"p{number}@mill.example", role="operator"
        )
        User.objects.create_user(f"other{number}", name=f"Other {number}", role="maintainer")
        rule = Rule.objects.create(code=f"instruct {number}", action="inspect", every_days=365)
        YearlyLook.objects.create(rule=rule, kind=Yearly.INSTRUCTION, person=person)
        if number == 0:
            procedure = Rule.objects.create(code="procedure", action="inspect", every_days=365)
            self.look = YearlyLook.objects.create(rule=procedure, kind=Yearly.PROCEDURE)
        Service.objects.create(
            ref=f"y{number}", press=self.newest_press, done_at=self.ago(days=5), action="inspect",
            rule=rule, done_by="Olga",
        )  # fmt: skip
        Session.objects.create(
            session_key=f"key{number}", session_data="", expire_date=self.now + timedelta(days=9),
            user=self.person, handle=f"handle{number}", device="firefox-linux", signed_in_at=self.now,
        )  # fmt: skip
        job = ImportJob.objects.create(
            file=f"f{number}", name=f"year {number}.zip", only_check=True, by=person, language="en",
            asked_at=self.now, ended_at=self.now, state="done",
            counts={"new": 1, "filled": 2, "replaced": 3, "kept": 4, "same": 5},
            groups=[{"file": "runs.csv", "column": "seed_kg", "count": 2, "first": ["much"]}] * self.steps,
        )  # fmt: skip
        if number == 0:
            self.job = job
        CalendarFeed.objects.create(
            person=self.person, press=self.newest_press, secret_hash=f"{number}", made_at=self.now
        )
        StoppedAddress.objects.create(
            channel="mail", address=person.email, person=person, reason="no such box", stopped_at=self.now
        )

    def _corrections(self, number: int) -> None:
        """One more change of the crop of the first run, and so on."""
        for record, column, new in (
            (self.run, "crop_id", self.newest_crop.pk),
            (self.service, "press_id", self.newest_press.pk),
            (self.rule, "press_id", self.newest_press.pk),
            (self.lock, "holder_id", User.objects.latest("pk").pk),
            (self.press, "name", f"name {number}"),
        ):
            AuditEntry.objects.create(
                at=self.now, by=self.person, by_name="Olga", action="correct", record=record._meta.model_name,
                record_id=record.pk, old={column: 1}, new={column: new}, reason="It was another.",
            )  # fmt: skip
