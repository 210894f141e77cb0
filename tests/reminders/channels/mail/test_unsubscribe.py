"""One click stops the mails, and a link scanner's look at the link does not (RFC 8058, RFC 2369)."""

from __future__ import annotations

import re

import pytest
from django.contrib.auth import SESSION_KEY
from django.test import Client
from pytest_django import Settings

from tests.mills.greasing import DUE, Greasing
from tests.reminders.smtp import MailServer
from wearlog.people.models import AuditEntry, User
from wearlog.reminders.channels.mail.links import LIST, SINGLE, stop_url
from wearlog.reminders.outbox.actions import scan, send_due

ONE_CLICK = {"List-Unsubscribe": "One-Click"}


@pytest.fixture
def path(operator: User, smtp: MailServer, greasing: Greasing, settings: Settings) -> str:
    """The path of the header's address in a mail that arrived."""
    settings.SITE_URL = "https://wearlog.mill.example"
    scan(at=DUE)
    send_due(at=DUE, limit=10)
    (mail,) = smtp.mails
    found = re.fullmatch(
        r"<https://wearlog\.mill\.example(/mail/stop/[^>\s]+/)>", str(mail["List-Unsubscribe"])
    )
    assert found
    assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    return found[1]


def gets_mail(person: User) -> bool:
    return User.objects.get(pk=person.pk).gets_mail


def test_the_mail_programs_post_stops_the_mails_without_sign_in_cookie_or_token(
    path: str, operator: User, greasing: Greasing, smtp: MailServer
) -> None:
    client = Client(enforce_csrf_checks=True)
    answer = client.post(path, ONE_CLICK)
    assert answer.status_code == 200  # no redirect: RFC 8058, 3.1
    assert "No more reminders go to this address." in answer.content.decode()
    assert not gets_mail(operator)
    assert SESSION_KEY not in client.session
    scan(at=DUE.replace(day=20))
    assert send_due(at=DUE.replace(day=20), limit=10).sent == 0


def test_the_post_may_come_as_a_form_of_several_parts_or_of_one(path: str, operator: User) -> None:
    """RFC 8058, 3.2 allows both encodings."""
    client = Client(enforce_csrf_checks=True)
    answer = client.post(path, "List-Unsubscribe=One-Click", content_type="application/x-www-form-urlencoded")
    assert answer.status_code == 200
    assert not gets_mail(operator)


@pytest.mark.parametrize("method", ["get", "head"])
def test_a_scanners_look_at_the_link_changes_nothing(path: str, operator: User, method: str) -> None:
    before = AuditEntry.objects.count()
    for _ in range(3):
        assert getattr(Client(), method)(path).status_code == 200
    assert gets_mail(operator)
    assert AuditEntry.objects.count() == before


def test_the_page_has_a_button_that_posts_and_nothing_that_posts_by_itself(path: str, operator: User) -> None:
    page = " ".join(Client().get(path).content.decode().split())
    assert "No more reminders by mail to operator@mill.example?" in page
    (form,) = re.findall(r"<form method=\"post\">.*?</form>", page)
    assert '<button class="main" name="List-Unsubscribe" value="One-Click">' in form
    assert "http-equiv" not in page


@pytest.mark.parametrize("method", ["put", "delete", "patch", "options"])
def test_no_other_method_does_anything(path: str, operator: User, method: str) -> None:
    assert getattr(Client(), method)(path).status_code == 405
    assert gets_mail(operator)


def test_a_second_click_says_the_same_and_leaves_one_audit_row(path: str, operator: User) -> None:
    for _ in range(2):
        assert "No more reminders" in Client().post(path, ONE_CLICK).content.decode()
    rows = AuditEntry.objects.filter(action="stop mail by link")
    assert [(row.by, row.record_id) for row in rows] == [(operator, operator.pk)]
    assert (rows[0].old["gets_mail"], rows[0].new["gets_mail"]) == (True, False)  # type: ignore[index]


def test_it_stops_one_persons_mails_and_nobody_elses(path: str, operator: User, owner: User) -> None:
    Client().post(path, ONE_CLICK)
    assert not gets_mail(operator)
    assert gets_mail(owner)


def test_who_switched_mail_on_again_may_stop_it_again(path: str, operator: User) -> None:
    Client().post(path, ONE_CLICK)
    User.objects.filter(pk=operator.pk).update(gets_mail=True)
    Client().post(path, ONE_CLICK)
    assert not gets_mail(operator)


def test_a_mail_to_the_address_before_stops_nothing_at_the_new_one(path: str, operator: User) -> None:
    """Who got mails by a typing mistake can't switch off those of the right person."""
    User.objects.filter(pk=operator.pk).update(email="oskar@mill.example")
    for answer in (Client().get(path), Client().post(path, ONE_CLICK)):
        assert "no longer go to the address that this mail was sent to" in answer.content.decode()
        assert "oskar@mill.example" not in answer.content.decode()
    assert gets_mail(operator)


def test_it_works_for_who_may_no_longer_sign_in(path: str, operator: User) -> None:
    User.objects.filter(pk=operator.pk).update(is_active=False)
    assert Client().post(path, ONE_CLICK).status_code == 200
    assert not gets_mail(operator)


@pytest.mark.parametrize(
    "change", [lambda path: path[:-2] + "/", lambda path: path.replace("/stop/", "/stop/x")]
)
def test_a_link_that_was_broken_on_its_way_says_what_to_do(path: str, operator: User, change: object) -> None:
    assert callable(change)
    answer = Client().post(change(path), ONE_CLICK)
    assert answer.status_code == 404
    assert "Copy the whole address from the mail" in answer.content.decode()
    assert gets_mail(operator)


def test_singles_and_lists_have_links_of_their_own(operator: User) -> None:
    single, many = stop_url(operator, SINGLE), stop_url(operator, LIST)
    assert single != many
    Client().post("/mail/stop/" + many.partition("/mail/stop/")[2], ONE_CLICK)
    assert not gets_mail(operator)
