"""A slip in a size on a phone: asked about once, put right by two touches, or saved as it stands by one."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.browser.program import SignIn
from tests.mills.log_shop import Shop
from wearlog.people.models import Mill, Role, User
from wearlog.service.models import Measurement


def test_a_misplaced_point_is_asked_about_and_a_second_press_saves_either_number(
    phone: Page, sign_in: SignIn, fresh_log: None
) -> None:
    Mill.objects.create(name="Test mill", time_zone="Europe/Vienna", units="metric")
    shop = Shop()
    day = timezone.now() - timedelta(days=12)
    Measurement.objects.create(
        ref="g1", part=shop.d1, edge="A", value_mm=Decimal("5.26"), measured_at=day, entered_at=day
    )
    sign_in(phone, User.objects.create_user("ines", name="Ines", role=Role.MAINTAINER))

    def type_in(value: str) -> None:
        phone.goto(f"/log/measurement/?part={shop.d1.pk}")
        phone.locator("[name=edge][value=A]").check(force=True)
        phone.locator("[name=value_mm]").fill(value)
        phone.get_by_role("button", name="Save the gauge").tap()
        expect(phone.get_by_text(f"{value} mm on D-1 is far off")).to_be_visible()
        assert phone.locator("[name=value_mm]").input_value() == value
        assert phone.evaluate("document.documentElement.scrollWidth") <= 360

    type_in("53")
    assert Measurement.objects.count() == 1
    phone.get_by_text("No, 5.30 mm is meant").tap()
    phone.get_by_role("button", name="Save the gauge").tap()
    expect(phone.get_by_role("status").get_by_text("5.3")).to_be_visible()
    assert Measurement.objects.latest("pk").value_mm == Decimal("5.3")

    type_in("54")
    phone.get_by_role("button", name="Save the gauge").tap()
    expect(phone.get_by_role("status").get_by_text("54")).to_be_visible()
    assert Measurement.objects.latest("pk").value_mm == 54
    assert Measurement.objects.count() == 3
