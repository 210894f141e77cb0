"""The demo mill: made by a script to the byte, plausible, and alive on any day of the year."""

from __future__ import annotations

import csv
import subprocess
import sys
from datetime import date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from django.db.models import Max, Sum

from wearlog.equipment.models import Fitting, Part, Press
from wearlog.forecasts import versions
from wearlog.forecasts.queries import due_items
from wearlog.lockout.models import EnergySource
from wearlog.logbook import demo
from wearlog.logbook.exchange.columns import TABLES
from wearlog.people.models import AuditEntry, Mill
from wearlog.people.refusals import Refused
from wearlog.runs.models import Crop, PlanEntry, Reading, Run
from wearlog.service.models import Incident, Measurement, Rule, Service

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
VIENNA = ZoneInfo("Europe/Vienna")
DAYS = [
    date(2026, 3, 4),  # the book's own day
    date(2026, 3, 30),  # the day after clocks went forward
    date(2026, 7, 19),
    date(2026, 10, 25),  # the day clocks go back
    date(2028, 2, 29),
    date(2026, 12, 31),
]


def test_running_the_script_again_gives_the_same_bytes(tmp_path: Path) -> None:
    script = FIXTURES / "make_demo_mill.py"
    subprocess.run([sys.executable, script, tmp_path / "again"], check=True, timeout=120)

    made = {path.name: path.read_bytes() for path in (tmp_path / "again").iterdir()}
    kept = {path.name: path.read_bytes() for path in demo.FOLDER.iterdir()}

    assert made == kept


def test_the_book_is_small_enough_to_carry_along() -> None:
    assert sum(path.stat().st_size for path in demo.FOLDER.iterdir()) < 1_500_000


def test_nothing_in_the_book_happens_on_its_reference_day_or_later() -> None:
    last = datetime(2026, 3, 4, tzinfo=VIENNA)
    ahead = {("plan", "start_on"), ("plan", "end_on")}
    columns = [
        (table.file, column.name)
        for table in TABLES
        for column in table.columns
        if column.name.endswith(("_on", "_at"))
        and (table.name, column.name) not in ahead
        and column.name != "isolate_at"
    ]
    found = 0
    for file, column in columns:
        path = demo.FOLDER / file
        rows = csv.DictReader(path.open(encoding="utf-8", newline=""))
        for value in filter(None, (row.get(column) for row in rows)):
            found += 1
            moment = datetime.fromisoformat(value)
            assert (moment if moment.tzinfo else moment.replace(tzinfo=VIENNA)) < last, (file, column, value)
    assert found > 9_000


@pytest.mark.django_db
def test_the_mill_is_as_rich_as_it_is_meant_to_be() -> None:
    demo.load(by=None, today=date(2026, 3, 4))

    assert Mill.current().name == "Larkmoor Oil Mill"
    assert Press.objects.count() == 4
    assert [press.code for press in Press.objects.all() if press.barrels() == ["left", "right"]] == ["P4"]
    assert set(Crop.objects.values_list("code", flat=True)) == {
        "rapeseed",
        "sunflower",
        "linseed",
        "camelina",
    }
    assert 3_000 <= Run.objects.count() <= 5_000
    assert 25 <= Part.objects.filter(part_type__kind="die").count() <= 35
    assert {"worn", "broken", "remade", "lost", ""} == set(
        Part.objects.filter(part_type__kind="die").values_list("retired_because", flat=True)
    )
    assert Part.objects.exclude(made_from=None).count() == 2
    assert set(Fitting.objects.filter(part__part_type__kind="die").values_list("edge", flat=True)) == {
        "A",
        "B",
    }
    assert {"before", "after"} <= set(
        Measurement.objects.filter(service__action="polish").values_list("phase", flat=True)
    )
    assert {"at_least", "below", ""} == set(Measurement.objects.values_list("bound", flat=True))
    assert Measurement.objects.filter(note__contains="a slip").exists()
    assert Run.objects.filter(note__contains="corrected").exists()
    assert Run.objects.filter(note__contains="estimated").exists()
    assert Reading.objects.filter(kind="new_meter").count() == 1
    assert {"metal", "plugged", "overheated"} <= set(Incident.objects.values_list("kind", flat=True))
    assert {"left", "right", ""} == set(Run.objects.values_list("through", flat=True))
    assert Service.objects.filter(action="hard-face").count() == 1
    assert all(
        EnergySource.objects.filter(press=press, source="heater circuit").exists()
        for press in Press.objects.all()
    )
    assert {"pressure", "rotation", "thermal", "gravity", "electrical"} == set(
        EnergySource.objects.values_list("kind", flat=True)
    )


@pytest.mark.django_db
def test_its_rules_have_every_trigger_there_is() -> None:
    demo.load(by=None, today=date(2026, 3, 4))
    rules = list(Rule.objects.all())

    assert any(rule.every_h for rule in rules)
    assert any(rule.every_kg for rule in rules)
    assert any(rule.every_days for rule in rules)
    assert any(rule.at_limit and rule.kind == "die" for rule in rules)
    assert any(rule.at_limit and rule.kind == "screw" for rule in rules)
    assert any(rule.on_drift for rule in rules)
    assert any("metal" in rule.after_incident for rule in rules)
    assert [rule.kind for rule in rules if rule.after_crop and rule.after_crop.code == "sunflower"] == [
        "screw"
    ]


@pytest.mark.django_db
def test_throughput_is_of_the_trades_order() -> None:
    """About 10 to 20 kg/h for each barrel of a small press (common practice, no source)."""
    demo.load(by=None, today=date(2026, 3, 4))

    for press in Press.objects.all():
        runs = Run.objects.filter(press=press, through="").exclude(ended_at=None)
        hours = sum((run.ended_at - run.started_at).total_seconds() for run in runs) / 3600
        seed = runs.aggregate(seed=Sum("seed_kg"))["seed"]
        barrels = max(1, len(press.barrels()))
        assert Decimal(9) <= seed / Decimal(hours) / barrels <= Decimal(20), press


@pytest.mark.django_db
@pytest.mark.parametrize("today", DAYS)
def test_on_any_day_something_is_due_and_a_plan_lies_ahead(today: date) -> None:
    demo.load(by=None, today=today)

    items = due_items(as_of=today)
    by_state = {
        state: [item for item in items if item.state == state] for state in ("overdue", "due", "coming")
    }
    assert by_state["overdue"] or by_state["due"]
    assert by_state["coming"]
    after_sunflower = [item for item in by_state["due"] if item.rule == "inspect screw after sunflower"]
    assert [(item.press, item.trigger) for item in after_sunflower] == [("P1", "season")]
    assert after_sunflower[0].due_on == today - timedelta(days=2)
    assert PlanEntry.objects.filter(start_on__gt=today).count() >= 12


@pytest.mark.django_db
@pytest.mark.parametrize("today", DAYS)
def test_the_last_runs_are_yesterdays_and_none_is_in_the_future(today: date) -> None:
    demo.load(by=None, today=today)

    last = Run.objects.aggregate(last=Max("ends_at"))["last"].astimezone(VIENNA)
    assert last.date() == today - timedelta(days=1)
    assert Fitting.objects.aggregate(last=Max("fitted_at"))["last"].astimezone(VIENNA).date() < today


@pytest.mark.django_db
@pytest.mark.parametrize("today", [date(2026, 7, 19), date(2026, 10, 25)])
def test_times_keep_their_place_on_the_wall_across_clock_changes(today: date) -> None:
    with (demo.FOLDER / "runs.csv").open(encoding="utf-8", newline="") as stream:
        written = {row["ref"]: datetime.fromisoformat(row["started_at"]) for row in csv.DictReader(stream)}
    by = today - date(2026, 3, 4)

    demo.load(by=None, today=today)

    wall = {ref: at.astimezone(VIENNA) for ref, at in Run.objects.values_list("ref", "started_at")}
    assert {ref: at.replace(tzinfo=None) for ref, at in wall.items()} == {
        ref: at.replace(tzinfo=None) + by for ref, at in written.items()
    }


@pytest.mark.django_db
def test_loading_leaves_one_line_in_the_audit_trail() -> None:
    demo.load(by=None, today=date(2026, 7, 19))

    assert [(entry.action, entry.by_name) for entry in AuditEntry.objects.all()] == [
        ("import", "command line")
    ]


@pytest.mark.django_db
def test_it_is_not_poured_over_another_mill(mill: Mill) -> None:
    with pytest.raises(Refused, match="Larkmoor"):
        demo.load(by=None, today=date(2026, 7, 19))

    assert Mill.current().name == "Test mill"
    assert not Run.objects.exists()


@pytest.mark.django_db
def test_a_second_load_on_the_same_day_changes_nothing() -> None:
    demo.load(by=None, today=date(2026, 7, 19))
    before = versions.current()

    demo.load(by=None, today=date(2026, 7, 19))

    assert versions.current() == before
