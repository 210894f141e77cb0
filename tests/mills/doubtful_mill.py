"""An invented year of three presses whose log is clean, and what can be spoilt in it.

Runs of about ten hours on working days, a slow fall of the pace as parts wear, 3 per cent of scatter from run
to run and as much from week to week (seed differs), a die turned each five weeks and written down, a meter
read each Friday. Invented data.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from wearlog.equipment.models import Press
from wearlog.people.models import Mill
from wearlog.runs.models import Cause, Crop, Reading, Run
from wearlog.service.models import Service

LAST = date(2026, 6, 30)
DAYS = 360
PACES = {"P1": 15.0, "P2": 21.0, "P3": 11.0}
CROPS = {"rapeseed": 1.0, "sunflower": 0.82}
SCATTER = 0.03


@dataclass
class Pressed:
    press: str
    day: date
    crop: str
    start: datetime
    hours: float
    kg: float


@dataclass
class Clean:
    """`work`: when a die was turned, by press. `meter`: (instant, hours) of each press."""

    runs: list[Pressed] = field(default_factory=list)
    work: list[tuple[str, datetime]] = field(default_factory=list)
    meter: list[tuple[str, datetime, float]] = field(default_factory=list)


def clean(seed: int) -> Clean:
    chance, made = random.Random(seed), Clean()
    for press, pace in PACES.items():
        counted, since_turned = 0.0, 0
        for number in range(DAYS):
            day = LAST - timedelta(days=DAYS - 1 - number)
            morning = datetime(day.year, day.month, day.day, 5, tzinfo=UTC)
            if number % 7 == 0:
                of_week = chance.gauss(0.0, SCATTER / 2)
            if day.weekday() < 6:
                crop = "rapeseed" if (number // 45) % 2 == 0 else "sunflower"
                hours = chance.uniform(8.0, 12.0)
                log_pace = of_week + chance.gauss(0.0, SCATTER) - 0.002 * since_turned
                kg = pace * CROPS[crop] * hours * 2.718281828**log_pace
                made.runs.append(Pressed(press, day, crop, morning, round(hours, 1), round(kg, 1)))
                counted += round(hours, 1)
                since_turned += 1
            if since_turned >= 30:
                made.work.append((press, morning + timedelta(hours=14)))
                since_turned = 0
            if day.weekday() == 4:
                made.meter.append((press, morning + timedelta(hours=15), counted))
    return made


def store(made: Clean) -> None:
    Mill.objects.create(name="Mill by the weir", time_zone="Europe/Vienna", units="metric")
    presses = {code: Press.objects.create(code=code) for code in PACES}
    crops = {code: Crop.objects.create(code=code) for code in CROPS}
    Run.objects.bulk_create(
        Run(
            ref=f"d{number:05d}",
            press=presses[one.press],
            crop=crops[one.crop],
            started_at=one.start,
            ended_at=one.start + timedelta(hours=one.hours),
            ends_at=one.start + timedelta(hours=one.hours),
            hours_h=Decimal(str(one.hours)),
            seed_kg=Decimal(str(round(one.kg, 1))),
        )
        for number, one in enumerate(made.runs)
    )
    Service.objects.bulk_create(
        Service(ref=f"t{number:04d}", press=presses[press], action="flip", done_at=at)
        for number, (press, at) in enumerate(made.work)
    )
    Reading.objects.bulk_create(
        Reading(press=presses[press], read_at=at, meter_h=Decimal(str(round(hours, 2))))
        for press, at, hours in made.meter
    )


Spoil = Callable[[Clean, random.Random], tuple[Cause, str, date]]
"""Spoils one thing, and tells what has to be found: its cause, press and day."""


def a_decimal_point(made: Clean, chance: random.Random) -> tuple[Cause, str, date]:
    run = chance.choice(made.runs[20:-20])
    run.kg *= chance.choice((0.1, 10.0))
    return Cause.PACE, run.press, run.day


def nine_nines(made: Clean, chance: random.Random) -> tuple[Cause, str, date]:
    run = chance.choice(made.runs[20:-20])
    run.kg = 999_999_999.0
    return Cause.PACE, run.press, run.day


def half_the_hours(made: Clean, chance: random.Random) -> tuple[Cause, str, date]:
    run = chance.choice(made.runs[20:-20])
    run.hours = round(run.hours / 2, 1)
    return Cause.PACE, run.press, run.day


def a_die_not_written_down(made: Clean, chance: random.Random) -> tuple[Cause, str, date]:
    """A die with another bore: 12 per cent more or less from a day on, until the next work."""
    press, at = chance.choice([each for each in made.work if each[1].date() < LAST - timedelta(days=45)])
    first, factor = at.date() + timedelta(days=15), chance.choice((0.88, 1.12))
    until = min((when.date() for one, when in made.work if one == press and when > at), default=LAST)
    for run in made.runs:
        if run.press == press and first <= run.day <= until:
            run.kg *= factor
    return Cause.STEP, press, first


def mixed_up(made: Clean, chance: random.Random) -> tuple[Cause, str, date]:
    day = chance.choice(made.runs[60:-60]).day
    one, two = (
        next(run for run in made.runs if run.press == press and run.day == day) for press in ("P1", "P2")
    )
    one.press, two.press = two.press, one.press
    return Cause.SWAPPED, "P1", day


def a_day_left_out(made: Clean, chance: random.Random) -> tuple[Cause, str, date]:
    """Of a press whose meter is not read."""
    run = chance.choice([each for each in made.runs[60:-60] if LAST - timedelta(days=300) < each.day])
    run = run if run.day < LAST - timedelta(days=30) else made.runs[200]
    made.runs.remove(run)
    made.meter = [each for each in made.meter if each[0] != run.press]
    return Cause.GAP, run.press, run.day


def a_week_left_out(made: Clean, chance: random.Random) -> tuple[Cause, str, date]:
    """The meter went on."""
    press, at, _hours = chance.choice(made.meter[10:30])
    week = [run for run in made.runs if run.press == press and at < run.start < at + timedelta(days=7)]
    for run in week:
        made.runs.remove(run)
    return Cause.UNLOGGED, press, at.date()


SPOILS: dict[str, Spoil] = {
    "a decimal point in a weight": a_decimal_point,
    "a run of 999,999,999 kg": nine_nines,
    "half the hours": half_the_hours,
    "a die changed without a word": a_die_not_written_down,
    "two presses mixed up for a day": mixed_up,
    "a day left out": a_day_left_out,
    "a week left out, by the meter": a_week_left_out,
}
