"""A small invented mill for the tests of the pages that show: two presses, two months of runs up to now."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from wearlog.equipment.models import Fitting, Part, PartType, Position, Press
from wearlog.lockout.models import EnergySource, Isolation, Lock
from wearlog.people.models import User
from wearlog.runs.models import Crop, Reading, Run, ShiftNote
from wearlog.service.models import Incident, LotHold, Measurement, Rule, Service

ZONE = ZoneInfo("Europe/Vienna")
DAYS = 60


class LookMill:
    """`north` is a single press with a worn die and recorded isolation points; `twin` has none recorded.

    North ran 10 h and 500 kg a day for 60 days up to yesterday: 600 h and 30 t. Its die D5-01 has worn
    0.39 of 0.40 mm on edge A; nobody has looked at its screw since it was fitted 61 days ago, and a rule
    asks for that every 30 days. The twin runs right now.
    """

    def __init__(self, now: datetime) -> None:
        self.now = now
        self.rape = Crop.objects.create(code="rapeseed")
        self.north = Press.objects.create(code="N", name="North press", serial="77-3")
        self.twin = Press.objects.create(code="T", name="Twin press")
        self.screw_place = Position.objects.create(press=self.north, name="screw", kind="screw")
        self.die_place = Position.objects.create(press=self.north, name="die", kind="die")
        self.gearbox_place = Position.objects.create(press=self.north, name="gearbox", kind="gearbox")
        for side in ("left", "right"):
            for kind in ("screw", "die"):
                Position.objects.create(
                    press=self.twin,
                    name=f"{side} {kind}",
                    kind=kind,
                    barrel=side,
                    share=Decimal("0.5"),
                )
        self.small = PartType.objects.create(
            code="die-5",
            kind="die",
            size_mm=5,
            edges=2,
            for_crops="rapeseed",
            dimension="bore",
            new_mm=Decimal("5"),
            limit_mm=Decimal("5.4"),
            expected_life_kg=30000,
        )
        self.screws = PartType.objects.create(
            code="screw-70", kind="screw", new_mm=70, limit_mm=69, expected_life_kg=400000
        )
        self.die = Part.objects.create(code="D5-01", part_type=self.small)
        self.spare = Part.objects.create(code="D5-02", part_type=self.small)
        self.screw = Part.objects.create(code="S-01", part_type=self.screws)
        self.left_screw = Part.objects.create(code="S-02", part_type=self.screws)
        begin = now - timedelta(days=DAYS + 1)
        self.die_fitting = self.fit(self.die, "A", self.die_place, begin)
        self.fit(self.screw, "", self.screw_place, begin)
        self.fit(self.left_screw, "", Position.objects.get(press=self.twin, name="left screw"), begin)
        self.run_for_sixty_days()
        for days, value in ((40, "5.13"), (20, "5.26"), (1, "5.39")):
            Measurement.objects.create(
                ref=f"g{days}",
                measured_at=now - timedelta(days=days) + timedelta(hours=1),
                part=self.die,
                edge="A",
                value_mm=Decimal(value),
                gauge="pin",
            )
        self.flip_rule = Rule.objects.create(
            code="die at its limit", action="flip", kind="die", at_limit=True, lead_days=7
        )
        self.look_rule = Rule.objects.create(
            code="look at the screw", action="inspect", kind="screw", every_days=30, lead_days=3
        )
        self.grease_rule = Rule.objects.create(
            code="grease", action="lubricate", every_h=5000, press=self.north, lead_days=2
        )
        EnergySource.objects.create(
            press=self.north,
            source="mains",
            kind="electrical",
            isolate_at="wall isolator Q1",
            verify_by="try the start",
        )
        EnergySource.objects.create(
            press=self.north, source="heater", kind="thermal", isolate_at="heater plug H1"
        )

    @staticmethod
    def fit(part: Part, edge: str, position: Position, at: datetime) -> Fitting:
        return Fitting.objects.create(part=part, edge=edge, position=position, fitted_at=at)

    def run_for_sixty_days(self) -> None:
        runs = []
        for number in range(DAYS, 0, -1):
            start = self.now - timedelta(days=number)
            runs.append(
                Run(
                    ref=f"n{number}",
                    press=self.north,
                    crop=self.rape,
                    started_at=start,
                    hours_h=10,
                    seed_kg=500,
                    ends_at=start + timedelta(hours=10),
                )
            )
        Run.objects.bulk_create(runs)

    def running(self) -> Run:
        """The twin presses lot 31 since two hours."""
        return Run.objects.create(
            ref="open",
            press=self.twin,
            crop=self.rape,
            lot="31",
            started_at=self.now - timedelta(hours=2),
            seed_kg=0,
            done_by="Mira",
        )

    def note(self, text: str = "Lot 31 is dusty.", hours_ago: int = 9) -> ShiftNote:
        return ShiftNote.objects.create(
            written_at=self.now - timedelta(hours=hours_ago), by_name="Mira", text=text, press=self.twin
        )

    def hold(self) -> LotHold:
        """Metal on the north press an hour ago, in lot 30."""
        incident = Incident.objects.create(
            ref="metal",
            press=self.north,
            happened_at=self.now - timedelta(hours=1),
            kind="metal",
            note="A bolt in the magnet.",
        )
        return LotHold.objects.create(incident=incident, lot="30", held_at=incident.happened_at)

    def polish(self, by: User | None = None) -> Service:
        """The north screw was polished five days ago: 50 h of pressing since then."""
        return Service.objects.create(
            ref="polish",
            done_at=self.now - timedelta(days=5),
            press=self.north,
            position=self.screw_place,
            part=self.screw,
            action="polish",
            finding="varnish on flight 3",
            done_by="Mira",
            entered_by=by,
            entered_at=self.now - timedelta(days=5),
        )

    def reading(self) -> Reading:
        return Reading.objects.create(
            press=self.north, read_at=self.now - timedelta(days=1), meter_h=Decimal("4120.5")
        )

    def isolate(self, *, by: User) -> Isolation:
        """The north press is stopped: one lock of the person, one of a contractor, one that came off."""
        since = self.now - timedelta(hours=1)
        isolation = Isolation.objects.create(
            ref="stop", press=self.north, work="flip the die", lead=str(by), begun_at=since
        )
        lock = {"isolation": isolation, "place": "wall isolator Q1", "fitted_at": since}
        Lock.objects.create(
            ref="l1",
            source_name="mains",
            number="7",
            holder=by,
            holder_name=str(by),
            verified_at=since,
            verified_how="pressed start: nothing moved",
            entered_by=by,
            **lock,
        )
        Lock.objects.create(
            ref="l2", source_name="heater", number="B-12", holder_name="Emil Exempel", firm="Wires", **lock
        )
        Lock.objects.create(
            ref="l3",
            source_name="feed auger",
            number="8",
            holder=by,
            holder_name=str(by),
            off_at=self.now - timedelta(minutes=10),
            off_how="test",
            off_by=by,
            off_by_name=str(by),
            **lock,
        )
        return isolation
