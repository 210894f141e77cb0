"""The calendar's page, and its addresses as a calendar program meets them."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone
from icalendar import Calendar

from tests.mills.everything_due import fill
from tests.mills.look_mill import LookMill
from wearlog.equipment.models import Press
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import due_items
from wearlog.people.models import Mill, User
from wearlog.reminders.calendar import state as calendar_state
from wearlog.reminders.calendar.feeds import make_feed
from wearlog.reminders.models import CalendarEntry, CalendarFeed


@pytest.fixture
def shop(mill: Mill) -> LookMill:
    shop = LookMill(timezone.now())
    calendar_state.update(at=timezone.now())
    return shop


def address(by: User, press: Press | None = None) -> str:
    _feed, secret = make_feed(by=by, at=timezone.now(), press=press)
    return f"/calendar/{secret}.ics"


def shown_address(page: str) -> str:
    (link,) = re.findall(r"<code>http://testserver(/calendar/[\w-]{43}\.ics)</code>", page)
    return str(link)


# -------- the page


def test_an_address_is_made_shown_once_read_and_withdrawn(
    shop: LookMill, operator: User, client: Client
) -> None:
    client.force_login(operator)
    assert "None yet." in client.get("/me/calendar/").content.decode()
    made = client.post("/me/calendar/", {"press": "", "note": "my phone"})
    assert made["Cache-Control"] == "max-age=0, no-cache, no-store, must-revalidate, private"
    link = shown_address(made.content.decode())
    assert Client().get(link).status_code == 200
    page = client.get("/me/calendar/").content.decode()
    assert "my phone" in page
    assert link not in page
    done = client.post(f"/me/calendar/{CalendarFeed.objects.get().pk}/end/", follow=True)
    assert "Withdrawn" in done.content.decode()
    assert "None yet." in done.content.decode()
    answer = Client().get(link)
    assert answer.status_code == 404
    assert "Make a new one" in answer.content.decode()


def test_the_calendar_of_a_press_has_its_tasks_alone(shop: LookMill, operator: User, client: Client) -> None:
    client.force_login(operator)
    made = client.post("/me/calendar/", {"press": shop.north.pk}).content.decode()
    events = Calendar.from_ical(Client().get(shown_address(made)).content).walk("VEVENT")
    assert len(events) == CalendarEntry.objects.filter(press=shop.north).count() > 0
    assert {str(event["url"]).rpartition("/presses/")[2] for event in events} == {f"{shop.north.pk}/"}


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"press": "77777", "note": "kept"}, "That press is not here"),
        ({"press": "north", "note": "kept"}, "That press is not here"),
        ({"note": "kept" * 16}, "more than 60 letters"),
    ],
)
def test_a_slip_is_told_and_what_was_typed_stays(
    typed: dict[str, str], told: str, shop: LookMill, operator: User, client: Client
) -> None:
    client.force_login(operator)
    answer = client.post("/me/calendar/", typed)
    assert answer.status_code == 422
    assert told in answer.content.decode()
    assert f'value="{typed["note"]}"' in answer.content.decode()
    assert not CalendarFeed.objects.exists()


def test_another_persons_address_can_neither_be_seen_nor_withdrawn(
    shop: LookMill, owner: User, operator: User, client: Client
) -> None:
    feed, _secret = make_feed(by=owner, at=timezone.now(), note="the owner's own")
    client.force_login(operator)
    assert "the owner&#x27;s own" not in client.get("/me/calendar/").content.decode()
    assert client.post(f"/me/calendar/{feed.pk}/end/").status_code == 404
    assert CalendarFeed.objects.not_revoked().count() == 1
    client.force_login(owner)
    assert "the owner&#x27;s own" in client.get("/me/calendar/").content.decode()


def test_withdrawing_needs_a_button(shop: LookMill, operator: User, client: Client) -> None:
    feed, _secret = make_feed(by=operator, at=timezone.now())
    client.force_login(operator)
    assert client.get(f"/me/calendar/{feed.pk}/end/").status_code == 405
    assert CalendarFeed.objects.not_revoked().exists()


# -------- the address


def test_a_program_that_has_it_already_is_told_so(shop: LookMill, operator: User) -> None:
    link, program = address(operator), Client()
    first = program.get(link)
    assert first["Content-Type"] == "text/calendar; charset=utf-8"
    assert first["Cache-Control"] == "private, no-cache"
    assert not first.cookies
    again = program.get(link, HTTP_IF_NONE_MATCH=first["ETag"])
    assert (again.status_code, again.content, again["ETag"]) == (304, b"", first["ETag"])
    assert program.get(link, HTTP_IF_NONE_MATCH=f'"other", {first["ETag"]}').status_code == 304
    assert program.get(link, HTTP_IF_NONE_MATCH='"other"').status_code == 200
    head = program.head(link)
    assert (head.status_code, head.content, head["ETag"]) == (200, b"", first["ETag"])


def test_what_changed_is_sent_anew(shop: LookMill, operator: User) -> None:
    link, program = address(operator), Client()
    first = program.get(link)
    CalendarEntry.objects.filter(pk=CalendarEntry.objects.earliest("pk").pk).update(task="Look again")
    second = program.get(link, HTTP_IF_NONE_MATCH=first["ETag"])
    assert second.status_code == 200
    assert second["ETag"] != first["ETag"]
    assert b"SUMMARY:Look again" in second.content


@pytest.mark.parametrize("method", ["post", "put", "delete", "patch"])
def test_nothing_can_be_sent_to_it(method: str, shop: LookMill, operator: User) -> None:
    assert getattr(Client(), method)(address(operator)).status_code == 405


def test_a_secret_that_nobody_made_is_not_found(shop: LookMill) -> None:
    for word in ("not-a-secret", "x" * 3000):
        assert Client().get(f"/calendar/{word}.ics").status_code == 404


def test_who_was_switched_off_reads_no_calendar(shop: LookMill, operator: User) -> None:
    link = address(operator)
    User.objects.filter(pk=operator.pk).update(is_active=False)
    assert Client().get(link).status_code == 404


def test_reading_costs_four_queries(shop: LookMill, operator: User, django_assert_num_queries: Any) -> None:
    link = address(operator)
    with django_assert_num_queries(4):  # the mill twice: for the request's zone and for the name
        Client().get(link)


def test_every_event_of_every_kind_of_task_carries_its_caution_and_isolation_points(
    transactional_db: None,
) -> None:
    """The mill of the architecture tests has each action, part kind and trigger."""
    now = timezone.now()
    fill(now)
    calendar_state.update(at=now)
    items = due_items(as_of=now.astimezone(Mill.current().zone).date())
    wanted = [item for item in items if item.state != "unknown" and has_a_day(item, now)]
    content = Client().get(address(User.objects.filter(role="operator").get())).content
    texts = [str(event["description"]) for event in Calendar.from_ical(content).walk("VEVENT")]
    assert len(texts) == len(wanted) > 40
    for item in wanted:
        points = [f"- {point}" for point in item.caution.isolation_points]
        told = " ".join(item.caution.text.split())
        assert any(
            told in " ".join(text.split()) and all(point in text for point in points) for text in texts
        ), item
    assert all(re.search(r"\n\n(DANGER|WARNING|CAUTION): ", text) for text in texts)


def has_a_day(item: DueItem, now: datetime) -> bool:
    """Within a year, or already there; what lies off the press with no use planned has none."""
    if item.due_on is None:
        return item.state != "later"
    return item.due_on <= (now + timedelta(days=366)).date()
