"""What the schedule runs: the same tasks at once in one process, or by workers."""

from __future__ import annotations

import socket

import pytest
from celery import current_app
from pytest_django import Settings

from tests.mills.greasing import Greasing
from tests.mills.wishes import any_hour
from tests.reminders.smtp import MailServer
from wearlog.people.models import User
from wearlog.reminders import tasks
from wearlog.reminders.models import OutboxRow, OutboxState
from wearlog.reminders.schedule.tasks_due import BEAT_SCHEDULE


@pytest.fixture
def overdue(greasing: Greasing, operator: User) -> Greasing:
    """By the real clock the bearing has been overdue since April 2026."""
    any_hour(operator)
    return greasing


def test_every_task_run_twice_sends_one_mail(overdue: Greasing, smtp: MailServer) -> None:
    assert tasks.scan_due() == 1
    assert tasks.scan_due() == 0
    (row,) = OutboxRow.objects.all()
    assert tasks.send_one(row.pk) == "sent"
    assert tasks.send_one(row.pk) == "not mine"
    assert tasks.send_waiting() == 0
    assert len(smtp.mails) == 1


def test_the_embedded_schedule_sends_what_the_scan_found(overdue: Greasing, smtp: MailServer) -> None:
    """Without Redis `delay` runs the task at once, in this process."""
    for entry in BEAT_SCHEDULE.values():
        current_app.tasks[entry["task"]].delay()
    assert len(smtp.mails) == 1
    assert OutboxRow.objects.get().state == OutboxState.SENT


def test_a_mail_server_that_never_answers_does_not_hold_the_embedded_schedule_up(
    overdue: Greasing, owner: User, settings: Settings, smtp: MailServer
) -> None:
    """One time-out for the round, not one for each row."""
    any_hour(owner)
    tasks.scan_due()
    with socket.socket() as deaf:
        deaf.bind(("127.0.0.1", 0))
        deaf.listen()
        settings.EMAIL_PORT, settings.EMAIL_TIMEOUT = deaf.getsockname()[1], 0.3
        assert tasks.send_waiting() == 1
    assert sorted(OutboxRow.objects.values_list("attempts", flat=True)) == [0, 1]


def test_the_schedule_names_tasks_that_exist_and_messages_expire_before_the_next() -> None:
    assert sorted(entry["task"] for entry in BEAT_SCHEDULE.values()) == [
        "wearlog.reminders.tasks.scan_due",
        "wearlog.reminders.tasks.send_waiting",
    ]
    for entry in BEAT_SCHEDULE.values():
        assert entry["task"] in current_app.tasks
        assert entry["schedule"] == 60.0
        assert 50 <= entry["options"]["expires"] < 60
    assert BEAT_SCHEDULE.items() <= current_app.conf.beat_schedule.items()


def test_messages_are_taken_off_the_queue_before_their_task_runs() -> None:
    """Late acknowledgement makes a worker of Celery 5.7.0 exit where Redis dies meanwhile."""
    for name in ("scan_due", "send_waiting", "send_one"):
        task = current_app.tasks[f"wearlog.reminders.tasks.{name}"]
        assert not task.acks_late
        assert task.ignore_result
    assert current_app.conf.worker_prefetch_multiplier == 1
