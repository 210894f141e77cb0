"""Coming up, order by, due, overdue week by week, then only in the list."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest

from tests.dates import at
from tests.mills.greasing import COMING, DUE, Greasing
from tests.reminders.smtp import MailServer
from wearlog.compare.shopping.of_day import list_of_day
from wearlog.equipment.models import Fitting, Part, PartOrder, PartType, Position, Press
from wearlog.people.models import Mill, User
from wearlog.reminders.models import OutboxRow, Stage
from wearlog.reminders.outbox.actions import scan, send_due
from wearlog.reminders.outbox.calls import calls_now
from wearlog.reminders.outbox.stages import telling_of
from wearlog.service.models import Incident, Rule

DAY = timedelta(days=1)


def stages_told(person: User) -> list[str]:
    """What the person was told of, in order; lists by their word alone."""
    rows = OutboxRow.objects.filter(person=person, state="sent").order_by("sent_at", "pk")
    return ["list" if row.stage == Stage.DIGEST else row.telling for row in rows]


def daily_rounds(first: datetime, days: int) -> list[int]:
    """Scan and send once a day; how many mails left on each."""
    return [_round(first + n * DAY) for n in range(days)]


def _round(now: datetime) -> int:
    scan(at=now)
    return send_due(at=now, limit=1000).sent


def test_a_season_of_neglect_is_told_as_coming_due_and_overdue_for_four_weeks_then_once_a_week_in_a_list(
    greasing: Greasing, operator: User, smtp: MailServer
) -> None:
    """Coming from 24 March, due on 31 March, overdue from 8 April 2026: its weeks begin on 8, 15, 22 and 29
    April. From 6 May on a list comes on Mondays (11, 18 and 25 May)."""
    daily_rounds(at("2026-03-20 10:00"), 70)
    days = [
        (row.telling if row.stage != Stage.DIGEST else "list", row.sent_at.date().isoformat())
        for row in OutboxRow.objects.filter(state="sent").order_by("sent_at")
    ]
    assert days == [
        ("coming", "2026-03-24"),
        ("due", "2026-03-31"),
        ("overdue", "2026-04-08"),
        ("overdue 2", "2026-04-15"),
        ("overdue 3", "2026-04-22"),
        ("overdue 4", "2026-04-29"),
        ("list", "2026-05-11"),
        ("list", "2026-05-18"),
        ("list", "2026-05-25"),
    ]
    assert len(smtp.mails) == 9
    assert len(set(smtp.ids())) == 9


def test_a_newcomer_is_told_once_of_what_has_long_been_overdue(
    greasing: Greasing, operator: User, smtp: MailServer
) -> None:
    daily_rounds(at("2026-08-04 10:00"), 3)  # from a Tuesday to a Thursday
    assert stages_told(operator) == ["overdue 4"]


def test_a_stage_has_the_word_that_its_key_has() -> None:
    assert telling_of(Stage.DUE) == "due"
    assert telling_of(Stage.OVERDUE, week=1) == "overdue"
    assert telling_of(Stage.OVERDUE, week=3) == "overdue 3"
    assert telling_of(Stage.OVERDUE, week=2, after_hold=7) == "overdue 2 after 7"


# -------- order by


@pytest.fixture
def gearbox(mill: Mill) -> Part:
    """A gearbox to be replaced 200 days after 1 January 2026, on 20 July, told 14 days ahead (from 6 July);
    a new one takes 60 days to come, so that the last day to order it is 21 May."""
    press = Press.objects.create(code="P1", name="North press")
    part_type = PartType.objects.create(code="gearbox G4", kind="gearbox", lead_time_days=Decimal(60))
    part = Part.objects.create(code="G-01", part_type=part_type)
    position = Position.objects.create(press=press, name="gearbox", kind="gearbox")
    Fitting.objects.create(part=part, position=position, fitted_at=at("2026-01-01 06:00"))
    Rule.objects.create(
        code="new gearbox", action="replace", kind="gearbox", every_days=Decimal(200), lead_days=Decimal(14)
    )
    return part


def stages_on(*days: str) -> list[list[tuple[str, date | None]]]:
    return [[(call.telling, call.order_on) for call in calls_now(at=at(f"{day} 08:00"))] for day in days]


ORDER_ON = date(2026, 5, 21)  # 20 July less 60 days


def test_a_part_with_a_lead_time_is_to_be_ordered_so_long_before_the_early_day(gearbox: Part) -> None:
    assert stages_on("2026-05-20", "2026-05-21", "2026-07-05", "2026-07-06", "2026-07-20") == [
        [],
        [("order", ORDER_ON)],
        [("order", ORDER_ON)],
        [("coming", ORDER_ON)],
        [("due", ORDER_ON)],
    ]


def test_where_the_part_comes_quicker_than_the_warning_ordering_is_the_later_word(gearbox: Part) -> None:
    """Seven days of delivery: coming up from 6 July, to be ordered by 13 July."""
    PartType.objects.update(lead_time_days=Decimal(7))
    order_on = date(2026, 7, 13)
    assert stages_on("2026-07-06", "2026-07-12", "2026-07-13") == [
        [("coming", order_on)],
        [("coming", order_on)],
        [("order", order_on)],
    ]


def test_each_is_told_once_and_with_its_own_word(gearbox: Part, operator: User, smtp: MailServer) -> None:
    daily_rounds(at("2026-05-15 10:00"), 70)
    assert stages_told(operator) == ["order", "coming", "due"]


def test_a_spare_on_the_shelf_needs_no_order(gearbox: Part) -> None:
    spare = Part.objects.create(code="G-02", part_type=gearbox.part_type)
    assert stages_on("2026-05-21", "2026-07-06") == [[], [("coming", None)]]
    spare.retired_on = date(2026, 5, 1)
    spare.save()
    assert stages_on("2026-05-21") == [[("order", ORDER_ON)]]


def test_a_spare_that_is_to_be_kept_is_not_counted_on(gearbox: Part) -> None:
    PartType.objects.update(min_spares=1)
    Part.objects.create(code="G-02", part_type=gearbox.part_type)
    assert stages_on("2026-05-20", "2026-05-21") == [[], [("order", ORDER_ON)]]
    Part.objects.create(code="G-03", part_type=gearbox.part_type)
    assert stages_on("2026-05-21") == [[]]


def test_one_spare_serves_the_first_of_two_and_the_other_is_ordered(gearbox: Part) -> None:
    """The second press's gearbox was fitted ten days later, so that it is due on 30 July: order by 31 May."""
    press = Press.objects.create(code="P2")
    second = Part.objects.create(code="G-05", part_type=gearbox.part_type)
    position = Position.objects.create(press=press, name="gearbox", kind="gearbox")
    Fitting.objects.create(part=second, position=position, fitted_at=at("2026-01-11 06:00"))
    Part.objects.create(code="G-02", part_type=gearbox.part_type)
    found = calls_now(at=at("2026-06-02 08:00"))
    assert [(call.item.part, call.telling, call.order_on) for call in found] == [
        ("G-05", "order", date(2026, 5, 31))
    ]


def test_what_is_on_order_is_not_to_be_ordered_again(gearbox: Part) -> None:
    PartOrder.objects.create(
        ref="o",
        part_type=gearbox.part_type,
        count=1,
        ordered_on=date(2026, 5, 1),
        expected_on=date(2026, 7, 1),
    )
    assert stages_on("2026-05-21", "2026-07-06") == [[], [("coming", None)]]
    PartOrder.objects.update(voided_at=at("2026-05-02 08:00"), void_reason="not to be had")
    assert stages_on("2026-05-21") == [[("order", ORDER_ON)]]


def test_mails_name_the_day_of_the_list_of_what_to_order(gearbox: Part) -> None:
    """The second gearbox is due ten days after the first, so that one order serves both, by the first one's
    day."""
    press = Press.objects.create(code="P2", name="South press")
    second = Part.objects.create(code="G-05", part_type=gearbox.part_type)
    position = Position.objects.create(press=press, name="gearbox", kind="gearbox")
    Fitting.objects.create(part=second, position=position, fitted_at=at("2026-01-11 06:00"))
    today = date(2026, 6, 2)
    lines = {need.part.code: line.by for line in list_of_day(today).lines for need in line.needs}
    assert lines == {"G-01": ORDER_ON, "G-05": ORDER_ON}  # within a month of each other: one order
    assert {call.item.part: call.order_on for call in calls_now(at=at("2026-06-02 08:00"))} == lines


@pytest.mark.parametrize("changes", [{"lead_time_days": None}, {"lead_time_days": Decimal(0)}])
def test_a_type_without_a_lead_time_is_never_to_be_ordered(gearbox: Part, changes: dict[str, object]) -> None:
    PartType.objects.update(**changes)
    assert stages_on("2026-07-05", "2026-07-06") == [[], [("coming", None)]]


def test_work_that_needs_no_new_part_is_never_to_be_ordered(gearbox: Part) -> None:
    Rule.objects.update(action="inspect")
    assert stages_on("2026-05-21") == [[]]


# -------- after an incident


@pytest.fixture
def metal(greasing: Greasing) -> Greasing:
    """The press is to be inspected after metal or noise; at 22:30 in Vienna on 24 March there was metal."""
    Rule.objects.create(
        code="look after metal", action="inspect", press=greasing.press, after_incident="metal noise"
    )
    greasing.log(at("2026-03-20 12:00"))  # so that greasing is not due for a while
    Incident.objects.create(
        ref="bolt", press=greasing.press, happened_at=at("2026-03-24 21:30"), kind="metal"
    )
    return greasing


def test_what_follows_metal_in_the_seed_is_mailed_at_night(
    metal: Greasing, operator: User, smtp: MailServer
) -> None:
    assert _round(at("2026-03-24 21:35")) == 1
    assert smtp.mails[0]["Subject"].endswith("Inspect North press (look after metal)")


def test_also_to_who_gets_lists(metal: Greasing, operator: User, smtp: MailServer) -> None:
    wish(operator, rhythm="weekly")
    assert _round(at("2026-03-24 21:35")) == 1
    assert stages_told(operator) == ["due"]


def test_but_not_to_who_wants_to_sleep(metal: Greasing, operator: User, smtp: MailServer) -> None:
    wish(operator, urgent_any_time=False)
    assert _round(at("2026-03-24 21:35")) == 0
    assert _round(at("2026-03-25 04:59")) == 0  # 05:59 in Vienna
    assert _round(at("2026-03-25 05:00")) == 1


def test_nor_what_follows_something_else(metal: Greasing, operator: User, smtp: MailServer) -> None:
    """By a rule that does not ask for work after metal."""
    Rule.objects.filter(code="look after metal").update(after_incident="noise")
    Incident.objects.update(kind="noise")
    assert _round(at("2026-03-24 21:35")) == 0


def wish(person: User, **changes: object) -> None:
    from wearlog.reminders.models import ReminderWish

    ReminderWish.objects.update_or_create(person=person, defaults=changes)


def test_the_moments_of_the_fixture_are_what_they_are_called(greasing: Greasing) -> None:
    assert [call.stage for moment in (COMING, DUE) for call in calls_now(at=moment)] == ["coming", "due"]
