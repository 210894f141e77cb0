"""The secret addresses of the calendar, and what the bytes at one say."""

from __future__ import annotations

import hashlib
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from tests.dates import at
from tests.mills.greasing import COMING, DUE, Greasing
from wearlog.equipment.models import Press
from wearlog.people.models import AuditEntry, Mill, Role, User
from wearlog.people.refusals import NotAllowed, Refused
from wearlog.reminders.calendar import feeds as calendar_feeds
from wearlog.reminders.calendar import state as calendar_state
from wearlog.reminders.calendar.format import as_ics
from wearlog.reminders.models import CalendarEntry, CalendarFeed
from wearlog.reminders.outbox.actions import scan

TODAY = date(2026, 4, 1)


def make(by: User, press: Press | None = None) -> tuple[CalendarFeed, str]:
    return calendar_feeds.make_feed(by=by, at=DUE, press=press)


def unfolded(data: bytes) -> list[str]:
    """The content lines by the letter of RFC 5545, 3.1, read without any library."""
    assert data.endswith(b"\r\n")
    assert max(len(line) for line in data.split(b"\r\n")) <= 75
    return data.decode().replace("\r\n ", "").split("\r\n")[:-1]


def test_the_scan_fills_the_calendar(greasing: Greasing, operator: User) -> None:
    scan(at=DUE)
    assert CalendarEntry.objects.get().day == date(2026, 3, 31)


# -------- addresses


def test_the_secret_is_long_and_only_its_hash_is_kept(operator: User) -> None:
    feed, secret = make(operator)
    assert len(secret) >= 43  # 256 random bits in letters of 6 bits
    stored = CalendarFeed.objects.values().get()
    assert stored["secret_hash"] == hashlib.sha256(secret.encode()).hexdigest()
    assert secret not in str(stored)
    assert calendar_feeds.feed_of(secret) == feed


def test_making_and_ending_leave_an_audit_row_each_without_the_secret(operator: User) -> None:
    feed, secret = make(operator)
    assert calendar_feeds.revoke(feed=feed, by=operator, at=DUE) is True
    assert calendar_feeds.revoke(feed=feed, by=operator, at=DUE) is False
    rows = AuditEntry.objects.order_by("pk")
    assert [row.action for row in rows] == ["make calendar address", "end calendar address"]
    kept = str(list(rows.values()))
    assert secret not in kept
    assert hashlib.sha256(secret.encode()).hexdigest() not in kept


def test_an_ended_an_unknown_and_an_empty_secret_open_nothing(operator: User) -> None:
    feed, secret = make(operator)
    calendar_feeds.revoke(feed=feed, by=operator, at=DUE)
    assert [calendar_feeds.feed_of(word) for word in (secret, secret[:-1], "", feed.secret_hash)] == [
        None
    ] * 4


def test_the_address_of_somebody_who_left_opens_nothing(operator: User) -> None:
    _feed, secret = make(operator)
    User.objects.filter(pk=operator.pk).update(is_active=False)
    assert calendar_feeds.feed_of(secret) is None


def test_who_left_makes_none(operator: User) -> None:
    operator.is_active = False
    with pytest.raises(NotAllowed):
        make(operator)


def test_another_person_may_not_end_it_and_an_owner_may(
    operator: User, maintainer: User, owner: User
) -> None:
    feed, _secret = make(operator)
    with pytest.raises(NotAllowed, match="another person's calendar"):
        calendar_feeds.revoke(feed=feed, by=maintainer, at=DUE)
    assert list(calendar_feeds.visible_to(maintainer)) == []
    assert list(calendar_feeds.visible_to(owner)) == [feed]
    assert calendar_feeds.revoke(feed=feed, by=owner, at=DUE)
    assert list(calendar_feeds.visible_to(owner)) == []


def test_a_twenty_first_address_is_refused_with_what_to_do(operator: User) -> None:
    for _number in range(20):
        feed, _secret = make(operator)
    with pytest.raises(Refused, match="Withdraw one"):
        make(operator)
    calendar_feeds.revoke(feed=feed, by=operator, at=DUE)
    make(operator)


# -------- what is in which


def test_a_persons_calendar_leaves_out_what_is_given_to_another_and_a_presss_does_not(
    greasing: Greasing, operator: User, owner: User
) -> None:
    calendar_state.update(at=DUE)
    CalendarEntry.objects.update(given_to=operator)
    of = {
        name: len(calendar_feeds.entries_of(make(person, press)[0], today=TODAY))
        for name, person, press in (
            ("operator's", operator, None),
            ("owner's", owner, None),
            ("owner's of the press", owner, greasing.press),
            ("owner's of another press", owner, Press.objects.create(code="P2")),
        )
    }
    assert of == {
        "operator's": 1, "owner's": 0, "owner's of the press": 1, "owner's of another press": 0,
    }  # fmt: skip


def test_done_work_stays_for_eight_weeks_and_what_is_gone_does_not_show(
    greasing: Greasing, operator: User
) -> None:
    calendar_state.update(at=DUE)
    greasing.log(at("2026-04-01 09:00"))
    calendar_state.update(at=at("2026-04-01 10:00"))
    feed, _secret = make(operator)

    def titles(today: date) -> list[str]:
        return [str(entry.state) for entry in calendar_feeds.entries_of(feed, today=today)]

    assert titles(date(2026, 5, 27)) == ["done", "open"]  # 56 days after 1 April
    assert titles(date(2026, 5, 28)) == ["open"]
    CalendarEntry.objects.filter(state="open").update(state="gone")
    assert titles(date(2026, 4, 2)) == ["done"]


# -------- the bytes


def body(feed: CalendarFeed, today: date = TODAY) -> bytes:
    return as_ics(feed, calendar_feeds.entries_of(feed, today=today), mill="Test mill")


def test_an_event_is_a_whole_day_that_blocks_no_time(greasing: Greasing, operator: User) -> None:
    calendar_state.update(at=COMING)
    lines = unfolded(body(make(operator)[0]))
    uid = str(CalendarEntry.objects.get().uid)
    assert lines[:3] == ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Wearlog//Service calendar//EN"]
    assert {
        "BEGIN:VEVENT",
        f"UID:{uid}",
        "SUMMARY:Lubricate North press (grease bearing)",
        "DTSTART;VALUE=DATE:20260331",
        "DTEND;VALUE=DATE:20260401",
        "DTSTAMP:20260325T080000Z",
        "LAST-MODIFIED:20260325T080000Z",
        "SEQUENCE:0",
        "STATUS:TENTATIVE",
        "TRANSP:TRANSPARENT",
    } <= set(lines)
    assert lines.count("BEGIN:VEVENT") == 1
    assert not any(line.startswith(("METHOD", "BEGIN:VALARM", "ATTENDEE", "ORGANIZER")) for line in lines)


def test_the_description_carries_the_range_the_caution_and_the_isolation_points(
    greasing: Greasing, operator: User
) -> None:
    calendar_state.update(at=COMING)
    (event,) = Calendar.from_ical(body(make(operator)[0])).walk("VEVENT")
    text = str(event["description"])
    assert text.startswith("When: 31 March 2026.")
    for words in ("WARNING: ", "can start by itself", "Isolation points:", "isolate at disconnect Q1"):
        assert words in text
    assert "licensed electrician" in text


def test_nobodys_name_and_no_figure_of_the_log_is_in_it(
    greasing: Greasing, operator: User, owner: User
) -> None:
    calendar_state.update(at=DUE)
    CalendarEntry.objects.update(given_to=operator)
    text = body(make(operator)[0]).decode()
    for private in (operator.name, operator.username, operator.email, owner.name, "Two strokes of the gun"):
        assert private not in text


def test_done_work_says_so_in_its_title_and_keeps_its_caution(greasing: Greasing, operator: User) -> None:
    calendar_state.update(at=DUE)
    greasing.log(at("2026-04-01 09:00"))
    calendar_state.update(at=at("2026-04-01 10:00"))
    done, _coming = Calendar.from_ical(body(make(operator)[0])).walk("VEVENT")
    assert str(done["summary"]) == "Done: Lubricate North press (grease bearing)"
    assert str(done["description"]).startswith("Done on 1 April 2026")
    assert "isolate at disconnect Q1" in str(done["description"])
    assert (done["sequence"], str(done["status"])) == (1, "CONFIRMED")


def test_the_same_rows_make_the_same_bytes_whenever_it_is_read(greasing: Greasing, operator: User) -> None:
    calendar_state.update(at=COMING)
    feed, _secret = make(operator)
    assert body(feed, date(2026, 3, 25)) == body(feed, date(2026, 3, 30))


def test_a_mill_with_nothing_to_do_has_a_calendar_that_is_still_well_formed(operator: User) -> None:
    """RFC 5545, 3.6: at least one component."""
    lines = unfolded(body(make(operator)[0]))
    assert "BEGIN:VTIMEZONE" in lines
    assert "BEGIN:VEVENT" not in lines
    assert len(Calendar.from_ical(body(CalendarFeed.objects.get())).subcomponents) == 1


LINES = st.text(st.characters(exclude_categories=["Cs"]), max_size=120)


def an_entry(**given_values: Any) -> CalendarEntry:
    values = {
        "task": "Look", "words": "When: 31 March 2026.", "caution": "WARNING: mind the screw.",
        "day": date(2026, 3, 31), "status": "TENTATIVE", "state": "open", "press_id": 1,
        "made_at": COMING, "changed_at": COMING,
    }  # fmt: skip
    return CalendarEntry(**{**values, **given_values})


def untyped(text: str) -> str:
    """Without escapes (RFC 5545, 3.3.11), read by hand."""
    found, letters = [], iter(text)
    for letter in letters:
        if letter == "\\":
            letter = next(letters)
            letter = "\n" if letter in "nN" else letter
        found.append(letter)
    return "".join(found)


@given(
    task=LINES,
    words=LINES,
    mill=LINES,
    sequence=st.integers(0, 10_000),
    day=st.dates(date(1990, 1, 1), date(2099, 12, 30)),
    changed=st.datetimes(
        datetime.fromisoformat("1990-01-01"), datetime.fromisoformat("2099-01-01"), timezones=st.just(UTC)
    ),
)
def test_whatever_is_typed_two_readers_find_the_same_event_and_no_line_more(
    task: str, words: str, mill: str, sequence: int, day: date, changed: datetime
) -> None:
    """The library reads its own writing, and so do a dozen lines that follow the RFC by hand."""
    entry = an_entry(task=task, words=words, sequence=sequence, day=day, changed_at=changed)
    data = as_ics(CalendarFeed(person=User(name="x")), [entry], mill=mill)
    (event,) = Calendar.from_ical(data).walk("VEVENT")
    lines = unfolded(data)
    assert [line.partition(":")[0] for line in lines if ":" in line].count("SUMMARY") == 1
    assert len(lines) == 20  # 5 of the calendar, 14 of the event, and the end
    by_name = {line.partition(":")[0]: line.partition(":")[2] for line in lines}
    assert untyped(by_name["SUMMARY"]) == str(event["summary"]) == shown(task)
    assert untyped(by_name["DESCRIPTION"]) == str(event["description"])
    assert by_name["DTSTART;VALUE=DATE"] == f"{day:%Y%m%d}"
    assert event["dtstart"].dt == day
    assert event["dtend"].dt == day + timedelta(days=1)
    assert event["dtstamp"].dt == event["last-modified"].dt == changed.replace(microsecond=0)
    assert event["sequence"] == sequence == int(by_name["SEQUENCE"])


def shown(task: str) -> str:
    from wearlog.reminders.channels.mail.words import one_line

    return one_line(task)


def test_the_feed_costs_two_queries_however_much_is_in_it(
    operator: User, mill: Mill, greasing: Greasing, django_assert_num_queries: Any
) -> None:
    _feed, secret = make(operator)
    CalendarEntry.objects.bulk_create(
        an_entry(item_key=str(number), rule_id=greasing.rule.pk, press_id=greasing.press.pk)
        for number in range(300)
    )
    with django_assert_num_queries(2):
        feed = calendar_feeds.feed_of(secret)
        assert feed is not None
        assert body(feed).count(b"BEGIN:VEVENT") == 300


def test_a_viewer_may_have_one(mill: Mill) -> None:
    _feed, secret = make(User.objects.create_user("v", role=Role.VIEWER))
    assert calendar_feeds.feed_of(secret) is not None
