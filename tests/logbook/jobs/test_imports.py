"""Imports as jobs: claimed once, followed, cancelled, begun again after a worker died, told in full."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone

from tests.logbook.exchange.books import packed
from wearlog.equipment.models import Press
from wearlog.logbook import tasks
from wearlog.logbook.exchange.problems import Unreadable
from wearlog.logbook.jobs import requesting, running, storage
from wearlog.logbook.jobs.requesting import cancel_import, request_import
from wearlog.logbook.models import LEASE, ImportJob
from wearlog.people.models import AuditEntry, User
from wearlog.people.refusals import NotAllowed, Refused
from wearlog.runs.models import Run

NOW = datetime(2026, 3, 4, 12, tzinfo=UTC)
HEADER = "ref,press,crop,started_at,hours_h,seed_kg\r\n"


@pytest.fixture(autouse=True)
def folder(settings: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A data folder of the test's own; nothing is small enough to be carried out at once."""
    settings.DATA_DIR = tmp_path
    monkeypatch.setattr(requesting, "SMALL_BYTES", 0)
    monkeypatch.setattr(running, "TELL_EVERY_S", 0.0)
    return tmp_path / "imports"


def book(runs: str) -> bytes:
    return packed(presses="press\r\nP1\r\n", crops="crop\r\nrape\r\n", runs=HEADER + runs)


def a_run(number: int, seed: str = "100") -> str:
    start = datetime(2025, 1, 1, tzinfo=UTC) + timedelta(hours=2 * number)
    return f"r{number},P1,rape,{start.isoformat()},1,{seed}\r\n"


GOOD = "".join(map(a_run, range(30)))


def ask(owner: User, content: bytes, **more: Any) -> ImportJob:
    values: dict[str, Any] = {"on_conflict": "", "only_check": False, "language": "en"} | more
    return request_import(
        by=owner, at=NOW, name="old years.zip", upload=[content], clock=lambda: NOW, **values
    )


def now_of(job: ImportJob) -> ImportJob:
    return ImportJob.objects.get(pk=job.pk)


def carry_out(job: ImportJob, clock: Callable[[], datetime] = lambda: NOW) -> bool:
    return running.carry_out(job_id=job.pk, clock=clock)


def test_an_import_waits_is_carried_out_once_and_leaves_no_file(owner: User, folder: Path) -> None:
    job = ask(owner, book(GOOD))
    assert (job.state, Run.objects.count()) == ("waiting", 0)
    assert storage.archive(job.file).stat().st_mode & 0o777 == 0o600

    assert (carry_out(job), carry_out(job)) == (True, False)

    job = now_of(job)
    assert (job.state, job.counts["new"], Run.objects.count()) == ("done", 32, 30)
    assert AuditEntry.objects.get(action="import").new["source"] == "old years.zip"
    assert list(folder.iterdir()) == []


def test_a_check_stores_nothing_and_says_what_an_import_would(owner: User) -> None:
    job = ask(owner, book(GOOD), only_check=True)
    carry_out(job)
    assert (now_of(job).state, now_of(job).counts["new"], Run.objects.count()) == ("done", 32, 0)


def test_a_job_that_a_worker_holds_is_left_to_it_until_its_lease_ends(owner: User) -> None:
    job = ask(owner, book(GOOD))
    assert running.claim(job_id=job.pk, at=NOW)  # and then it is killed

    assert not carry_out(job, lambda: NOW + LEASE - timedelta(seconds=1))
    assert carry_out(job, lambda: NOW + LEASE)

    assert (now_of(job).state, Run.objects.count()) == ("done", 30)


def test_a_job_whose_workers_die_three_times_is_told_as_broken_off(owner: User) -> None:
    job = ask(owner, book(GOOD))
    for time in range(3):
        assert running.claim(job_id=job.pk, at=NOW + time * LEASE)

    assert not carry_out(job, lambda: NOW + 3 * LEASE)

    assert (now_of(job).state, now_of(job).said) == (
        "broken",
        "It was begun 3 times, and ended each time before it was done.",
    )
    assert running.claimable(at=NOW + 9 * LEASE) == []


def test_a_worker_that_lost_its_lease_stores_nothing(owner: User) -> None:
    """It was slow, another began anew: only one of them may store."""
    job = ask(owner, book(GOOD))
    others: list[object] = []

    def clock() -> datetime:
        if len(others) == 2:  # in the midst of the check
            others.append(running.claim(job_id=job.pk, at=NOW + LEASE))
        else:
            others.append(None)
        return NOW

    carry_out(job, clock)

    assert others[2] is not None
    assert (now_of(job).state, Run.objects.count()) == ("checking", 0)


def test_it_can_be_cancelled_while_it_waits_and_while_it_is_checked(owner: User, folder: Path) -> None:
    waiting = ask(owner, book(GOOD))
    cancel_import(by=owner, at=NOW, job_id=waiting.pk)
    assert not carry_out(waiting)

    checked = ask(owner, book(GOOD))
    looks: list[str] = []

    def clock() -> datetime:
        looks.append("")
        if len(looks) == 4:
            cancel_import(by=owner, at=NOW, job_id=checked.pk)
        return NOW

    carry_out(checked, clock)

    assert {now_of(waiting).state, now_of(checked).state} == {"cancelled"}
    assert Run.objects.count() == Press.objects.count() == 0
    assert list(folder.iterdir()) == []


def test_it_is_too_late_to_cancel_once_it_is_stored(owner: User, operator: User) -> None:
    job = ask(owner, book(GOOD))
    carry_out(job)
    with pytest.raises(Refused, match="too late"):
        cancel_import(by=owner, at=NOW, job_id=job.pk)
    with pytest.raises(NotAllowed):
        cancel_import(by=operator, at=NOW, job_id=job.pk)
    with pytest.raises(NotAllowed):
        ask(operator, book(GOOD))
    assert now_of(job).state == "done"


def test_a_thousand_errors_are_told_by_kind_and_in_full_as_a_file(owner: User) -> None:
    wrong = "".join(a_run(number, "=much" if number % 2 else "1.2.3") for number in range(1_000))
    job = ask(owner, book(wrong + "short,row\r\n"))
    carry_out(job)

    job = now_of(job)
    assert (job.state, job.problems, Run.objects.count()) == ("refused", 1_001, 0)
    assert [(group["column"], group["count"], len(group["first"])) for group in job.groups] == [
        ("seed_kg", 1_000, 3),
        ("", 1, 1),
    ]
    text = storage.problems(job.file).read_text(encoding="utf-8-sig")
    lines = list(csv.reader(io.StringIO(text, newline="")))
    assert lines[0] == ["file", "line", "column", "value", "stored here", "what is wrong"]
    assert len(lines) == 1_002
    assert {line[3] for line in lines[1:-1]} == {"'=much", "1.2.3"}


def test_more_rows_than_a_page_takes_are_refused_with_the_way_that_takes_them(
    owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert running.MOST_ROWS == 100_000
    monkeypatch.setattr(running, "MOST_ROWS", 29)
    job = ask(owner, book(GOOD))
    carry_out(job)
    assert now_of(job).said == (
        "runs.csv has more than 29 rows, which is more than a page takes. Divide the logbook, or import it "
        "on the command line: manage.py import_logbook."
    )
    assert Run.objects.count() == 0


def test_what_is_no_archive_is_refused_at_once_by_its_own_name(owner: User, folder: Path) -> None:
    with pytest.raises(Unreadable, match=r"^old years\.zip is not a whole \.zip archive"):
        ask(owner, b"not an archive")
    assert ImportJob.objects.count() == 0
    assert list(folder.iterdir()) == []


def test_a_small_logbook_is_in_when_the_next_page_comes(owner: User, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(requesting, "SMALL_BYTES", 400_000)
    assert ask(owner, book(GOOD)).state == "done"


def test_what_became_of_it_is_forgotten_after_ninety_days(owner: User, folder: Path) -> None:
    job = ask(owner, book(a_run(1, "much")))
    carry_out(job)
    assert storage.problems(job.file).is_file()

    requesting.forget_old(at=NOW + timedelta(days=89))
    assert ImportJob.objects.count() == 1
    requesting.forget_old(at=NOW + timedelta(days=91))
    assert ImportJob.objects.count() == 0
    assert list(folder.iterdir()) == []


def test_where_there_are_no_workers_the_schedule_takes_only_what_nobody_else_began(
    owner: User, settings: Any
) -> None:
    """The one-process server begins an import within a second, apart from the schedule's thread."""
    job = ask(owner, book(GOOD))
    settings.CELERY_TASK_ALWAYS_EAGER = True
    ImportJob.objects.update(asked_at=timezone.now() - timedelta(seconds=60))
    assert tasks.carry_out_imports() == 0

    ImportJob.objects.update(asked_at=timezone.now() - timedelta(seconds=120))
    assert tasks.carry_out_imports() == 1
    assert now_of(job).state == "done"


def test_a_worker_takes_what_waits_at_once(owner: User, settings: Any) -> None:
    job = ask(owner, book(GOOD))
    settings.CELERY_TASK_ALWAYS_EAGER = False
    assert (tasks.carry_out_imports(), tasks.carry_out_imports()) == (1, 0)
    assert now_of(job).state == "done"
