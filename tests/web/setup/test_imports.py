"""The page of an import: how far it is, what came of it, and how it is cancelled, all without a script."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from tests.logbook.exchange.books import packed
from wearlog.equipment.models import Press
from wearlog.logbook.jobs import requesting, running
from wearlog.logbook.models import ImportJob
from wearlog.people.models import User


@pytest.fixture(autouse=True)
def folder(settings: Any, tmp_path: Path) -> None:
    settings.DATA_DIR = tmp_path


def archive(**files: str) -> SimpleUploadedFile:
    return SimpleUploadedFile("logbook.zip", packed(**files), "application/zip")


@pytest.fixture
def desk(client: Client, owner: User) -> Client:
    client.force_login(owner)
    return client


@pytest.fixture
def job(desk: Client, monkeypatch: pytest.MonkeyPatch) -> ImportJob:
    """One that waits for a worker, as any does that is not small."""
    monkeypatch.setattr(requesting, "SMALL_BYTES", 0)
    answer = desk.post("/exchange/", {"file": archive(presses="press\r\nP1\r\n"), "store": "1"})
    job: ImportJob = ImportJob.objects.get()
    assert answer["Location"] == f"/exchange/imports/{job.pk}/"
    return job


def words(client: Client, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", answer.content.decode())


def test_an_import_that_waits_says_so_and_leads_on_without_a_script(desk: Client, job: ImportJob) -> None:
    path = f"/exchange/imports/{job.pk}/"
    assert "State of the import: waiting" in words(desk, path)
    assert f'href="{path}">Look how far it is</a>' in words(desk, path)
    assert "logbook.zip" in words(desk, "/exchange/")

    ImportJob.objects.update(state="checking", doing="comparing runs.csv", done_rows=2_000, total_rows=60_000)
    assert "comparing runs.csv: 2,000 of 60,000 rows" in words(desk, path)

    ImportJob.objects.update(state="waiting")
    running.carry_out(job_id=job.pk, clock=timezone.now)
    assert "Imported: 1 new, 0 filled in" in words(desk, path)
    assert "Look how far it is" not in words(desk, path)
    assert Press.objects.get().code == "P1"


def test_it_is_cancelled_by_its_button_and_too_late_is_said(desk: Client, job: ImportJob) -> None:
    button = f"/exchange/imports/{job.pk}/cancel/"
    assert f'action="{button}"' in words(desk, f"/exchange/imports/{job.pk}/")
    assert "Nothing was stored." in desk.post(button, follow=True).content.decode()
    assert not running.carry_out(job_id=job.pk, clock=timezone.now)
    assert Press.objects.count() == 0

    again = desk.post(button)
    assert again.status_code == 409
    assert "too late to cancel" in again.content.decode()
    assert desk.get(button).status_code == 405


def test_what_is_wrong_is_a_screen_and_the_whole_list_a_file(desk: Client, mill: object) -> None:
    presses = "press,commissioned_on\r\n" + "".join(f"P{number},soon\r\n" for number in range(1_000))
    desk.post("/exchange/", {"file": archive(presses=presses), "store": "1"})
    path = f"/exchange/imports/{ImportJob.objects.get().pk}/"

    page = words(desk, path)
    assert "Nothing was stored. 1,000 things stand in the way." in page
    assert "presses.csv, commissioned_on: 1,000" in page
    assert page.count("presses.csv, line") == 3
    assert "and 997 more of this kind" in page

    listed = desk.get(f"{path}problems.csv")
    assert listed["Content-Type"] == "text/csv; charset=utf-8"
    assert listed.content.decode().count("\r\n") == 1_001


def test_only_owners_see_it_and_a_look_writes_nothing(desk: Client, job: ImportJob, operator: User) -> None:
    for path in (f"/exchange/imports/{job.pk}/", "/exchange/"):
        with CaptureQueriesContext(connection) as queries:
            words(desk, path)
        assert all(query["sql"].startswith("SELECT") for query in queries)
    assert desk.get(f"/exchange/imports/{job.pk}/problems.csv").status_code == 404

    desk.force_login(operator)
    assert desk.get(f"/exchange/imports/{job.pk}/").status_code == 403
    assert desk.post(f"/exchange/imports/{job.pk}/cancel/").status_code == 403
    assert ImportJob.objects.get().state == "waiting"
