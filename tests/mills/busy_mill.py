"""Two presses over 14 months, and their log cut off at a day."""

from __future__ import annotations

import random
from datetime import date, timedelta
from decimal import Decimal

from tests.mills.forecast_shop import ZONE, Shop, when
from wearlog.equipment.models import Fitting, Part, PartType
from wearlog.runs.models import PlanEntry, Reading, Run
from wearlog.service.models import Incident, Measurement, Service

FIRST, DAYS = date(2024, 9, 1), 420


SEASONS = (("rapeseed", 0, 70), ("sunflower", 85, 150), ("flax", 190, 240), ("rapeseed", 330, 400))


def a_busy_mill(shop: Shop, chance: random.Random) -> None:
    """Two presses, one a twin, over 14 months: runs past midnight, flips, swaps, gauges, slips, incidents."""
    die = shop.type("D5", "die", edges=2, size_mm=5.0, new_mm=5.0, limit_mm=5.4, expected_life_kg=30_000)
    screw = shop.type("SC", "screw", new_mm=70.0, limit_mm=69.0, expected_life_kg=90_000)
    places = [("P1", "screw", "", None), ("P1", "die", "", None)]
    for side in ("left", "right"):
        places += [("P2", f"{side} screw", side, 0.5), ("P2", f"{side} die", side, 0.5)]
    for press, name, barrel, share in places:
        shop.position(press, name, barrel=barrel, share=share)
        _lives(shop, chance, press, name, die if "die" in name else screw)
    for press in ("P1", "P2"):
        _seasons(shop, chance, press)
    shop.rule("die at limit", "flip", kind="die", at_limit=True, lead_days=7)
    shop.rule("screw", "inspect", kind="screw", every_h=300, after_crop="sunflower", at_limit=True)
    shop.rule("grease", "lubricate", every_h=200, every_days=60)
    shop.rule("after metal", "inspect", kind="screw", after_incident="metal plugged", every_kg=20_000)
    shop.rule("output", "inspect", on_drift=True)


def _day(number: int) -> str:
    return (FIRST + timedelta(days=number)).isoformat()


def _seasons(shop: Shop, chance: random.Random, press: str) -> None:
    meter = 1000.0
    for crop, begin, end in SEASONS:
        shop.plan(_day(begin), _day(end), 450 * (end - begin), crop=crop, press=press)
        for number in range(begin, end):
            if chance.random() < 0.2:
                continue
            hours = round(chance.uniform(6, 20), 2)
            through = chance.choice(["", "", "", "left"]) if press == "P2" else ""
            recorded = chance.random() < 0.5
            shop.run(f"{_day(number)} 06:00", hours, chance.randint(200, 800), crop=crop, press=press,
                     recorded=recorded, through=through)  # fmt: skip
            meter += hours
            if not recorded and chance.random() < 0.5:
                end_of_run = when(f"{_day(number)} 06:00") + timedelta(hours=hours)
                shop.read(
                    end_of_run.astimezone(ZONE).replace(tzinfo=None).isoformat(), round(meter, 2), press=press
                )
        shop.serve(f"{_day(end)} 12:00", "lubricate", press=press)
        if chance.random() < 0.7:
            shop.incident(f"{_day(end - 5)} 23:40", chance.choice(["metal", "plugged", "noise"]), press=press)
    shop.plan(_day(425), _day(500), 30_000, crop="sunflower", press=press, planned=_day(200))


def _lives(shop: Shop, chance: random.Random, press: str, name: str, kind: PartType) -> None:
    number = 0
    for life in range(4):
        part = shop.part(f"{press}-{name}-{life}", kind)
        if life == 0:  # it had worked before the log, and that was stated three weeks later
            part.used_h, part.used_kg = Decimal(260), Decimal(9_000)
            part.used_on = FIRST + timedelta(days=20)
            part.save()
        for edge in kind.edge_names:
            over = min(number + chance.randint(40, 90), DAYS)
            last = over >= DAYS
            for gauging in range(number + 7, over, 14):
                worn = (gauging - number) * 0.004 + chance.gauss(0, 0.02)
                sign = 1 if kind.kind == "die" else -1
                value = round(float(kind.new_mm or 0) + sign * max(worn, 0) * (1 if sign > 0 else 2.5), 3)
                shop.gauge(f"{_day(gauging)} 05:00", part, value, edge=edge)
            shop.fit(part, f"{_day(number)} 00:30", "" if last else f"{_day(over)} 00:30", edge=edge,
                     press=press, position=name)  # fmt: skip
            if last:
                return
            shop.serve(f"{_day(over)} 00:30", "flip" if edge == "A" else "replace", part=part, edge=edge,
                       press=press, position=name)  # fmt: skip
            number = over
        part.retired_on, part.retired_because = FIRST + timedelta(days=number), "worn"
        part.save()


def cut_off(as_of: date) -> None:
    """Truncate the log itself at 24:00 of the day, row by row as the data format says."""
    end = when((as_of + timedelta(days=1)).isoformat())
    Measurement.objects.filter(measured_at__gte=end).delete()
    Service.objects.filter(done_at__gte=end).delete()
    Incident.objects.filter(happened_at__gte=end).delete()
    Reading.objects.filter(read_at__gte=end).delete()
    Fitting.objects.filter(fitted_at__gte=end).delete()
    Fitting.objects.filter(removed_at__gte=end).update(removed_at=None)
    Part.objects.filter(retired_on__gt=as_of).update(retired_on=None, retired_because="")
    Part.objects.filter(used_on__gt=as_of).update(used_h=None, used_kg=None, used_on=None)
    PlanEntry.objects.filter(planned_on__gt=as_of).delete()
    Run.objects.filter(started_at__gte=end).delete()
    for run in Run.objects.filter(ended_at__gt=end):
        run.ended_at, run.ends_at = None, Run.end_of(run.started_at, None, run.hours_h)
        run.save()
