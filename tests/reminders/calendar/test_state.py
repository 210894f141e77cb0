"""What stands in the calendar, and how it follows the log."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.dates import at
from tests.mills.greasing import COMING, DUE, OVERDUE, Greasing
from wearlog.equipment.models import Fitting, Part, PartType, Position, Press
from wearlog.lockout.models import EnergySource
from wearlog.people.models import User
from wearlog.reminders.calendar import state as calendar_state
from wearlog.reminders.models import CalendarEntry, Mark
from wearlog.reminders.outbox.keys import item_key
from wearlog.service.models import Rule, Service

LONG_BEFORE = at("2026-03-02 08:00")


def only() -> CalendarEntry:
    entry: CalendarEntry = CalendarEntry.objects.get()
    return entry


def seen() -> tuple[date, str, str, int]:
    entry = only()
    return entry.day, entry.state, entry.status, entry.sequence


def test_a_task_stands_on_its_likely_day_long_before_anybody_is_told(greasing: Greasing) -> None:
    """Last done on 1 March 2026, every 30 days: 31 March."""
    assert calendar_state.update(at=LONG_BEFORE) == 1
    assert seen() == (date(2026, 3, 31), "open", "TENTATIVE", 0)
    assert only().task == "Lubricate North press (grease bearing)"


def test_it_says_the_range_and_the_caution_with_its_isolation_points(greasing: Greasing) -> None:
    calendar_state.update(at=LONG_BEFORE)
    entry = only()
    assert "31 March 2026" in entry.words
    assert "can start by itself" in entry.caution
    assert "Main motor (electrical): isolate at disconnect Q1" in entry.caution


def test_nothing_is_written_while_nothing_changes(greasing: Greasing) -> None:
    calendar_state.update(at=LONG_BEFORE)
    before = CalendarEntry.objects.values().get()
    for days in range(1, 10):
        assert calendar_state.update(at=LONG_BEFORE + timedelta(days=days)) == 0
    assert CalendarEntry.objects.values().get() == before


def test_a_day_that_has_come_is_no_longer_an_expectation(greasing: Greasing) -> None:
    calendar_state.update(at=COMING)
    calendar_state.update(at=DUE)
    assert seen() == (date(2026, 3, 31), "open", "CONFIRMED", 1)
    calendar_state.update(at=OVERDUE)
    assert seen() == (date(2026, 3, 31), "open", "CONFIRMED", 1)


def test_done_work_moves_to_the_day_it_was_done_and_the_next_cycle_gets_an_event_of_its_own(
    greasing: Greasing,
) -> None:
    calendar_state.update(at=DUE)
    first = only()
    greasing.log(at("2026-04-02 09:00"))
    calendar_state.update(at=at("2026-04-02 10:00"))
    done, coming = CalendarEntry.objects.order_by("pk")
    assert (done.pk, done.uid, done.state) == (first.pk, first.uid, "done")
    assert (done.day, done.sequence) == (date(2026, 4, 2), 1)
    assert done.caution == first.caution
    assert (coming.state, coming.day) == ("open", date(2026, 5, 2))  # 30 days later
    assert coming.uid != done.uid


def test_the_day_it_was_done_is_the_mills_own_day(greasing: Greasing) -> None:
    """Vienna is two hours ahead of UTC on 2 April 2026: 22:30 UTC is the 3rd there."""
    calendar_state.update(at=DUE)
    greasing.log(at("2026-04-02 22:30"))
    calendar_state.update(at=at("2026-04-02 23:00"))
    assert CalendarEntry.objects.get(state="done").day == date(2026, 4, 3)


def test_work_that_is_voided_opens_the_same_event_again(greasing: Greasing) -> None:
    calendar_state.update(at=DUE)
    again = greasing.log(at("2026-04-01 09:00"))
    calendar_state.update(at=at("2026-04-01 10:00"))
    Service.objects.filter(pk=again.pk).update(voided_at=at("2026-04-01 11:00"))
    calendar_state.update(at=at("2026-04-01 12:00"))
    first, second = CalendarEntry.objects.order_by("pk")
    assert (first.state, first.day, first.sequence) == ("open", date(2026, 3, 31), 2)
    assert (second.state, second.sequence) == ("gone", 1)


def test_a_corrected_day_of_work_moves_the_event_that_is_done(greasing: Greasing) -> None:
    calendar_state.update(at=DUE)
    again = greasing.log(at("2026-04-01 09:00"))
    calendar_state.update(at=at("2026-04-02 10:00"))
    Service.objects.filter(pk=again.pk).update(done_at=at("2026-03-30 09:00"))
    calendar_state.update(at=at("2026-04-02 11:00"))
    done, coming = CalendarEntry.objects.order_by("pk")
    assert (done.day, done.sequence) == (date(2026, 3, 30), 2)
    assert (coming.day, coming.sequence) == (date(2026, 4, 29), 1)


def test_a_rule_that_no_longer_asks_takes_its_event_away(greasing: Greasing) -> None:
    calendar_state.update(at=DUE)
    Rule.objects.filter(pk=greasing.rule.pk).update(every_days=None)
    calendar_state.update(at=DUE + timedelta(minutes=1))
    assert seen() == (date(2026, 3, 31), "gone", "CONFIRMED", 1)


def test_other_work_at_the_press_does_not_count_as_done(greasing: Greasing) -> None:
    calendar_state.update(at=DUE)
    Service.objects.create(ref="clean", done_at=at("2026-04-01 07:00"), press=greasing.press, action="clean")
    Rule.objects.filter(pk=greasing.rule.pk).update(every_days=None)
    calendar_state.update(at=DUE + timedelta(minutes=1))
    assert only().state == "gone"


def test_work_that_names_no_rule_counts_by_its_action(greasing: Greasing) -> None:
    calendar_state.update(at=DUE)
    Service.objects.create(
        ref="by hand", done_at=at("2026-04-01 07:00"), press=greasing.press, action="lubricate"
    )
    calendar_state.update(at=DUE + timedelta(minutes=1))
    assert CalendarEntry.objects.get(state="done").day == date(2026, 4, 1)


def test_a_part_that_is_replaced_is_done_by_the_work_at_its_place(greasing: Greasing) -> None:
    kind = PartType.objects.create(code="screw type", kind="screw")
    place = Position.objects.create(press=greasing.press, name="screw", kind="screw")
    old, new = (Part.objects.create(code=code, part_type=kind) for code in ("S-01", "S-02"))
    worn = Fitting.objects.create(part=old, position=place, fitted_at=at("2026-01-01 08:00"))
    rule = Rule.objects.create(code="new screw", action="replace", kind="screw", every_days=Decimal(60))
    calendar_state.update(at=COMING)
    Fitting.objects.filter(pk=worn.pk).update(removed_at=at("2026-03-25 09:00"))
    Fitting.objects.create(part=new, position=place, fitted_at=at("2026-03-25 09:30"))
    Service.objects.create(
        ref="swap", done_at=at("2026-03-25 09:30"), press=greasing.press, position=place, part=new,
        action="replace", rule=rule,
    )  # fmt: skip
    calendar_state.update(at=at("2026-03-25 10:00"))
    states = dict(CalendarEntry.objects.filter(rule=rule).values_list("part__code", "state"))
    assert states == {"S-01": "done", "S-02": "open"}


def test_a_hold_back_moves_the_event_to_the_day_that_was_named(greasing: Greasing, operator: User) -> None:
    calendar_state.update(at=DUE)
    hold(greasing, operator, date(2026, 4, 9))
    calendar_state.update(at=DUE + timedelta(minutes=1))
    assert seen() == (date(2026, 4, 9), "open", "CONFIRMED", 1)
    assert "Held back until 9 April 2026." in only().words
    assert "wait for the spare" not in only().words
    calendar_state.update(at=at("2026-04-10 08:00"))
    assert only().day == date(2026, 3, 31)


def hold(greasing: Greasing, by: User, until: date) -> None:
    mark(greasing, by, kind="held", until_on=until, reason="wait for the spare")


def mark(greasing: Greasing, by: User, **said: object) -> None:
    from wearlog.forecasts.memory.queries import due_items

    (item,) = due_items(as_of=DUE.date())
    Mark.objects.create(
        item_key=item_key(item), rule=item.rule, press=item.press, made_at=DUE, made_by=by, **said
    )


def test_whose_it_is_stands_in_the_row_and_changes_nothing_that_is_seen(
    greasing: Greasing, operator: User, owner: User
) -> None:
    calendar_state.update(at=DUE)
    mark(greasing, owner, kind="given", given_to=operator)
    assert calendar_state.update(at=DUE + timedelta(minutes=1)) == 1
    assert (only().given_to, only().sequence) == (operator, 0)
    assert operator.name not in only().words + only().task


def test_a_recorded_isolation_point_changes_the_event(greasing: Greasing) -> None:
    calendar_state.update(at=DUE)
    EnergySource.objects.create(
        press=greasing.press, source="Head heater", kind="electrical", isolate_at="fuse F3"
    )
    calendar_state.update(at=DUE + timedelta(minutes=1))
    assert "fuse F3" in only().caution
    assert only().sequence == 1


def test_what_lies_more_than_a_year_ahead_has_no_event_yet(greasing: Greasing) -> None:
    Rule.objects.filter(pk=greasing.rule.pk).update(every_days=Decimal(400))
    assert calendar_state.update(at=LONG_BEFORE) == 0
    assert calendar_state.update(at=at("2026-04-10 08:00")) == 1  # due on 5 April 2027


def test_the_last_change_never_falls_back_with_the_clock(greasing: Greasing) -> None:
    calendar_state.update(at=DUE)
    greasing.log(at("2026-04-01 07:00"))
    calendar_state.update(at=DUE - timedelta(hours=2) + timedelta(hours=1))
    assert all(entry.changed_at >= entry.made_at for entry in CalendarEntry.objects.all())


def test_two_scans_that_read_the_same_count_one_change(
    greasing: Greasing, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second has read its rows before the first writes."""
    calendar_state.update(at=COMING)
    stale = calendar_state._known({}, at=DUE)
    calendar_state.update(at=DUE)
    monkeypatch.setattr(calendar_state, "_known", lambda items, at: dict(stale))
    assert calendar_state.update(at=DUE) == 0
    assert only().sequence == 1


STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("later"), st.integers(0, 20)),
        st.tuples(st.just("correct"), st.integers(-60, 30)),
        st.tuples(st.just("log"), st.integers(0, 5)),
        st.tuples(st.just("void"), st.just(0)),
        st.tuples(st.just("every"), st.sampled_from([None, 10, 30, 90])),
    ),
    min_size=1,
    max_size=12,
)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=STEPS)
def test_whatever_is_logged_an_event_keeps_its_name_and_its_number_only_rises(
    greasing: Greasing, steps: list[tuple[str, int | None]]
) -> None:
    from django.db import transaction

    with transaction.atomic():
        now, logged = COMING, 0
        before: dict[int, CalendarEntry] = {}
        for step, value in steps:
            now += timedelta(minutes=1)
            if step == "later":
                now += timedelta(days=value or 0)
            elif step == "correct":
                greasing.correct(at("2026-03-01 12:00") + timedelta(days=value or 0))
            elif step == "log":
                logged += 1
                greasing.log(now - timedelta(days=value or 0, seconds=30), ref=f"again {logged}")
            elif step == "void":
                last = Service.objects.not_voided().order_by("-done_at").first()
                Service.objects.filter(pk=last.pk if last else 0).update(voided_at=now)
            else:
                Rule.objects.filter(pk=greasing.rule.pk).update(every_days=value)
            calendar_state.update(at=now)
            entries = {entry.pk: entry for entry in CalendarEntry.objects.all()}
            assert before.keys() <= entries.keys()
            for pk, entry in entries.items():
                old = before.get(pk, entry)
                looks = [
                    (one.day, one.task, one.words, one.caution, one.status, one.state) for one in (old, entry)
                ]
                assert (entry.uid, entry.item_key) == (old.uid, old.item_key)
                assert entry.sequence - old.sequence == int(looks[0] != looks[1])
                assert (entry.changed_at != old.changed_at) == (looks[0] != looks[1])
            assert sum(entry.state == "open" for entry in entries.values()) <= 1, "one rule, one press"
            assert calendar_state.update(at=now) == 0
            before = entries
        transaction.set_rollback(True)


def test_a_press_that_is_removed_takes_its_events_along(greasing: Greasing) -> None:
    other = Press.objects.create(code="P2", name="South press")
    Rule.objects.create(code="look", action="inspect", press=other, every_days=Decimal(30))
    Service.objects.create(ref="look", done_at=at("2026-03-01 12:00"), press=other, action="inspect")
    calendar_state.update(at=COMING)
    assert CalendarEntry.objects.filter(press=other).count() == 1
    Service.objects.filter(press=other).delete()
    Rule.objects.filter(press=other).delete()
    other.delete()
    assert CalendarEntry.objects.count() == 1
