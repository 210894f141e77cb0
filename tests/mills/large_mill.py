"""A generated mill of 20 presses over ten years: 200,000 runs, about 1,000 parts. For benchmarks only."""

from __future__ import annotations

import random
from bisect import bisect_left
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from itertools import accumulate

from django.db import transaction

from wearlog.equipment.models import Fitting, Part, PartType, Position, Press
from wearlog.history import versions
from wearlog.lockout.models import EnergySource
from wearlog.people.models import Mill
from wearlog.runs.models import Crop, PlanEntry, Reading, Run
from wearlog.service.models import Measurement, Rule, Service

FIRST = date(2016, 8, 1)
YEARS = 10
HOW_FAST = {"rapeseed": 1.0, "sunflower": 1.4, "flax": 0.8}
SEASONS = (("rapeseed", 0, 120), ("sunflower", 130, 230), ("flax", 240, 330))


def build(*, presses: int = 20, years: int = YEARS, runs: int = 200_000, parts: int = 1_000) -> None:
    """Fill an empty database. The same arguments make the same mill."""
    chance = random.Random(1)
    with transaction.atomic():
        Mill.objects.create(name="Benchmark mill", time_zone="Europe/Vienna", units="metric")
        crops = {code: Crop.objects.create(code=code) for code, _, _ in SEASONS}
        die = PartType.objects.create(
            code="D5",
            kind="die",
            edges=2,
            size_mm=5,
            new_mm=5,
            limit_mm=Decimal("5.4"),
            expected_life_kg=40_000,
        )
        screw = PartType.objects.create(
            code="SC", kind="screw", new_mm=70, limit_mm=69, expected_life_kg=200_000
        )
        _rules(crops)
        for number in range(presses):
            _press(number, chance, crops, die, screw, years, runs // presses, parts // presses)
        versions.touch()


def _at(day: int, hour: float = 6.0) -> datetime:
    return datetime(FIRST.year, FIRST.month, FIRST.day, tzinfo=UTC) + timedelta(days=day, hours=hour)


def _rules(crops: dict[str, Crop]) -> None:
    Rule.objects.create(code="die at limit", action="flip", kind="die", at_limit=True, lead_days=7)
    Rule.objects.create(code="screw at limit", action="replace", kind="screw", at_limit=True, lead_days=21)
    Rule.objects.create(
        code="inspect screw", action="inspect", kind="screw", every_h=400, after_crop=crops["sunflower"]
    )
    Rule.objects.create(code="grease bearings", action="lubricate", every_h=200, every_days=90)
    Rule.objects.create(code="after metal", action="inspect", kind="screw", after_incident="metal")
    Rule.objects.create(code="output falls", action="inspect", on_drift=True)


def _press(
    number: int,
    chance: random.Random,
    crops: dict[str, Crop],
    die: PartType,
    screw: PartType,
    years: int,
    runs: int,
    parts: int,
) -> None:
    press = Press.objects.create(code=f"P{number:02d}", commissioned_on=FIRST)
    EnergySource.objects.create(press=press, source="mains", kind="electrical", isolate_at="wall switch")
    in_season = [year * 365 + day for year in range(years) for _, a, b in SEASONS for day in range(a, b)]
    days = sorted(chance.sample(in_season, min(runs // 4, len(in_season))))
    rows, readings, meter = [], [], 0.0
    wear_of_day = [0.0] * (years * 365)
    for day in days:
        crop = next(code for code, a, b in SEASONS if a <= day % 365 < b)
        for shift in range(runs // len(days)):
            hours = round(chance.uniform(2.5, 5.5), 2)
            meter += hours
            begun = _at(day, 6 * shift)
            ended = begun + timedelta(hours=hours)
            rows.append(
                Run(
                    ref=f"r{number:02d}{len(rows):06d}",
                    press=press,
                    crop=crops[crop],
                    started_at=begun,
                    ended_at=ended,
                    ends_at=ended,
                    hours_h=Decimal(str(hours)),
                    seed_kg=chance.randint(60, 160),
                    drive_hz=Decimal(chance.choice((40, 45, 50))),
                )
            )
            wear_of_day[day] += HOW_FAST[crop] * rows[-1].seed_kg
        if day % 14 == 0:
            readings.append(
                Reading(press=press, read_at=_at(day, 0.5), meter_h=Decimal(str(round(meter, 2))))
            )
    Run.objects.bulk_create(rows, batch_size=2000)
    Reading.objects.bulk_create(readings, batch_size=2000)
    for year in range(years + 1):
        PlanEntry.objects.bulk_create(
            PlanEntry(
                press=press,
                crop=crops[code],
                start_on=FIRST + timedelta(days=year * 365 + begin),
                end_on=FIRST + timedelta(days=year * 365 + end - 1),
                seed_kg=420 * (end - begin),
            )
            for code, begin, end in SEASONS
        )
    for name, kind, count in (("screw", screw, parts // 5), ("die", die, parts - parts // 5)):
        _parts(press, name, kind, count, wear_of_day, chance)
    Service.objects.bulk_create(
        Service(ref=f"s{number:02d}{day:05d}", done_at=_at(day, 0.1), press=press, action="lubricate")
        for day in range(30, years * 365, 30)
    )


def _parts(
    press: Press, name: str, kind: PartType, count: int, wear_of_day: list[float], chance: random.Random
) -> None:
    """Parts one after the other, each edge until it is worn to about the limit: some wear faster than others,
    and all by the seed of the runs."""
    position = Position.objects.create(press=press, name=name, kind=name)
    until = [0.0, *accumulate(wear_of_day[:-1])]
    pace = [chance.uniform(0.85, 1.15) for _ in range(count * kind.edges)]
    lasts = [chance.gauss(0.97, 0.05) / own for own in pace]
    unit = until[-1] / sum(lasts)
    ends = [bisect_left(until, unit * lasted) for lasted in accumulate(lasts)]
    ends[0] = max(ends[0], 1)
    for index in range(1, len(ends)):  # a day at least for each edge, however few days have runs
        ends[index] = max(ends[index], ends[index - 1] + 1)
    ends[-1] = max(ends[-1], len(until) - 1)
    fittings, gauges, day = [], [], 0
    for life in range(count):
        last = life == count - 1
        part = Part.objects.create(
            code=f"{press.code}-{name}-{life:02d}",
            part_type=kind,
            retired_on=None if last else FIRST + timedelta(days=ends[(life + 1) * kind.edges - 1]),
            retired_because="" if last else "worn",
        )
        for index, edge in enumerate(kind.edge_names, life * kind.edges):
            open_end = last and edge == kind.edge_names[-1]
            step = ends[index] - day
            fittings.append(
                Fitting(
                    part=part,
                    edge=edge,
                    position=position,
                    fitted_at=_at(day, 0.2),
                    removed_at=None if open_end else _at(ends[index], 0.2),
                )
            )
            for gauging in range(day + min(7, step // 4), ends[index], max(step // 4, 7)):
                worn = pace[index] * (until[gauging] - until[day]) / unit
                room = float((kind.limit_mm or 0) - (kind.new_mm or 0))
                value = float(kind.new_mm or 0) + room * worn + chance.gauss(0, 0.02)
                gauges.append(
                    Measurement(
                        ref=f"m{part.code}{edge}{gauging:05d}",
                        measured_at=_at(gauging, 0.3),
                        part=part,
                        edge=edge,
                        value_mm=Decimal(f"{value:.3f}"),
                    )
                )
            day = ends[index]
    Fitting.objects.bulk_create(fittings)
    Measurement.objects.bulk_create(gauges, batch_size=2000)
