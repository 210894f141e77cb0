"""F8: a clock that is wrong pauses scan and sender and asks; one that is right, or was put right, goes on."""

from __future__ import annotations

from datetime import datetime, timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from tests.dates import at
from tests.mills.greasing import DUE, OVERDUE, Greasing
from tests.mills.wishes import any_hour
from tests.reminders.smtp import MailServer
from wearlog.people.models import AuditEntry, User
from wearlog.people.refusals import NotAllowed
from wearlog.reminders import tasks
from wearlog.reminders.models import OutboxRow, OutboxState, ScheduleState
from wearlog.reminders.outbox.actions import scan, send_due
from wearlog.reminders.schedule import clock
from wearlog.reminders.schedule import state as schedule_state

DAY = timedelta(days=1)
HOUR = timedelta(hours=1)


@pytest.fixture
def watch(db: None) -> clock.Watch:
    """A process that looked at its clock once, at 08:00 on 1 April 2026."""
    made = clock.Watch()
    assert clock.check_clock(watch=made, at=DUE, steady_s=1000.0) is None
    return made


def after(watch: clock.Watch, wall: timedelta, steady: timedelta) -> clock.ClockDoubt | None:
    """What the process makes of its clock once the wall clock and the steady one have gone on so far."""
    return clock.check_clock(watch=watch, at=DUE + wall, steady_s=1000.0 + steady.total_seconds())


@pytest.mark.parametrize("wall", [-2 * DAY, -DAY - HOUR, 26 * HOUR, 365 * DAY])
def test_within_a_process_a_day_between_wall_and_steady_clock_pauses(
    watch: clock.Watch, wall: timedelta
) -> None:
    doubt = after(watch, wall, HOUR)
    assert doubt == clock.ClockDoubt(shown=DUE + wall, expected=DUE + HOUR)
    assert clock.current_doubt() == doubt


@pytest.mark.parametrize(
    ("wall", "steady"),
    [(HOUR, HOUR), (90 * DAY, 90 * DAY), (-2 * HOUR, HOUR), (24 * HOUR, HOUR), (-22 * HOUR, HOUR)],
)
def test_a_small_correction_or_a_long_run_does_not(
    watch: clock.Watch, wall: timedelta, steady: timedelta
) -> None:
    assert after(watch, wall, steady) is None
    assert clock.current_doubt() is None


def test_a_clock_that_is_put_right_goes_on_without_anybodys_word(watch: clock.Watch) -> None:
    assert after(watch, 365 * DAY, HOUR) is not None
    assert after(watch, 2 * HOUR, 2 * HOUR) is None
    assert clock.current_doubt() is None


@pytest.mark.parametrize("off", [timedelta(0), 3 * DAY, 60 * DAY, -timedelta(minutes=59)])
def test_between_two_starts_up_to_sixty_days_are_an_outage(watch: clock.Watch, off: timedelta) -> None:
    assert clock.check_clock(watch=clock.Watch(), at=DUE + off, steady_s=5.0) is None


@pytest.mark.parametrize("off", [60 * DAY + HOUR, 365 * DAY, -DAY, -2 * HOUR])
def test_between_two_starts_more_than_that_or_backwards_pauses(watch: clock.Watch, off: timedelta) -> None:
    assert clock.check_clock(watch=clock.Watch(), at=DUE + off, steady_s=5.0) == clock.ClockDoubt(
        DUE + off, DUE
    )
    assert clock.check_clock(watch=clock.Watch(), at=DUE + off, steady_s=6.0) is not None, (
        "nor at the next start"
    )


def test_the_first_look_ever_has_nothing_to_doubt(db: None) -> None:
    assert clock.check_clock(watch=clock.Watch(), at=DUE, steady_s=0.0) is None


def test_an_owner_says_that_the_clock_is_right_and_the_process_goes_on(
    watch: clock.Watch, owner: User
) -> None:
    assert after(watch, 90 * DAY, HOUR) is not None
    assert clock.resume(by=owner, at=DUE + 90 * DAY + HOUR)
    assert clock.current_doubt() is None
    assert after(watch, 90 * DAY + 2 * HOUR, 2 * HOUR) is None
    entry = AuditEntry.objects.get(action="clock is right")
    assert (entry.by, entry.at) == (owner, DUE + 90 * DAY + HOUR)


def test_a_yes_to_one_clock_is_no_yes_to_another(watch: clock.Watch, owner: User) -> None:
    assert after(watch, 90 * DAY, HOUR) is not None
    clock.resume(by=owner, at=DUE + 90 * DAY)
    assert after(watch, 90 * DAY + HOUR, 2 * HOUR) is None
    assert after(watch, 900 * DAY, 3 * HOUR) is not None


def test_only_an_owner_may_say_so(watch: clock.Watch, operator: User) -> None:
    assert after(watch, 90 * DAY, HOUR) is not None
    with pytest.raises(NotAllowed):
        clock.resume(by=operator, at=DUE + 90 * DAY)
    assert clock.current_doubt() is not None


def test_where_nothing_is_paused_there_is_nothing_to_say(owner: User) -> None:
    assert not clock.resume(by=owner, at=DUE)
    assert not AuditEntry.objects.exists()


def test_what_a_clock_that_ran_ahead_had_planned_is_pulled_back(
    greasing: Greasing, operator: User, owner: User
) -> None:
    year = 365 * DAY
    scan(at=DUE)
    OutboxRow.objects.filter(person=operator).update(next_attempt_at=DUE + year)
    OutboxRow.objects.filter(person=owner).update(state=OutboxState.LEASED, leased_until=DUE + year)
    schedule_state.put_back(schedule_state.SCAN, DUE + year)
    schedule_state.put_back(clock.SEEN, DUE + year)
    assert clock.check_clock(watch=clock.Watch(), at=DUE, steady_s=0.0) is not None
    clock.resume(by=owner, at=DUE)
    assert schedule_state.last(schedule_state.SCAN) == DUE
    assert OutboxRow.objects.sendable(at=DUE).count() == 2


@pytest.fixture
def overdue(greasing: Greasing, operator: User) -> Greasing:
    """By the real clock the bearing has been overdue since April 2026."""
    any_hour(operator)
    return greasing


def set_ahead(monkeypatch: pytest.MonkeyPatch) -> None:
    """The wall clock of this process is a year ahead of what it was at the last look."""
    seen = tasks.timezone.now()
    clock.check_clock(watch=clock.Watch(), at=seen, steady_s=0.0)
    monkeypatch.setattr(tasks, "WATCH", clock.Watch(at=seen - 365 * DAY, steady_s=tasks.steady_s()))


def test_what_was_tried_by_a_clock_that_ran_ahead_is_tried_again_when_it_is_right(
    greasing: Greasing, operator: User, owner: User, smtp: MailServer
) -> None:
    """A process that starts with a clock 26 hours ahead can't know it: it takes that for an outage."""
    any_hour(operator, owner)
    ahead = DUE + 26 * HOUR
    scan(at=DUE)
    waits, held = OutboxRow.objects.order_by("pk")
    OutboxRow.objects.filter(pk=waits.pk).update(
        attempts=1, first_attempt_at=ahead, next_attempt_at=ahead + HOUR / 2
    )
    OutboxRow.objects.filter(pk=held.pk).update(
        state=OutboxState.LEASED, attempts=1, first_attempt_at=ahead, leased_until=ahead + HOUR / 12
    )
    scan(at=DUE + HOUR)
    assert send_due(at=DUE + HOUR, limit=10).sent == 2


def test_what_was_tried_waits_for_its_next_attempt_by_a_right_clock(
    greasing: Greasing, operator: User, owner: User, smtp: MailServer
) -> None:
    any_hour(operator, owner)
    scan(at=DUE)
    OutboxRow.objects.update(attempts=1, first_attempt_at=DUE, next_attempt_at=DUE + HOUR)
    scan(at=DUE + HOUR / 60)
    assert send_due(at=DUE + HOUR / 60, limit=10).sent == 0
    assert send_due(at=DUE + HOUR, limit=10).sent == 2


def test_while_paused_the_tasks_do_nothing_and_afterwards_they_do(
    overdue: Greasing, smtp: MailServer, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    User.objects.filter(pk=owner.pk).update(gets_mail=False)
    scan(at=tasks.timezone.now())
    row = OutboxRow.objects.get()
    set_ahead(monkeypatch)
    assert tasks.scan_due() == 0
    assert tasks.send_waiting() == 0
    assert tasks.send_one(row.pk) == "paused"
    assert smtp.mails == []
    out = StringIO()
    call_command("clock_is_right", stdout=out)
    assert out.getvalue().startswith("Reminders go on: ")
    assert tasks.send_waiting() == 1
    assert len(smtp.mails) == 1


def test_the_command_refuses_to_remind_by_a_wrong_clock_and_says_what_to_do(
    overdue: Greasing, smtp: MailServer
) -> None:
    schedule_state.put_back(clock.SEEN, at("2030-01-01 00:00"))
    with pytest.raises(CommandError, match=r"manage\.py clock_is_right"):
        call_command("remind")
    assert smtp.mails == []
    call_command("clock_is_right", stdout=StringIO())
    call_command("remind", stdout=StringIO())
    assert len(smtp.mails) == 1


def test_a_command_where_nothing_is_paused_says_so(db: None) -> None:
    out = StringIO()
    call_command("clock_is_right", stdout=out)
    assert out.getvalue() == "Reminders are not paused; there is nothing to do.\n"


def test_a_day_back_and_a_year_ahead_cause_no_storm(
    greasing: Greasing, operator: User, smtp: MailServer
) -> None:
    """The round as the schedule runs it, minute by minute, while the clock goes wrong and comes right."""
    watch, steady = clock.Watch(), 0.0

    def round_at(now: datetime) -> int:
        nonlocal steady
        steady += 60.0
        if clock.check_clock(watch=watch, at=now, steady_s=steady) is not None:
            return 0
        scan(at=now)
        return send_due(at=now, limit=100).sent

    minute = timedelta(minutes=1)
    assert round_at(DUE) == 1
    assert [round_at(DUE - 25 * HOUR), round_at(DUE + 365 * DAY), round_at(DUE + 366 * DAY)] == [0, 0, 0]
    assert round_at(DUE + 4 * minute) == 0
    assert OutboxRow.objects.get().state == OutboxState.SENT
    steady += (OVERDUE - DUE).total_seconds()
    assert round_at(OVERDUE + 5 * minute) == 1


def test_the_state_has_one_row_for_each_name(db: None) -> None:
    for _ in range(3):
        schedule_state.stamp(schedule_state.SCAN, DUE)
        schedule_state.put_back(clock.SEEN, DUE)
    assert ScheduleState.objects.count() == 2


def test_a_heartbeat_a_little_older_changes_nothing_and_one_from_a_wrong_clock_is_replaced(db: None) -> None:
    schedule_state.stamp(schedule_state.SCAN, DUE)
    schedule_state.stamp(schedule_state.SCAN, DUE - timedelta(seconds=40))
    assert schedule_state.last(schedule_state.SCAN) == DUE
    schedule_state.stamp(schedule_state.SCAN, DUE - 2 * HOUR)
    assert schedule_state.last(schedule_state.SCAN) == DUE - 2 * HOUR
    assert schedule_state.last("never") is None
