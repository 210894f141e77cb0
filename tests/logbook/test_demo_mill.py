"""The demo mill: made by a script to the byte, plausible, and alive on any day of the year."""

from __future__ import annotations

import csv
import subprocess
import sys
from collections import defaultdict
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from django.db.models import Max

from wearlog.equipment.models import Fitting, Part, Position, Press
from wearlog.forecasts.memory.queries import due_items
from wearlog.history import versions
from wearlog.lockout.models import EnergySource
from wearlog.logbook import demo
from wearlog.logbook.demo_names import NAMES
from wearlog.logbook.exchange.tables import TABLES
from wearlog.people.models import AuditEntry, Mill
from wearlog.people.refusals import Refused
from wearlog.runs.models import Crop, PlanEntry, Reading, Run
from wearlog.service.models import Incident, Measurement, Service

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
VIENNA = ZoneInfo("Europe/Vienna")
DAYS = [
    date(2026, 3, 30),  # the day after clocks went forward
    date(2026, 7, 19),
    date(2026, 10, 25),  # the day clocks go back
    date(2028, 2, 29),
]


def test_running_the_script_again_gives_the_same_bytes(tmp_path: Path) -> None:
    script = FIXTURES / "make_demo_mill.py"
    subprocess.run([sys.executable, script, tmp_path / "again"], check=True, timeout=600)

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
        if not table.came_later  # the book is older than such files
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


def rows(file: str) -> list[dict[str, str]]:
    with (demo.FOLDER / file).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def test_its_rules_have_every_trigger_there_is() -> None:
    rules = rows("rules.csv")

    for trigger in ("every_h", "every_kg", "every_days", "on_drift", "after_incident"):
        assert any(rule[trigger] for rule in rules), trigger
    assert {rule["kind"] for rule in rules if rule["at_limit"]} == {"die", "screw"}
    assert [rule["kind"] for rule in rules if rule["after_crop"] == "sunflower"] == ["screw"]


def test_throughput_is_of_the_trades_order() -> None:
    """About 10 to 20 kg/h for each barrel of a small press (common practice, no source)."""
    twin = {row["press"] for row in rows("positions.csv") if row["barrel"]}
    hours: dict[str, float] = defaultdict(float)
    seed: dict[str, float] = defaultdict(float)
    for run in rows("runs.csv"):
        if run["ended_at"] and not run["through"]:
            took = datetime.fromisoformat(run["ended_at"]) - datetime.fromisoformat(run["started_at"])
            hours[run["press"]] += took.total_seconds() / 3600
            seed[run["press"]] += float(run["seed_kg"])

    assert len(hours) == 4
    for press in hours:
        assert 9 <= seed[press] / hours[press] / (2 if press in twin else 1) <= 20, press


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
    # and nothing lies in the future but the plan
    yesterday = today - timedelta(days=1)
    assert Run.objects.aggregate(last=Max("ends_at"))["last"].astimezone(VIENNA).date() == yesterday
    assert Fitting.objects.aggregate(last=Max("fitted_at"))["last"].astimezone(VIENNA).date() <= yesterday


@pytest.mark.parametrize("today", [date(2026, 7, 19), date(2026, 10, 25), date(2027, 3, 28)])
def test_times_keep_their_place_on_the_wall_across_clock_changes(today: date, tmp_path: Path) -> None:
    by = today - date(2026, 3, 4)

    demo.write_moved(demo.FOLDER, tmp_path, by)

    with (tmp_path / "runs.csv").open(encoding="utf-8", newline="") as stream:
        moved = {row["ref"]: row["started_at"] for row in csv.DictReader(stream)}
    assert len(moved) > 3_000
    for row in rows("runs.csv"):
        wall = datetime.fromisoformat(row["started_at"]).replace(tzinfo=None)
        assert datetime.fromisoformat(moved[row["ref"]]) == wall + by


@pytest.mark.django_db
def test_it_is_not_poured_over_another_mill(mill: Mill) -> None:
    Press.objects.create(code="P9")
    with pytest.raises(Refused, match="Larkmoor"):
        demo.load(by=None, today=date(2026, 7, 19))

    assert Mill.current().name == "Test mill"
    assert not Run.objects.exists()


@pytest.mark.django_db
def test_loading_leaves_one_line_in_the_audit_trail_and_a_second_time_none() -> None:
    demo.load(by=None, today=date(2026, 7, 19))
    before = versions.current()
    assert [(entry.action, entry.by_name) for entry in AuditEntry.objects.all()] == [
        ("import", "command line")
    ]

    demo.load(by=None, today=date(2026, 7, 19))

    assert versions.current() == before
    assert AuditEntry.objects.count() == 1


@pytest.mark.parametrize(
    ("language", "mill", "press", "crop", "place"),
    [
        ("de", "Ölmühle Lerchenmoor", "Nordpresse", "Raps", "Düse links"),
        ("fr", "Huilerie de la Lande", "Presse nord", "colza", "filière gauche"),
    ],
)
def test_the_demo_mill_has_its_names_in_other_languages(
    db: None, language: str, mill: str, press: str, crop: str, place: str
) -> None:
    demo.load(by=None, today=date(2026, 3, 4), language=language)
    assert Mill.current().name == mill
    assert Press.objects.filter(name=press).exists()
    assert Run.objects.filter(crop__code=crop).exists()
    assert Position.objects.filter(name=place).exists()
    english = {"rapeseed", "linseed", "sunflower", "camelina"}
    assert not english & set(Crop.objects.values_list("code", flat=True))


def test_every_name_of_the_demo_mill_is_known_in_each_language() -> None:
    names = set()
    for table, column in (
        ("mill", "name"),
        ("presses", "name"),
        ("crops", "crop"),
        ("positions", "position"),
        ("rules", "rule"),
    ):
        with (demo.FOLDER / f"{table}.csv").open(encoding="utf-8") as stream:
            names |= {row[column] for row in csv.DictReader(stream)}
    for language, known in NAMES.items():
        assert names <= known.keys(), language
        assert len(set(known.values())) == len(known), language
