"""A database made while each app had several migrations goes on with the one that stands for them."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
MADE_BEFORE = ROOT / "tests" / "config" / "before_the_squash.sql"
"""Dumped from SQLite: a mill with one press, and one run of 7.5 h and 900 kg."""
LOG_ANOTHER = """
import json
from datetime import UTC, datetime
from decimal import Decimal
import django
django.setup()
from wearlog.equipment.models import Press
from wearlog.logbook import actions
from wearlog.people.models import User
from wearlog.runs.entries import NewRun
from wearlog.runs.models import Crop, Run
press = Press.objects.get(code="P1")
crop = Crop.objects.get(code="rapeseed")
entry = NewRun(
    ref="r-2", press_id=press.pk, crop_id=crop.pk, started_at=datetime(2026, 3, 2, 6, tzinfo=UTC),
    hours_h=Decimal("5"), seed_kg=Decimal("600"),
)
at = datetime(2026, 3, 2, 12, tzinfo=UTC)
actions.log_run(by=User.objects.get(username="owner"), at=at, entry=entry)
print(json.dumps([[run.ref, str(run.hours_h), str(run.seed_kg)] for run in Run.objects.order_by("ref")]))
"""

COUNTED_AND_LEARNED = """
import json
import django
django.setup()
from datetime import date
from wearlog.history import versions
from wearlog.history.record import load
factors = [load(date(2026, 2, day)).range_factors.of(1) for day in (9, 10)]
print(json.dumps([versions.current(), versions.of_runs(), [[one.early, one.late] for one in factors]]))
"""


@pytest.fixture
def database(tmp_path: Path) -> Path:
    path = tmp_path / "wearlog.sqlite3"
    with closing(sqlite3.connect(path)) as opened:
        opened.executescript(MADE_BEFORE.read_text())
    return path


def run(database: Path, *words: str) -> subprocess.CompletedProcess[str]:
    surroundings = os.environ | {
        "DJANGO_SETTINGS_MODULE": "wearlog.config.settings",
        "DATA_DIR": str(database.parent),
        "DATABASE_URL": f"sqlite:///{database}",
    }
    return subprocess.run(
        [sys.executable, *words], cwd=ROOT, env=surroundings, capture_output=True, text=True, timeout=300
    )


def test_it_goes_on_with_its_rows_and_takes_new_ones(database: Path) -> None:
    done = run(database, "manage.py", "migrate", "--no-backup")
    assert done.returncode == 0, done.stderr
    assert run(database, "manage.py", "migrate", "--check").returncode == 0
    logged = run(database, "-c", LOG_ANOTHER)
    assert logged.returncode == 0, logged.stderr
    assert json.loads(logged.stdout) == [["r-1", "7.500000", "900.000000"], ["r-2", "5.000000", "600.000000"]]


def test_the_versions_of_its_log_and_what_it_has_learned_stay_in_their_tables(database: Path) -> None:
    with closing(sqlite3.connect(database)) as opened, opened:
        opened.execute("DELETE FROM forecasts_logversion")
        opened.execute("INSERT INTO forecasts_logversion (id, number) VALUES (1, 41)")
        opened.execute("INSERT OR REPLACE INTO forecasts_runsversion (press_id, number) VALUES (1, 17)")
        opened.execute(
            "INSERT INTO forecasts_widening (since, factor, judged, checked_on) "
            "VALUES ('2026-02-10', 1.5, 24, '2026-02-10')"
        )
    assert run(database, "manage.py", "migrate", "--no-backup").returncode == 0
    said = run(database, "-c", COUNTED_AND_LEARNED)
    assert said.returncode == 0, said.stderr
    assert json.loads(said.stdout) == [41, {"1": 17}, [[1.0, 1.0], [1.5, 1.5]]]


def test_one_that_stopped_half_way_is_not_taken_for_a_whole_one(database: Path) -> None:
    with closing(sqlite3.connect(database)) as opened, opened:
        opened.execute("DELETE FROM django_migrations WHERE app = 'reminders' AND name > '0004'")
    done = run(database, "manage.py", "migrate", "--no-backup")
    assert done.returncode != 0
    assert "it lacks reminders.0004_addresses, reminders.0005_calendar" in done.stderr


def test_each_app_has_one_migration_from_that_time() -> None:
    squashed = (ROOT / "wearlog").glob("*/migrations/0001_squashed.py")
    assert {path.parents[1].name for path in squashed} == {
        "equipment", "forecasts", "lockout", "logbook", "people", "reminders", "runs", "service", "web",
    }  # fmt: skip
