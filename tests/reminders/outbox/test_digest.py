"""The list: when it leaves, what it holds, and that it stands in place of many mails."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, time, timedelta
from decimal import Decimal

import pytest

from tests.dates import at
from tests.mills.greasing import COMING, DUE, OVERDUE, Greasing
from tests.reminders.smtp import MailServer
from wearlog.people.models import Mill, User
from wearlog.reminders import marks
from wearlog.reminders.models import OutboxRow, OutboxState, ReminderWish, Stage
from wearlog.reminders.outbox.actions import scan, send_due
from wearlog.reminders.outbox.calls import calls_now
from wearlog.reminders.outbox.keys import item_key
from wearlog.reminders.wishes import save_wish
from wearlog.service.models import Rule, Service

DAY = timedelta(days=1)
MINUTE = timedelta(minutes=1)


def wish(person: User, **changes: object) -> None:
    ReminderWish.objects.update_or_create(person=person, defaults=changes)


def rounds(*moments: datetime) -> list[int]:
    """Scan and send at each moment; how many mails left."""
    return [_round(moment) for moment in moments]


def _round(now: datetime) -> int:
    scan(at=now)
    return send_due(at=now, limit=10_000).sent


def lists() -> list[tuple[str, str]]:
    return list(OutboxRow.objects.filter(stage=Stage.DIGEST).order_by("pk").values_list("telling", "state"))


def body(smtp: MailServer, number: int = -1) -> str:
    part = smtp.mails[number].get_body(("plain",))
    assert part is not None
    return " ".join(part.get_content().split())


@pytest.fixture
def more(greasing: Greasing) -> Callable[[int], None]:
    """`more(7)` adds so many rules that are due when the greasing is."""

    def add(count: int) -> None:
        for number in range(count):
            rule = Rule.objects.create(
                code=f"look {number}", action="inspect", press=greasing.press, every_days=Decimal(30)
            )
            Service.objects.create(
                ref=f"look {number}",
                done_at=at("2026-03-01 12:00"),
                press=greasing.press,
                action="inspect",
                rule=rule,
            )

    return add


# -------- daily and weekly


def test_a_daily_list_leaves_at_the_persons_hour_and_not_before(
    greasing: Greasing, operator: User, smtp: MailServer
) -> None:
    """Due since midnight of 31 March, in Vienna 22:00 UTC; 06:00 there is 04:00 UTC."""
    wish(operator, rhythm="daily")
    left = rounds(*(at("2026-03-30 22:05") + n * 15 * MINUTE for n in range(30)))
    assert sum(left) == 1
    assert left.index(1) == 24  # 04:05 UTC
    assert lists() == [("2026-03-31", "sent")]
    assert "lubricate" in body(smtp).lower()


def test_it_comes_each_day_while_something_is_due_and_stays_away_where_nothing_is_new(
    greasing: Greasing, operator: User, smtp: MailServer
) -> None:
    """Coming up on 24 March: said once. Due from 31 March on: said daily."""
    wish(operator, rhythm="daily")
    rounds(*(at("2026-03-22 08:00") + n * DAY for n in range(13)))
    days = [telling for telling, _ in lists()]
    assert days == ["2026-03-24", "2026-03-31", "2026-04-01", "2026-04-02", "2026-04-03"]
    assert len(smtp.mails) == 5


def test_who_has_seen_everything_gets_no_list(greasing: Greasing, operator: User, smtp: MailServer) -> None:
    wish(operator, rhythm="daily")
    assert sum(rounds(at("2026-03-30 12:00"), at("2026-03-31 08:00"))) == 1
    (call,) = calls_now(at=DUE)
    marks.mark_seen(by=operator, at=at("2026-03-31 09:00"), key=item_key(call.item))
    assert rounds(*(at("2026-04-01 08:00") + n * DAY for n in range(3))) == [0, 0, 0]


def test_a_weekly_list_leaves_on_the_first_of_its_days(
    greasing: Greasing, operator: User, smtp: MailServer
) -> None:
    wish(operator, rhythm="weekly", weekdays="35")
    rounds(*(at("2026-03-22 08:00") + n * DAY for n in range(20)))  # to 10 April
    sent = [row.sent_at.date() for row in OutboxRow.objects.filter(stage=Stage.DIGEST).order_by("sent_at")]
    assert sent == [date(2026, 3, 25), date(2026, 4, 1), date(2026, 4, 8)]  # Wednesdays


def test_the_singles_that_a_list_told_are_done_with_and_name_it(
    greasing: Greasing, operator: User, smtp: MailServer
) -> None:
    wish(operator, rhythm="daily")
    rounds(at("2026-03-24 03:00"), at("2026-03-24 08:00"))
    row = OutboxRow.objects.get(stage=Stage.COMING)
    assert (row.state, row.sent_at) == (OutboxState.SENT, at("2026-03-24 08:00"))
    assert row.told_by == OutboxRow.objects.get(stage=Stage.DIGEST)
    wish(operator, rhythm="single")
    assert rounds(at("2026-03-24 09:00")) == [0], "told once, by list or by mail"


def test_a_list_says_what_is_true_when_it_leaves(
    greasing: Greasing, operator: User, smtp: MailServer, more: Callable[[int], None]
) -> None:
    more(1)
    wish(operator, rhythm="daily")
    scan(at=at("2026-03-30 23:00"))
    scan(at=at("2026-03-31 04:05"))
    greasing.log(at("2026-03-31 04:06"))
    assert send_due(at=at("2026-03-31 04:10"), limit=10).sent == 1
    assert "inspect" in body(smtp).lower()
    assert "lubricate" not in body(smtp).lower()


def test_a_list_that_has_become_empty_stays_at_home(
    greasing: Greasing, operator: User, smtp: MailServer
) -> None:
    wish(operator, rhythm="daily")
    scan(at=at("2026-03-30 23:00"))
    scan(at=at("2026-03-31 04:05"))
    greasing.log(at("2026-03-31 04:06"))
    assert send_due(at=at("2026-03-31 04:10"), limit=10).withdrawn == 1
    assert smtp.mails == []
    assert lists() == [("2026-03-31", "withdrawn")]


def test_every_task_of_a_list_has_its_caution_and_isolation_point(
    greasing: Greasing, operator: User, smtp: MailServer, more: Callable[[int], None]
) -> None:
    more(2)
    wish(operator, rhythm="daily")
    rounds(at("2026-03-30 23:00"), at("2026-03-31 04:05"))
    (mail,) = smtp.mails
    for kind in ("plain", "html"):
        part = mail.get_body((kind,))
        assert part is not None
        words = " ".join(part.get_content().split())
        assert words.count("can start by itself") >= 1
        assert words.count("isolate at disconnect Q1") >= 1
        assert "WARNING" in words


def test_what_is_held_back_or_somebody_elses_stands_in_the_list_and_says_so(
    greasing: Greasing, operator: User, owner: User, smtp: MailServer, more: Callable[[int], None]
) -> None:
    more(1)
    for person in (operator, owner):
        wish(person, rhythm="daily")
    calls = {call.item.action: item_key(call.item) for call in calls_now(at=at("2026-03-31 00:00"))}
    now = at("2026-03-30 23:30")
    marks.hold_back(by=owner, at=now, key=calls["lubricate"], until_on=date(2026, 4, 20), reason="No grease.")
    marks.give_to(by=owner, at=now, key=calls["inspect"], person=operator)
    rounds(at("2026-03-30 23:40"), at("2026-03-31 04:05"))
    (mail,) = smtp.mails
    assert mail["To"] == "operator@mill.example", "to the owner there is nothing to say"
    assert "No grease." in body(smtp)


def test_a_failing_mail_server_makes_one_list_of_several_days(
    greasing: Greasing, operator: User, smtp: MailServer
) -> None:
    wish(operator, rhythm="daily")
    smtp.data["operator@mill.example"] = ["451 later"] * 60
    rounds(*(at("2026-03-30 23:00") + n * 60 * MINUTE for n in range(48)))
    assert [state for _, state in lists()] == ["pending"]
    smtp.data.clear()
    assert sum(rounds(*(at("2026-04-02 05:00") + n * 60 * MINUTE for n in range(3)))) == 1
    assert len(smtp.mails) == 1


def test_two_scans_at_the_same_hour_make_one_list(
    greasing: Greasing, operator: User, smtp: MailServer
) -> None:
    """As two schedulers would: the second began before the first had written anything."""
    wish(operator, rhythm="daily")
    scan(at=at("2026-03-31 03:55"))
    from wearlog.reminders.schedule import state as schedule_state

    for _ in range(2):
        schedule_state.put_back(schedule_state.SCAN, at("2026-03-31 03:55"))
        scan(at=at("2026-03-31 04:01"))
        send_due(at=at("2026-03-31 04:02"), limit=10)
    assert lists() == [("2026-03-31", "sent")]
    assert len(smtp.mails) == 1


# -------- much at once, and after an outage


def test_up_to_five_at_once_are_mails_of_their_own(
    operator: User, smtp: MailServer, more: Callable[[int], None]
) -> None:
    more(4)
    assert rounds(DUE) == [5]
    assert lists() == []


def test_more_than_that_is_one_list(operator: User, smtp: MailServer, more: Callable[[int], None]) -> None:
    more(5)
    assert rounds(DUE, DUE + MINUTE) == [1, 0]
    assert len(lists()) == 1
    assert lists()[0][0].startswith("at once 2026-04-01 ")
    assert OutboxRow.objects.filter(state=OutboxState.SENT, stage=Stage.DUE).count() == 6
    assert body(smtp).lower().count("inspect") >= 5


def test_the_number_is_the_persons_choice(
    operator: User, smtp: MailServer, more: Callable[[int], None]
) -> None:
    more(5)
    wish(operator, most_at_once=6)
    assert rounds(DUE) == [6]


def test_after_ten_days_off_there_is_one_list_for_each_person_within_five_minutes_and_none_for_each_day(
    greasing: Greasing, operator: User, owner: User, smtp: MailServer, more: Callable[[int], None]
) -> None:
    """F9. The last scan was on 25 March; on 4 April at 08:00 the machine is switched on again."""
    more(2)
    daily = User.objects.create_user("daily", email="daily@mill.example", role="operator")
    weekly = User.objects.create_user("weekly", email="weekly@mill.example", role="operator")
    wish(daily, rhythm="daily")
    wish(weekly, rhythm="weekly")
    rounds(COMING)
    smtp.mails.clear()
    start = at("2026-04-04 08:00")
    rounds(*(start + n * MINUTE for n in range(6)))
    assert sorted(str(mail["To"]) for mail in smtp.mails) == [
        "daily@mill.example",
        "operator@mill.example",
        "owner@mill.example",
        "weekly@mill.example",
    ]
    rows = OutboxRow.objects.filter(stage=Stage.DIGEST, sent_at__gte=start)
    assert all(row.sent_at <= start + 5 * MINUTE for row in rows)
    assert rows.count() == 4


def test_one_thing_after_an_outage_is_a_mail_of_its_own(
    greasing: Greasing, operator: User, smtp: MailServer
) -> None:
    assert rounds(COMING, at("2026-04-04 08:00")) == [1, 1]
    assert lists() == []


def test_what_waited_over_the_outage_is_in_the_list_too(
    greasing: Greasing, operator: User, smtp: MailServer, more: Callable[[int], None]
) -> None:
    """Two found on Friday night wait for the morning, but the machine is off until Monday."""
    more(2)
    scan(at=at("2026-03-30 22:30"))
    assert OutboxRow.objects.filter(state=OutboxState.PENDING).count() == 3
    assert rounds(at("2026-04-02 08:00")) == [1]
    assert OutboxRow.objects.filter(stage=Stage.DUE, state=OutboxState.SENT).count() == 3


def test_a_list_that_was_given_up_is_told_again_the_next_day(
    greasing: Greasing, operator: User, smtp: MailServer, more: Callable[[int], None]
) -> None:
    more(5)
    scan(at=DUE)
    OutboxRow.objects.filter(stage=Stage.DIGEST).update(state=OutboxState.FAILED)
    assert rounds(DUE + 60 * MINUTE, DUE + DAY) == [0, 1]
    assert OutboxRow.objects.filter(stage=Stage.DUE, state=OutboxState.SENT).count() == 6


# -------- F15: what changes acts on what lies ahead


def test_a_new_hour_does_not_bring_a_second_list_that_day(
    greasing: Greasing, operator: User, smtp: MailServer
) -> None:
    wish(operator, rhythm="daily", from_time=time(7))
    rounds(at("2026-03-31 04:30"), at("2026-03-31 05:05"))
    assert len(smtp.mails) == 1
    wish(operator, from_time=time(12))
    rounds(*(at("2026-03-31 06:00") + n * 30 * MINUTE for n in range(20)))
    assert len(smtp.mails) == 1
    rounds(at("2026-04-01 09:55"), at("2026-04-01 10:05"))  # noon in Vienna
    assert len(smtp.mails) == 2


def test_another_zone_repeats_no_day_and_leaves_none_out(
    greasing: Greasing, operator: User, smtp: MailServer
) -> None:
    """From Vienna to Chicago on the day itself: 06:00 there is 11:00 UTC."""
    wish(operator, rhythm="daily")
    rounds(at("2026-03-31 03:55"), at("2026-03-31 04:05"))
    wish(operator, time_zone="America/Chicago")
    rounds(*(at("2026-03-31 05:00") + n * 30 * MINUTE for n in range(30)))
    assert [telling for telling, _ in lists()] == ["2026-03-31"]
    rounds(at("2026-04-01 10:55"), at("2026-04-01 11:05"))
    assert [telling for telling, _ in lists()] == ["2026-03-31", "2026-04-01"]


def test_the_mills_zone_counts_for_who_named_none(greasing: Greasing, operator: User) -> None:
    Mill.objects.update(time_zone="America/Chicago")
    scan(at=DUE)  # 03:00 in Chicago
    assert OutboxRow.objects.get().next_attempt_at == at("2026-04-01 11:00")


def test_from_lists_to_single_mails_and_back_loses_and_repeats_nothing(
    greasing: Greasing, operator: User, smtp: MailServer
) -> None:
    wish(operator, rhythm="weekly")
    assert rounds(DUE) == [0]
    assert OutboxRow.objects.get().state == OutboxState.GATHERED
    wish(operator, rhythm="single")
    assert rounds(DUE + 60 * MINUTE) == [1]
    wish(operator, rhythm="weekly")
    assert rounds(DUE + 120 * MINUTE) == [0]


def test_longer_hours_let_what_waits_go_at_once_and_quieter_ones_hold_it(
    greasing: Greasing, operator: User, smtp: MailServer
) -> None:
    night = at("2026-03-31 21:00")  # 23:00 in Vienna
    assert rounds(night) == [0]
    wish(operator, from_time=time(0), quiet_from=None, quiet_until=None)
    assert rounds(night + MINUTE) == [1]
    scan(at=at("2026-04-09 10:00"))
    wish(operator, quiet_from=time(9), quiet_until=time(17))
    assert rounds(at("2026-04-09 10:05")) == [0]
    assert rounds(at("2026-04-09 15:00")) == [1]


def test_a_list_that_waits_for_the_morning_leaves_with_longer_hours_too(
    operator: User, smtp: MailServer, more: Callable[[int], None]
) -> None:
    more(5)
    night = at("2026-03-31 21:00")  # 23:00 in Vienna
    assert rounds(night) == [0]
    assert [state for _period, state in lists()] == ["pending"]
    wish(operator, from_time=time(0), quiet_from=None, quiet_until=None)
    assert rounds(night + MINUTE, night + 2 * MINUTE) == [1, 0]
    assert OutboxRow.objects.filter(state=OutboxState.SENT, stage=Stage.DUE).count() == 6


def test_a_rule_told_further_ahead_acts_on_what_is_not_yet_told(
    greasing: Greasing, operator: User, smtp: MailServer
) -> None:
    assert rounds(at("2026-03-15 10:00")) == [0]
    Rule.objects.update(lead_days=Decimal(20))
    assert rounds(at("2026-03-15 10:01"), at("2026-03-24 10:00")) == [1, 0]


def test_wishes_are_saved_with_a_line_in_the_trail_and_refused_for_another(
    greasing: Greasing, operator: User, owner: User
) -> None:
    from wearlog.people.models import AuditEntry
    from wearlog.people.refusals import NotAllowed

    with pytest.raises(NotAllowed):
        save_wish(by=operator, at=DUE, wish=ReminderWish(person=owner))
    save_wish(by=owner, at=DUE, wish=ReminderWish(person=operator, weekdays="5311"))
    save_wish(by=operator, at=DUE, wish=ReminderWish(person=operator, rhythm="daily"))
    assert [entry.action for entry in AuditEntry.objects.order_by("pk")] == ["add", "change"]
    stored = AuditEntry.objects.order_by("pk")[1].old
    assert stored is not None
    assert stored["weekdays"] == "135"


def test_overdue_moments_are_what_they_are_called(greasing: Greasing) -> None:
    assert [call.telling for call in calls_now(at=OVERDUE)] == ["overdue"]
