"""The links in mails: what they open, for whom and how long, and that they sign nobody in."""

from __future__ import annotations

import base64
import dataclasses
import re
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest
from django.contrib.auth import SESSION_KEY
from django.test import Client
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st
from pytest_django import Settings

from tests.architecture.outputs import Output, lacking
from tests.mills.greasing import Greasing
from tests.reminders.channels.mail.mails import ITEM, OLGA
from tests.reminders.smtp import MailServer
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import due_items
from wearlog.people.models import AuditEntry, SignInLink, User
from wearlog.reminders.channels.mail.links import (
    LIST,
    SINGLE,
    BadLink,
    JobLink,
    job_url,
    read_job,
    read_stop,
    stop_url,
)
from wearlog.reminders.models import OutboxRow
from wearlog.reminders.outbox.actions import scan, send_due

DAY = date(2026, 8, 20)


def token_of(link: str) -> str:
    return link.rstrip("/").rpartition("/")[2]


# -------- the job


@pytest.fixture
def overdue(greasing: Greasing, operator: User) -> DueItem:
    """By the real clock the bearing has been overdue since April 2026."""
    (item,) = due_items(as_of=timezone.localdate())
    return item


def path_of(item: DueItem, person: User, made_on: date | None = None) -> str:
    link = job_url(item, person, made_on=made_on or timezone.now().date())
    return "/mail/job/" + link.partition("/mail/job/")[2]


def test_the_link_of_a_mail_shows_the_job_with_its_caution_without_a_sign_in(
    overdue: DueItem, smtp: MailServer
) -> None:
    scan(at=timezone.now())
    send_whatever_the_hour()
    body = smtp.mails[0].get_body(("plain",))
    assert body is not None
    (link,) = re.findall(r"\S+/mail/job/\S+", body.get_content())
    answer = Client().get("/mail/job/" + link.partition("/mail/job/")[2])
    assert answer.status_code == 200
    page = Output.of_html("the job", answer.content.decode())
    assert overdue.why in page.words
    assert "Two strokes of the gun" in page.words
    assert lacking(page, [overdue]) == []
    assert any(link.startswith("/log/work/?") for link in page.links)


def test_a_job_page_without_its_caution_would_be_noticed(
    overdue: DueItem, operator: User, settings: Settings
) -> None:
    """The check above must be able to fail: here the caution is taken out of the template."""
    source = Path(__file__).parents[4] / "wearlog/web/reminders/templates/web/reminders/job.html"
    mutant = source.read_text().replace("{% caution task.caution %}", "")
    assert mutant != source.read_text()
    (engine,) = settings.TEMPLATES
    loaders = [
        ("django.template.loaders.locmem.Loader", {"web/reminders/job.html": mutant}),
        "django.template.loaders.filesystem.Loader",
        "django.template.loaders.app_directories.Loader",
    ]
    settings.TEMPLATES = [engine | {"APP_DIRS": False, "OPTIONS": engine["OPTIONS"] | {"loaders": loaders}}]
    page = Output.of_html("the job", Client().get(path_of(overdue, operator)).content.decode())
    assert overdue.why in page.words
    assert lacking(page, [overdue])


def send_whatever_the_hour() -> None:
    """What is urgent leaves outside of a person's hours too."""
    now = timezone.now()
    OutboxRow.objects.update(next_attempt_at=now, item={**OutboxRow.objects.get().item, "urgent": True})
    send_due(at=now, limit=10)


def test_it_signs_nobody_in_and_writes_nothing(overdue: DueItem, operator: User) -> None:
    client = Client()
    before = AuditEntry.objects.count()
    assert client.get(path_of(overdue, operator)).status_code == 200
    assert SESSION_KEY not in client.session
    assert client.get("/log/work/").status_code == 302
    assert (AuditEntry.objects.count(), SignInLink.objects.count()) == (before, 0)


def test_logging_the_work_asks_for_a_sign_in_and_leads_back_to_the_filled_form(
    overdue: DueItem, operator: User
) -> None:
    client = Client()
    page = Output.of_html("", client.get(path_of(overdue, operator)).content.decode())
    (work,) = [link for link in page.links if link.startswith("/log/work/")]
    answer = client.get(work)
    assert answer.status_code == 302
    assert answer["Location"].startswith("/sign-in/?next=%2Flog%2Fwork%2F%3Fpress%3D")


def test_nothing_can_be_posted_to_it(overdue: DueItem, operator: User) -> None:
    assert Client().post(path_of(overdue, operator)).status_code == 405


def test_it_shows_the_task_as_it_stands_now(overdue: DueItem, operator: User, greasing: Greasing) -> None:
    greasing.rule.instructions = "Three strokes now."
    greasing.rule.save()
    assert "Three strokes now." in Client().get(path_of(overdue, operator)).content.decode()


def test_work_that_was_done_meanwhile_is_told_as_not_due(
    overdue: DueItem, operator: User, greasing: Greasing
) -> None:
    greasing.log(timezone.now() - timedelta(hours=1))
    page = Client().get(path_of(overdue, operator)).content.decode()
    assert "This is not due for now" in page


def test_a_task_that_is_gone_says_so_and_leads_on(
    overdue: DueItem, operator: User, greasing: Greasing
) -> None:
    path = path_of(overdue, operator)
    greasing.press.retired_on = date(2026, 4, 2)
    greasing.press.save()
    answer = Client().get(path)
    assert answer.status_code == 200
    assert "no longer in the forecast" in answer.content.decode()


def test_it_closes_when_its_person_may_no_longer_sign_in(overdue: DueItem, operator: User) -> None:
    User.objects.filter(pk=operator.pk).update(is_active=False)
    answer = Client().get(path_of(overdue, operator))
    assert answer.status_code == 403
    assert overdue.why not in answer.content.decode()


def test_it_opens_for_ninety_days(overdue: DueItem, operator: User) -> None:
    today = timezone.now().date()
    assert Client().get(path_of(overdue, operator, today - timedelta(days=90))).status_code == 200
    answer = Client().get(path_of(overdue, operator, today - timedelta(days=91)))
    assert answer.status_code == 404
    assert "older than 90 days" in answer.content.decode()


def test_it_is_kept_by_no_cache_and_found_by_no_search(overdue: DueItem, operator: User) -> None:
    answer = Client().get(path_of(overdue, operator))
    assert "no-store" in answer["Cache-Control"]
    assert '<meta name="robots" content="noindex">' in answer.content.decode()
    assert answer["Referrer-Policy"] == "same-origin"


# -------- tokens


def test_a_token_names_person_task_and_purpose() -> None:
    assert read_job(token_of(job_url(ITEM, OLGA, made_on=DAY)), on=DAY) == JobLink(5, 3, 1, "part 7 B")
    stop = read_stop(token_of(stop_url(OLGA, LIST)))
    assert (stop.person_id, stop.kind) == (5, "lists")


def test_the_same_mail_composed_twice_has_the_same_links() -> None:
    assert job_url(ITEM, OLGA, made_on=DAY) == job_url(ITEM, OLGA, made_on=DAY)
    assert stop_url(OLGA, SINGLE) == stop_url(OLGA, SINGLE)


def test_a_token_of_one_purpose_opens_no_other() -> None:
    with pytest.raises(BadLink):
        read_stop(token_of(job_url(ITEM, OLGA, made_on=DAY)))
    with pytest.raises(BadLink):
        read_job(token_of(stop_url(OLGA, SINGLE)), on=DAY)


def test_a_token_holds_neither_the_address_nor_the_name() -> None:
    token = token_of(stop_url(OLGA, SINGLE)).partition(":")[0]
    told = base64.urlsafe_b64decode(token + "=" * (-len(token) % 4)).decode()
    assert "mill.example" not in told
    assert "Olga" not in told


def test_another_key_of_the_site_closes_every_link(settings: Settings) -> None:
    token = token_of(job_url(ITEM, OLGA, made_on=DAY))
    settings.SECRET_KEY = "another key of at least fifty letters for this one test"
    with pytest.raises(BadLink):
        read_job(token, on=DAY)


def read_job_then(token: str) -> object:
    return read_job(token, on=DAY)


@pytest.mark.parametrize("read", [read_job_then, read_stop])
@given(token=st.text(max_size=80))
def test_whatever_is_no_token_of_ours_is_told_as_a_bad_link(
    read: Callable[[str], object], token: str
) -> None:
    with pytest.raises(BadLink):
        read(token)


@given(place=st.integers(0, 200), letter=st.sampled_from("abcXYZ019-_:"))
def test_a_token_with_one_letter_changed_opens_nothing_else(place: int, letter: str) -> None:
    """The last letter of the signature holds bits that count for nothing; then it opens the same."""
    token = token_of(job_url(ITEM, OLGA, made_on=DAY))
    at = place % len(token)
    changed = token[:at] + letter + token[at + 1 :]
    try:
        assert read_job(changed, on=DAY) == JobLink(5, 3, 1, "part 7 B")
    except BadLink:
        assert changed != token
    else:
        assert changed == token or at == len(token) - 1


def test_a_part_that_was_renamed_or_moved_is_found_by_its_link() -> None:
    other = dataclasses.replace(ITEM, part="D-08", rule="die bore", press_name="South press")
    assert job_url(other, OLGA, made_on=DAY) == job_url(ITEM, OLGA, made_on=DAY)
