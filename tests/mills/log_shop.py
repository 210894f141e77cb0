"""A small invented shop for the tests of the entry pages: one single press, one twin, dies and screws."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from decimal import Decimal

from wearlog.equipment.models import Fitting, Part, PartType, Position, Press
from wearlog.people.models import User
from wearlog.runs.models import Crop, Reading, Run

MORNING = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
FITTED = datetime(2026, 2, 1, 6, 0, tzinfo=UTC)


class Shop:
    """`north` is a single press with a meter, `twin` has two barrels; five dies, two screws."""

    def __init__(self) -> None:
        self.rape = Crop.objects.create(code="rapeseed", bushel_kg=Decimal("22.679619"))
        self.sunflower = Crop.objects.create(code="sunflower")
        self.north = Press.objects.create(code="N", name="North press")
        self.twin = Press.objects.create(code="T", name="Twin")
        self.screw_place = Position.objects.create(press=self.north, name="screw", kind="screw")
        self.die_place = Position.objects.create(press=self.north, name="die", kind="die")
        self.left = Position.objects.create(press=self.twin, name="die left", kind="die", barrel="left")
        self.right = Position.objects.create(press=self.twin, name="die right", kind="die", barrel="right")
        self.small = PartType.objects.create(
            code="die-5",
            kind="die",
            size_mm=5,
            edges=2,
            for_crops="rapeseed",
            dimension="bore",
            new_mm=Decimal("5"),
            limit_mm=Decimal("5.4"),
        )
        self.large = PartType.objects.create(
            code="die-10", kind="die", size_mm=10, edges=2, for_crops="sunflower"
        )
        self.screw_type = PartType.objects.create(code="screw-60", kind="screw", dimension="flight width")
        self.d1 = Part.objects.create(code="D-1", part_type=self.small)
        self.d2 = Part.objects.create(code="D-2", part_type=self.small)
        self.d3 = Part.objects.create(code="D-3", part_type=self.large)
        self.d4 = Part.objects.create(code="D-4", part_type=self.small)
        self.d5 = Part.objects.create(code="D-5", part_type=self.small)
        self.s1 = Part.objects.create(code="S-1", part_type=self.screw_type)
        self.s2 = Part.objects.create(code="S-2", part_type=self.screw_type)
        self.d1_on = self.fit(self.d1, "A", self.die_place)
        self.s1_on = self.fit(self.s1, "", self.screw_place)
        self.d4_on = self.fit(self.d4, "A", self.left)

    @staticmethod
    def fit(part: Part, edge: str, position: Position, at: datetime = FITTED) -> Fitting:
        return Fitting.objects.create(part=part, edge=edge, position=position, fitted_at=at, entered_at=at)

    def reading(self, press: Press, meter_h: str, at: datetime = MORNING) -> Reading:
        return Reading.objects.create(press=press, read_at=at, meter_h=Decimal(meter_h), entered_at=at)

    def run(
        self, press: Press, crop: Crop, at: datetime, hours: str | None, kg: str, by: User | None = None
    ) -> Run:
        run = Run(
            ref=f"r-{press.code}-{at:%Y%m%d%H%M}",
            press=press,
            crop=crop,
            started_at=at,
            hours_h=Decimal(hours) if hours else None,
            seed_kg=Decimal(kg),
            lot="L-7",
            entered_at=at,
            entered_by=by,
        )
        run.ends_at = Run.end_of(at, None, run.hours_h)
        run.save()
        return run


def form_of(text: str) -> dict[str, str]:
    """The values that the form on a page shows."""
    found = {}
    body = text.split('<form method="post" class="sheet"', 1)[1].split("</form>", 1)[0]
    for tag in re.findall(r"<input[^>]*>", body):
        attributes = dict(re.findall(r'(\S+)="([^"]*)"', tag))
        if attributes.get("type") not in ("checkbox", "radio") and "name" in attributes:
            found[attributes["name"]] = attributes.get("value", "")
    for name, options in re.findall(r'<select name="([^"]+)".*?>(.*?)</select>', body, re.DOTALL):
        chosen = re.findall(r'<option value="([^"]*)" selected', options)
        found[name] = chosen[0] if chosen else ""
    for name, content in re.findall(r'<textarea name="([^"]+)"[^>]*>\n?(.*?)</textarea>', body, re.DOTALL):
        found[name] = content
    return found
