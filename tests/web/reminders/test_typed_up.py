"""The page on which a person says that the past is typed up."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

from django.test import Client
from django.utils import timezone

from tests.mills.log_shop import Shop
from tests.web.html import flat
from wearlog.history import versions
from wearlog.people.models import Role, User
from wearlog.reminders.models import OutboxRow, TypedUp
from wearlog.reminders.outbox.actions import scan
from wearlog.service.models import Rule
from wearlog.web.site.forms import new_ref


def type_old_runs(phone: Client, shop: Shop) -> str:
    """Two old runs through the form; the page after the second."""
    Rule.objects.create(code="look", action="inspect", press=shop.north, every_h=Decimal(10))
    versions.touch()
    text = ""
    for back in (40, 39):
        start = timezone.localtime(timezone.now() - timedelta(days=back))
        typed = {
            "ref": new_ref(),
            "press": shop.north.pk,
            "crop": shop.rape.pk,
            "seed": "400",
            "seed_unit": "kg",
            "hours_h": "8",
            "started_at": f"{start:%Y-%m-%dT06:00}",
        }
        text = phone.post("/log/run/", typed, follow=True).content.decode()
    return text


def test_after_an_old_run_the_page_says_that_mail_waits_and_leads_to_the_word(
    phone: Client, shop: Shop, operator: User
) -> None:
    User.objects.filter(pk=operator.pk).update(email="operator@mill.example")
    text = type_old_runs(phone, shop)
    assert "Mail about what became overdue in the past waits" in text
    assert 'href="/log/typed-up/"' in text
    scan(at=timezone.now())
    assert set(OutboxRow.objects.values_list("state", flat=True)) == {"held"}
    page = flat(phone.get("/log/typed-up/").content.decode())
    assert "One thing became overdue in the past." in page
    assert "You are typing up the past." in flat(phone.get("/log/run/").content.decode())


def test_the_word_is_said_once_and_the_banner_is_gone(phone: Client, shop: Shop, operator: User) -> None:
    type_old_runs(phone, shop)
    answer = phone.post("/log/typed-up/", follow=True)
    assert "Typed up." in answer.content.decode()
    assert TypedUp.objects.get().person == operator
    assert "You are typing up the past." not in flat(phone.get("/log/run/").content.decode())
    assert "Nothing is held from mail" in flat(phone.get("/log/typed-up/").content.decode())


def test_a_run_of_today_says_nothing_of_the_past(phone: Client, shop: Shop) -> None:
    shop.reading(shop.north, "100", timezone.now() - timedelta(hours=9))
    typed = {"ref": new_ref(), "press": shop.north.pk, "crop": shop.rape.pk, "seed_unit": "kg"}
    text = phone.post("/log/run/", {**typed, "meter_h": "107", "seed": "350"}, follow=True).content.decode()
    assert "Saved:" in text
    assert "in the past waits" not in text


def test_a_viewer_may_not_say_it(client: Client, shop: Shop) -> None:
    client.force_login(User.objects.create_user("v", role=Role.VIEWER))
    assert client.post("/log/typed-up/").status_code == 403
    assert TypedUp.objects.count() == 0
