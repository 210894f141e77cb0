"""Typing up the past wakes nobody: what old entries made overdue back then is held, for a day at most."""

from __future__ import annotations

from contextlib import suppress
from datetime import datetime, timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.dates import at
from tests.examples import bounded
from tests.mills.wishes import any_hour
from tests.reminders.smtp import MailServer
from wearlog.equipment.models import Press
from wearlog.history import versions
from wearlog.lockout.models import EnergySource
from wearlog.people.models import AuditEntry, Mill, User
from wearlog.reminders.models import OutboxRow, OutboxState, ReminderWish, Rhythm
from wearlog.reminders.outbox.actions import scan, send_due
from wearlog.reminders.typing_up import held_for, say_typed_up, typing_now
from wearlog.runs.models import Crop, Run
from wearlog.service.models import Incident, Rule

NOW = at("2026-05-20 08:00")
DAY = timedelta(days=1)
HOUR = timedelta(hours=1)


class Book:
    """Press P1, its screw looked at every 100 h; nothing is logged yet. Runs are entered by the operator."""

    def __init__(self, by: User) -> None:
        self.by = by
        self.crop = Crop.objects.create(code="rapeseed")
        self.press = Press.objects.create(code="P1", name="North press")
        EnergySource.objects.create(
            press=self.press, source="Main motor", kind="electrical", isolate_at="disconnect Q1"
        )
        self.rule = Rule.objects.create(
            code="look at it", action="inspect", press=self.press, every_h=Decimal(100)
        )
        self.number = 0

    def run(self, started_at: datetime, hours: int, *, entered_at: datetime = NOW) -> Run:
        self.number += 1
        run = Run(
            ref=f"typed-{self.number}",
            press=self.press,
            crop=self.crop,
            started_at=started_at,
            hours_h=Decimal(hours),
            seed_kg=Decimal(1000),
            entered_at=entered_at,
            entered_by=self.by,
        )
        run.ends_at = Run.end_of(started_at, None, run.hours_h)
        run.save()
        versions.touch()
        return run

    def past(self, *, entered_at: datetime = NOW) -> None:
        """A hundred and twenty hours a month ago: overdue since then."""
        for day in range(6):
            self.run(NOW - timedelta(days=40 - day), 20, entered_at=entered_at)


@pytest.fixture
def book(mill: Mill, operator: User) -> Book:
    any_hour(operator)
    return Book(operator)


def states(**wanted: object) -> list[str]:
    return sorted(OutboxRow.objects.filter(**wanted).values_list("state", flat=True))


def test_what_became_overdue_in_the_past_is_held_and_not_sent(book: Book, smtp: MailServer) -> None:
    book.past()
    assert scan(at=NOW) == 0
    assert states() == ["held"]
    assert send_due(at=NOW, limit=10).sent == 0
    assert OutboxRow.objects.get().next_attempt_at == NOW + DAY


def test_it_goes_out_when_the_person_says_that_it_is_typed_up(book: Book, smtp: MailServer) -> None:
    book.past()
    scan(at=NOW)
    say_typed_up(by=book.by, at=NOW + HOUR)
    assert scan(at=NOW + HOUR) == 1
    assert send_due(at=NOW + HOUR, limit=10).sent == 1
    assert len(smtp.mails) == 1
    assert AuditEntry.objects.filter(action="say typed up").count() == 1


def test_it_goes_out_by_itself_after_a_day_while_more_is_being_typed(book: Book, smtp: MailServer) -> None:
    book.past()
    scan(at=NOW)
    later = NOW + DAY
    book.run(NOW - timedelta(days=60), 5, entered_at=later - HOUR)
    scan(at=later - HOUR)
    assert states() == ["held"]
    scan(at=later)
    assert states() == ["pending"]
    assert send_due(at=later, limit=10).sent == 1


def test_what_is_no_longer_true_is_never_sent(book: Book, smtp: MailServer) -> None:
    book.past()
    scan(at=NOW)
    Run.objects.update(voided_at=NOW + HOUR, void_reason="typed twice")
    versions.touch()
    scan(at=NOW + HOUR)
    assert states() == ["withdrawn"]
    scan(at=NOW + 2 * DAY)
    assert send_due(at=NOW + 2 * DAY, limit=10).sent == 0
    assert smtp.mails == []


def test_it_is_checked_once_more_before_it_leaves(book: Book, smtp: MailServer) -> None:
    """Let go of, then struck out before the sender came: the sender finds that it is not true any more."""
    book.past()
    scan(at=NOW)
    say_typed_up(by=book.by, at=NOW + HOUR)
    scan(at=NOW + HOUR)
    Run.objects.update(voided_at=NOW + HOUR, void_reason="typed twice")
    versions.touch()
    assert send_due(at=NOW + HOUR, limit=10).sent == 0
    assert states() == ["withdrawn"]


def test_what_a_run_of_the_last_seven_days_made_due_is_told_at_once(book: Book, smtp: MailServer) -> None:
    """Ninety hours in the past and twelve of yesterday: the hundredth was yesterday's."""
    for day in range(9):
        book.run(NOW - timedelta(days=40 - day), 10)
    book.run(NOW - DAY, 12)
    assert typing_now(at=NOW)
    scan(at=NOW)
    assert states() == ["pending"]
    assert send_due(at=NOW, limit=10).sent == 1


def test_an_incident_is_never_held(book: Book, smtp: MailServer) -> None:
    Rule.objects.create(code="after metal", action="inspect", press=book.press, after_incident="metal")
    Incident.objects.create(
        ref="i1", happened_at=NOW - timedelta(days=30), press=book.press, kind="metal", entered_at=NOW
    )
    book.past()
    scan(at=NOW)
    assert states(rule="after metal") == ["pending"]
    assert states(rule="look at it") == ["held"]


def test_what_was_waiting_before_goes_its_way(book: Book, smtp: MailServer) -> None:
    """It became overdue by runs that were entered as they ended; typing up something older holds it not."""
    for day in range(6):
        started = NOW - timedelta(days=40 - day)
        book.run(started, 20, entered_at=started + DAY)
    scan(at=NOW - HOUR)
    assert states() == ["pending"]
    book.run(NOW - timedelta(days=60), 5)
    scan(at=NOW)
    assert states() == ["pending"]
    assert send_due(at=NOW, limit=10).sent == 1


def test_another_press_is_told_as_ever(book: Book, smtp: MailServer) -> None:
    other = Press.objects.create(code="P2")
    Rule.objects.create(code="monthly", action="lubricate", press=other, every_days=Decimal(10))
    Run.objects.create(
        ref="p2",
        press=other,
        crop=book.crop,
        started_at=NOW - timedelta(days=90),
        hours_h=8,
        seed_kg=100,
        entered_at=NOW - timedelta(days=89),
    )
    book.past()
    scan(at=NOW)
    assert set(states(press="P2")) <= {"pending"}
    assert states(press="P1") == ["held"]


def test_a_logbook_that_was_imported_is_no_typing(book: Book) -> None:
    book.past()
    Run.objects.update(entered_at=None)
    versions.touch()
    assert typing_now(at=NOW) == []
    scan(at=NOW)
    assert states() == ["pending"]


def test_a_list_leaves_out_what_is_held_and_brings_it_afterwards(
    book: Book, operator: User, smtp: MailServer
) -> None:
    ReminderWish.objects.filter(person=operator).update(rhythm=Rhythm.DAILY)
    operator.refresh_from_db()
    book.past()
    scan(at=NOW - DAY)
    OutboxRow.objects.all().delete()
    scan(at=NOW)
    scan(at=NOW + 12 * HOUR)
    assert states() == ["held"]
    assert send_due(at=NOW + 12 * HOUR, limit=10).sent == 0
    scan(at=NOW + DAY + HOUR)
    assert states(stage="overdue") == ["gathered"]
    scan(at=NOW + 2 * DAY)
    send_due(at=NOW + 2 * DAY, limit=10)
    assert states(stage="overdue") == ["sent"]


def test_the_person_sees_how_much_waits_and_until_when(book: Book, operator: User, owner: User) -> None:
    book.past()
    scan(at=NOW)
    held = held_for(operator, at=NOW)
    assert held is not None
    assert (held.things, held.until) == (1, NOW + DAY)
    assert held_for(owner, at=NOW) is None
    say_typed_up(by=operator, at=NOW + HOUR)
    assert held_for(operator, at=NOW + HOUR) is None


def test_a_kill_between_hold_and_send_loses_nothing(book: Book, smtp: MailServer) -> None:
    """The held row is all that there is: a scan that dies before it has written leaves it as it was."""
    book.past()
    scan(at=NOW)

    class Killed(Exception):
        pass

    def dies() -> None:
        with transaction.atomic():
            scan(at=NOW + DAY)
            raise Killed

    with pytest.raises(Killed):
        dies()
    assert states() == ["held"]
    scan(at=NOW + 3 * DAY)
    assert send_due(at=NOW + 3 * DAY, limit=10).sent == 1
    assert len(smtp.mails) == 1


STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("past"), st.integers(20, 60)),
        st.tuples(st.just("recent"), st.integers(0, 5)),
        st.tuples(st.just("typed up"), st.just(0)),
        st.tuples(st.just("strike out"), st.integers(0, 5)),
        st.tuples(st.just("wait"), st.integers(1, 30)),
    ),
    max_size=12,
)


@settings(
    max_examples=bounded(100, 20), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(steps=STEPS)
def test_nothing_is_held_for_longer_than_a_day_and_nothing_that_is_true_is_lost(
    steps: list[tuple[str, int]], book: Book
) -> None:
    """Whatever is typed, struck out or said, in any order: after each scan no row has been held for more than
    a day, and two days later each message that is true has left or may leave."""
    with transaction.atomic():
        now = NOW
        for what, number in steps:
            if what in ("past", "recent"):
                with suppress(IntegrityError), transaction.atomic():  # the press ran then already
                    book.run(now - timedelta(days=number, hours=31), 30, entered_at=now)
            elif what == "typed up":
                say_typed_up(by=book.by, at=now)
            elif what == "strike out":
                pks = list(Run.objects.not_voided().order_by("pk").values_list("pk", flat=True)[number:][:1])
                Run.objects.filter(pk__in=pks).update(voided_at=now, void_reason="typed twice")
                versions.touch()
            else:
                now += timedelta(hours=number)
            scan(at=now)
            held = OutboxRow.objects.filter(state=OutboxState.HELD)
            assert not held.filter(next_attempt_at__lte=now).exists()
            assert not held.filter(next_attempt_at__gt=now + DAY).exists()
            assert not held.exists() or typing_now(at=now)
        now += 2 * DAY
        scan(at=now)
        assert not OutboxRow.objects.filter(state=OutboxState.HELD).exists()
        transaction.set_rollback(True)
    versions.touch()
