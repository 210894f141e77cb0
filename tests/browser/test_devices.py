"""Where somebody is signed in, in a real browser: the use is noted; a phone is signed out without script."""

from __future__ import annotations

from collections.abc import Callable

from django.test import Client
from playwright.sync_api import BrowserContext, Page

from wearlog.people.models import Mill, Session, User


def olga() -> User:
    Mill.objects.create(name="Hillside mill", time_zone="Europe/Vienna", units="metric")
    return User.objects.create_user("owner", name="Olga", role="owner")


def test_a_page_that_is_only_looked_at_has_its_script_note_the_use_once(
    phone: Page, sign_in: Callable[[Page, User], None]
) -> None:
    sign_in(phone, olga())
    with phone.expect_response("**/me/devices/in-use/") as answer:
        phone.goto("/")
    assert answer.value.status == 204
    assert Session.objects.get().used_at is not None
    asked: list[str] = []
    phone.on("request", lambda request: asked.append(request.url))
    phone.goto("/me/devices/", wait_until="networkidle")
    assert asked
    assert not [url for url in asked if "in-use" in url or "in_use" in url]
    assert "last used" in phone.inner_text("main")


def test_a_lost_phone_is_signed_out_without_script(
    context_of: Callable[..., BrowserContext], sign_in: Callable[[Page, User], None]
) -> None:
    owner = olga()
    lost = Client()
    lost.force_login(owner)
    page = context_of(viewport={"width": 360, "height": 740}, java_script_enabled=False).new_page()
    sign_in(page, owner)
    page.goto("/me/devices/")
    page.locator("li:not(:has-text('this device')) button").click()
    assert "Signed out: the next thing asked from there leads to the sign-in." in page.inner_text("main")
    assert lost.get("/").status_code == 302
    assert page.locator("main li button").count() == 1
