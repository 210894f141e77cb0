"""Typing up the past on a phone: the page says that mail waits, and two taps let it go."""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.browser.program import SignIn
from tests.mills.log_shop import Shop
from wearlog.people.models import Mill, Role, User
from wearlog.reminders.models import TypedUp
from wearlog.runs.models import Run


def test_an_old_run_takes_two_more_fields_and_two_taps_say_that_the_past_is_typed_up(
    phone: Page, sign_in: SignIn, fresh_log: None
) -> None:
    Mill.objects.create(name="Test mill", time_zone="Europe/Vienna", units="metric")
    shop = Shop()
    ines = User.objects.create_user("ines", name="Ines", role=Role.MAINTAINER)
    shop.run(shop.north, shop.rape, timezone.now() - timedelta(days=40), "8", "400", by=ines)
    Run.objects.update(entered_at=timezone.now() - timedelta(days=39))
    sign_in(phone, ines)
    address = f"/log/run/?press={shop.north.pk}"
    phone.goto(address)
    banner = phone.get_by_text("You are typing up the past.")
    expect(banner).to_have_count(0)
    phone.get_by_label("Seed pressed").fill("350 kg")
    phone.get_by_text("Other times, meter").tap()
    old = (timezone.now() - timedelta(days=30)).strftime("%Y-%m-%dT12:00")
    for label, text in (("Ended", old), ("Hours pressed", "7,5 h")):
        phone.get_by_label(label).first.fill(text)
    phone.get_by_role("button", name="Save the run").tap()
    expect(phone.get_by_text("Saved: 350 kg of rapeseed")).to_be_visible()

    phone.goto(address)
    expect(banner).to_be_visible()
    phone.get_by_role("link", name="Done typing up").tap()
    phone.get_by_role("button", name="Typed up").tap()
    expect(phone.get_by_role("button", name="Typed up")).to_have_count(0)
    assert TypedUp.objects.get().person == ines
    phone.goto(address)
    expect(banner).to_have_count(0)
