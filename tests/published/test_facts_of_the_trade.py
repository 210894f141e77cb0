"""What people at small oilseed presses go by. Each fact: common practice, no source.

They run through the code that a mill uses: typed, logged, compared, shown.
"""

from __future__ import annotations

import csv
import io
import json
from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from tests.dates import at
from wearlog.calc import units
from wearlog.compare.queries import compare
from wearlog.equipment.models import Fitting, Part, PartType, Position, Press
from wearlog.forecasts.memory.queries import due_items
from wearlog.logbook import actions
from wearlog.logbook.entries import NewMeasurement, NewRun, NewWork
from wearlog.people.models import User
from wearlog.people.refusals import Doubtful
from wearlog.runs.models import Crop, PlanEntry, Run
from wearlog.service.models import Rule, Service
from wearlog.web.site.tags.due import card_key

NOW = at("2026-03-01 12:00")


@pytest.fixture
def press(owner: User) -> Press:
    return Press.objects.create(code="P1")


@pytest.fixture
def canola(press: Press) -> Crop:
    return Crop.objects.create(code="canola")


def typed(number: str, unit: str) -> Decimal:
    """What an American operator types into the field, as it is stored."""
    return units.to_kg(units.parse_number(number, decimal="."), unit)


def log(owner: User, press: Press, crop: Crop, started: str, hours: str, kg: Decimal) -> Run:
    entry = NewRun(
        press_id=press.pk,
        crop_id=crop.pk,
        started_at=at(started),
        hours_h=units.parse_hours(hours, decimal="."),
        seed_kg=kg,
    )
    return actions.log_run(by=owner, at=NOW, entry=entry)


def test_sixty_short_tons_in_3600_hours_are_66_hours_per_tonne(press: Press, canola: Crop) -> None:
    # Common practice, no source: a small press takes about 60 short tons in 3,600 hours: 66.1 h per tonne.
    # 150 days of 24 hours, logged as one run of each day.
    Run.objects.bulk_create(
        Run(
            ref=f"day-{day}",
            press=press,
            crop=canola,
            started_at=at("2025-08-01 00:00") + day * (at("2025-08-02 00:00") - at("2025-08-01 00:00")),
            ends_at=at("2025-08-02 00:00") + day * (at("2025-08-02 00:00") - at("2025-08-01 00:00")),
            hours_h=units.parse_hours("24"),
            seed_kg=typed("0.4", "short_ton"),
        )
        for day in range(150)
    )
    out = io.StringIO()
    call_command("compare", "--format", "json", stdout=out)
    total = json.loads(out.getvalue())["total"]
    assert total["hours_h"] == pytest.approx(3600)
    assert total["hours_per_tonne"] == pytest.approx(66.1, abs=0.05)
    assert units.show_per_tonne(total["hours_per_tonne"]) == "66.1 h/t"
    assert units.show_per_tonne(total["hours_per_tonne"], "us") == "60.0 h/short ton"


def test_a_thousand_pounds_a_day_are_19_kilograms_an_hour(owner: User, press: Press, canola: Crop) -> None:
    # Common practice, no source: 1,000 lb in 24 h, 18.9 kg/h.
    log(owner, press, canola, "2026-02-01 00:00", "24:00", typed("1,000", "lb"))
    (line,) = compare(by=("press",)).lines
    assert line.kg_per_h == pytest.approx(18.9, abs=0.005)
    assert units.show_rate(line.kg_per_h) == "18.9 kg/h"
    assert units.show_mass(Run.objects.get().seed_kg, "us") == "1,000 lb"


def test_six_to_eight_hundred_pounds_in_twenty_hours_are_taken_and_as_many_kilograms_are_asked_about(
    owner: User, press: Press, canola: Crop
) -> None:
    # Common practice, no source: 600 to 800 lb in about 20 h.
    pounds = ("600", "700", "800", "650", "750", "800", "600")
    for day, amount in enumerate(pounds):
        log(owner, press, canola, f"2026-02-{day + 1:02d} 00:00", "20:00", typed(amount, "lb"))
    out = io.StringIO()
    call_command("compare", "--by", "crop", "--units", "us", "--format", "csv", stdout=out)
    (row,) = csv.DictReader(io.StringIO(out.getvalue()))
    assert float(row["lb_per_h"]) == pytest.approx(35.0)  # 4,900 lb over 140 h
    assert 30 <= float(row["lb_per_h"]) <= 40
    with pytest.raises(Doubtful) as asked:
        log(owner, press, canola, "2026-02-08 00:00", "20:00", typed("700", "kg"))
    assert [doubt.code for doubt in asked.value.doubts] == ["unit_looks_wrong"]


def test_twenty_minutes_of_preheating_are_a_third_of_an_hour_and_not_twenty_hours() -> None:
    # Common practice, no source: 15 to 20 minutes of preheating.
    shortest, longest = units.parse_hours("15 min"), units.parse_hours("0:20")
    assert shortest == Decimal("0.25")
    assert longest == Decimal("0.333333")
    assert (units.show_clock(shortest), units.show_clock(longest)) == ("0:15", "0:20")


def test_the_job_card_asks_for_fifteen_to_twenty_minutes_of_preheating_before_a_restart(
    client: Client, owner: User, press: Press
) -> None:
    # Common practice, no source: 15 to 20 minutes of preheating.
    Rule.objects.create(code="look over", action="inspect", every_days=30)
    Service.objects.create(
        ref="s1", press=press, action="inspect", done_at=timezone.now() - timedelta(days=60)
    )
    (item,) = due_items(as_of=timezone.localdate())
    client.force_login(owner)
    page = client.get(reverse("web:job-card"), {"item": card_key(item)}).content.decode()
    assert "preheat the head 15 to 20 minutes, or as the maker says" in page


def test_heads_at_120_to_130_fahrenheit_are_kept_in_celsius_and_read_back_as_typed(
    owner: User, press: Press, canola: Crop
) -> None:
    # Common practice, no source: heads are run at 120 to 130 degrees Fahrenheit.
    for day, fahrenheit in enumerate(("120", "130")):
        entry = NewRun(
            press_id=press.pk,
            crop_id=canola.pk,
            started_at=at(f"2026-02-0{day + 1} 00:00"),
            hours_h=Decimal(20),
            seed_kg=Decimal(320),
            head_c=units.to_celsius(units.parse_number(fahrenheit), "f"),
        )
        actions.log_run(by=owner, at=NOW, entry=entry)
    stored = [run.head_c for run in Run.objects.order_by("started_at")]
    assert stored == [Decimal("48.888889"), Decimal("54.444444")]
    assert [units.show_temperature(celsius) for celsius in stored] == ["49 °C", "54 °C"]
    assert [units.show_temperature(celsius, "us") for celsius in stored] == ["120 °F", "130 °F"]


def test_a_die_whose_leading_edge_is_worn_is_due_to_be_turned_and_the_second_edge_to_be_replaced(
    owner: User, press: Press, canola: Crop
) -> None:
    # Common practice, no source: a die is turned to its second edge when the leading edge has worn.
    position = Position.objects.create(press=press, name="die", kind="die")
    kind = PartType.objects.create(
        code="D5", kind="die", edges=2, new_mm=5, limit_mm="5.4", expected_life_kg=12_000
    )
    Rule.objects.create(code="die at limit", action="flip", kind="die", at_limit=True)
    die = Part.objects.create(code="D-1", part_type=kind)
    first = actions.fit(
        by=owner, at=NOW, part_id=die.pk, edge="A", position_id=position.pk, fitted_at=at("2026-01-01 06:00")
    )
    for day in range(1, 29):
        log(owner, press, canola, f"2026-02-{day:02d} 00:00", "20:00", Decimal(500))
    worn = NewMeasurement(value_mm=Decimal("5.41"))
    actions.log_measurement(
        by=owner, at=NOW, part_id=die.pk, edge="A", measured_at=at("2026-03-01 06:00"), measurement=worn
    )
    (item,) = due_items(as_of=NOW.date())
    assert (item.action, item.edge) == ("flip", "A")
    assert item.state in ("due", "overdue")

    turn = NewWork(press_id=press.pk, action="flip", done_at=NOW, expected_fitting_id=first.pk)
    assert actions.log_work(by=owner, at=NOW, entry=turn).edge == "A"
    second = Fitting.objects.open().get()
    assert (second.part, second.position, second.edge) == (die, position, "B")
    (item,) = due_items(as_of=NOW.date())
    assert (item.action, item.edge) == ("replace", "B")
    assert item.state == "later"


def test_a_five_millimetre_die_waits_for_canola_and_a_ten_millimetre_die_for_sunflower(
    owner: User, press: Press, canola: Crop
) -> None:
    # Common practice, no source: a 5 mm die for canola and a 10 mm die for sunflower.
    sunflower = Crop.objects.create(code="sunflower")
    position = Position.objects.create(press=press, name="die", kind="die")
    Rule.objects.create(code="die at limit", action="flip", kind="die", at_limit=True)
    small, large = (
        PartType.objects.create(
            code=f"D{size}",
            kind="die",
            size_mm=size,
            for_crops=crop,
            new_mm=size,
            limit_mm=size + Decimal("0.4"),
            expected_life_kg=12_000,
        )
        for size, crop in ((Decimal(5), "canola"), (Decimal(10), "sunflower"))
    )
    fives = Part.objects.create(code="five", part_type=small)
    ten = Part.objects.create(code="ten", part_type=large)
    fitted = actions.fit(
        by=owner, at=NOW, part_id=ten.pk, edge="", position_id=position.pk, fitted_at=at("2025-11-01 06:00")
    )
    actions.replace(
        by=owner,
        at=NOW,
        position_id=position.pk,
        expected_fitting_id=fitted.pk,
        new_part_id=fives.pk,
        new_edge="",
        moved_at=at("2026-02-01 06:00"),
    )
    PlanEntry.objects.create(
        press=press, crop=canola, start_on="2026-03-02", end_on="2026-06-30", seed_kg=24_000
    )
    PlanEntry.objects.create(
        press=press, crop=sunflower, start_on="2026-09-01", end_on="2026-12-31", seed_kg=24_000
    )
    due = {item.part: item.due_on for item in due_items(as_of=NOW.date())}
    assert due["five"] is not None
    assert due["ten"] is not None
    assert "2026-03-02" <= due["five"].isoformat() <= "2026-06-30"
    assert "2026-09-01" <= due["ten"].isoformat() <= "2026-12-31"
