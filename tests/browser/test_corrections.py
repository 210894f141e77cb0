"""An entry of the log is put right on its own page, which a touch on the entry opens."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

from django.utils import timezone
from playwright.sync_api import Locator, Page, expect

from tests.browser.program import SignIn
from tests.mills.log_shop import Shop
from wearlog.people.models import Mill, Role, User


def test_a_run_is_corrected_by_three_taps_and_two_fields_and_crossed_out_by_four_and_one(
    phone: Page, sign_in: SignIn, fresh_log: None
) -> None:
    Mill.objects.create(name="Test mill", time_zone="Europe/Vienna", units="metric")
    shop = Shop()
    run = shop.run(shop.north, shop.rape, timezone.now() - timedelta(hours=9), "7.5", "3500")
    sign_in(phone, User.objects.create_user("ines", name="Ines", role=Role.MAINTAINER))
    taps, typed = 0, 0

    def tap(control: Locator) -> None:
        nonlocal taps
        control.tap()
        taps += 1

    def type_into(label: str, text: str) -> None:
        nonlocal typed
        phone.get_by_label(label).fill(text)
        typed += 1

    phone.goto("/log/")
    for words in ("Correct", "Cross out"):
        expect(phone.get_by_role("link", name=words)).to_have_count(0)
    tap(phone.get_by_role("link", name="rapeseed"))
    tap(phone.get_by_role("link", name="Correct", exact=True))
    type_into("Seed pressed", "350")
    type_into("Why", "one zero too many")
    tap(phone.get_by_role("button", name="Correct it"))
    expect(phone.get_by_role("status").get_by_text("Corrected.")).to_be_visible()
    assert (taps, typed) == (3, 2)
    run.refresh_from_db()
    assert run.seed_kg == Decimal(350)

    taps, typed = 0, 0
    phone.goto(f"/presses/{shop.north.pk}/")
    tap(phone.get_by_text("Latest entries"))
    tap(phone.get_by_role("link", name="350 kg"))
    tap(phone.get_by_role("link", name="Cross out", exact=True))
    type_into("Why", "entered twice")
    tap(phone.get_by_role("button", name="Cross it out"))
    expect(phone.get_by_role("status").get_by_text("Crossed out.")).to_be_visible()
    assert (taps, typed) == (4, 1)
    run.refresh_from_db()
    assert run.voided_at is not None
