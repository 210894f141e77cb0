"""F5 and F12, how long a round takes, and that nobody who logs waits for it."""

from __future__ import annotations

import time
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.dates import at
from tests.mills.greasing import DUE, Greasing
from tests.mills.wishes import any_hour
from tests.reminders.smtp import MailServer
from wearlog.equipment.models import Press
from wearlog.forecasts.memory.queries import due_items
from wearlog.people.models import Mill, User
from wearlog.reminders.models import OutboxRow, OutboxState
from wearlog.reminders.outbox import scan as finding
from wearlog.reminders.outbox.actions import Outcome, scan, send_due, send_one
from wearlog.service.models import Rule, Service

DONE = at("2026-03-01 12:00")


def many(presses: int, rules: int) -> None:
    """So many presses with so many rules each, all due on 31 March 2026."""
    made = [Press.objects.create(code=f"M{number:02}") for number in range(presses)]
    for number in range(rules):
        rule = Rule.objects.create(code=f"look {number:03}", action="inspect", every_days=Decimal(30))
        Service.objects.bulk_create(
            Service(ref=f"{press.code} {number}", done_at=DONE, press=press, action="inspect", rule=rule)
            for press in made
        )


@pytest.fixture
def people(mill: Mill) -> list[User]:
    made = [
        User.objects.create_user(f"p{number:02}", email=f"p{number:02}@mill.example", role="operator")
        for number in range(20)
    ]
    any_hour(*made)
    return made


def test_a_scan_for_twenty_people_and_a_hundred_and_twenty_items_is_quick_and_asks_little(
    people: list[User],
) -> None:
    """2,400 messages. The forecast itself is read before, as the schedule's own refresh does."""
    many(6, 20)
    due_items(as_of=DUE.date())
    with CaptureQueriesContext(
        connection,
    ) as first:
        assert scan(at=DUE) == 2400
    with CaptureQueriesContext(connection) as again:
        assert scan(at=DUE + timedelta(minutes=1)) == 0
    assert len(first) < 160, "a few for each person, and an INSERT for each 50 rows (SQLite's limit)"
    assert len(again) < 100
    written = [query["sql"] for query in again if query["sql"].startswith(("INSERT", "UPDATE", "DELETE"))]
    assert all("schedulestate" in sql for sql in written), (
        "a scan that finds nothing new stamps its heartbeat"
    )


def test_no_transaction_of_a_scan_holds_more_than_five_hundred_rows_and_the_work_is_done_before(
    people: list[User], monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQLite has one writer: what is slow must not happen while the write lock is held."""
    many(6, 20)
    held: list[tuple[int, float]] = []
    create = OutboxRow.objects.bulk_create
    written = {"rows": 0}

    def watched(rows: list[OutboxRow], **more: object) -> object:
        begun = time.perf_counter()
        answer = create(rows, **more)  # type: ignore[arg-type]
        held.append((len(rows), time.perf_counter() - begun))
        written["rows"] += len(rows)
        return answer

    monkeypatch.setattr(OutboxRow.objects, "bulk_create", watched)
    scan(at=DUE)
    assert written["rows"] == 2400
    assert max(count for count, _ in held) == 500


def test_every_step_run_twice_does_nothing_the_second_time(
    greasing: Greasing, operator: User, smtp: MailServer
) -> None:
    """F5."""
    assert [scan(at=DUE), scan(at=DUE)] == [1, 0]
    (row,) = OutboxRow.objects.all()
    outcomes = [send_one(row_id=row.pk, at=DUE) for _ in range(3)]
    assert outcomes == [Outcome.SENT, Outcome.NOT_MINE, Outcome.NOT_MINE]
    assert [send_due(at=DUE, limit=10).sent for _ in range(2)] == [0, 0]
    before = list(OutboxRow.objects.values())
    scan(at=DUE)
    assert list(OutboxRow.objects.values()) == before
    assert len(smtp.mails) == 1


@pytest.mark.django_db(transaction=True)  # so that the forecast is remembered between two mails
def test_one_poisoned_row_in_five_hundred_is_set_aside_for_an_hour_and_the_rest_is_sent(
    mill: Mill, operator: User, smtp: MailServer
) -> None:
    """F12. The address that can't be a header stands for whatever makes a row fail each time."""
    broken = User.objects.create_user("broken", email="bad\n@mill.example", role="operator")
    any_hour(operator, broken)
    many(25, 20)
    scan(at=DUE)
    keep = OutboxRow.objects.filter(person=broken).earliest("pk")
    OutboxRow.objects.filter(person=broken).exclude(pk=keep.pk).delete()
    OutboxRow.objects.filter(pk=OutboxRow.objects.filter(person=operator).earliest("pk").pk).delete()
    assert OutboxRow.objects.count() == 500
    done = send_due(at=DUE, limit=1000)
    assert (done.sent, done.to_retry) == (499, 1)
    keep.refresh_from_db()
    assert (keep.state, keep.next_attempt_at) == (OutboxState.PENDING, DUE + timedelta(hours=1))
    assert send_due(at=DUE + timedelta(minutes=59), limit=1000).to_retry == 0
    assert send_due(at=DUE + timedelta(minutes=60), limit=1000).to_retry == 1
    assert len(smtp.mails) == 499


def test_a_person_whose_wishes_cannot_be_read_stops_nobody(
    greasing: Greasing, operator: User, owner: User
) -> None:
    """A zone that this machine does not know: the mill's counts."""
    any_hour(operator, time_zone="Moon/Base")
    assert scan(at=DUE) == 2
    assert OutboxRow.objects.filter(person=operator, next_attempt_at=DUE).count() == 1


def test_a_row_that_is_being_sent_is_left_alone_by_the_scan(greasing: Greasing, operator: User) -> None:
    scan(at=DUE)
    OutboxRow.objects.update(state=OutboxState.LEASED, leased_until=DUE + timedelta(minutes=5))
    greasing.log(at("2026-04-01 07:30"))
    scan(at=DUE)
    assert OutboxRow.objects.get().state == OutboxState.LEASED


def test_a_scan_that_dies_between_two_writes_is_made_good_by_the_next(
    people: list[User], monkeypatch: pytest.MonkeyPatch
) -> None:
    many(6, 20)
    create = OutboxRow.objects.bulk_create
    calls = []

    def dies(rows: list[OutboxRow], **more: object) -> object:
        calls.append(len(rows))
        if len(calls) == 3:
            raise KeyboardInterrupt
        return create(rows, **more)  # type: ignore[arg-type]

    with monkeypatch.context() as broken:
        broken.setattr(OutboxRow.objects, "bulk_create", dies)
        with pytest.raises(KeyboardInterrupt):
            scan(at=DUE)
    assert OutboxRow.objects.count() == 1000
    assert finding.scan(at=DUE) == 1400
    assert OutboxRow.objects.count() == 2400
