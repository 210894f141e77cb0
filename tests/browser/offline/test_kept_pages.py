"""Pages that were seen open without a network, for the person who saw them and nobody else."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, BrowserContext, Page, expect
from pytest_django.live_server_helper import LiveServer

from tests.browser.axe import findings
from tests.browser.offline.kept import (
    NOTHING_KEPT,
    PASSWORD,
    by_password,
    end_from_afar,
    kept_anywhere,
    see,
    sign_out,
    until,
)
from tests.browser.program import FLAGS, SignIn
from tests.mills.log_shop import Shop
from tests.requirements import headless_program
from wearlog.people.models import Role, Session, User
from wearlog.runs.models import Run, ShiftNote
from wearlog.web.offline.views import worker


def test_the_log_page_opens_without_a_network_and_a_run_logged_there_arrives_later(
    pocket: BrowserContext, page: Page, shop: Shop
) -> None:
    see(page, "/")
    see(page, f"/log/run/?press={shop.north.pk}")
    page.close()
    pocket.set_offline(True)
    page = pocket.new_page()
    page.goto(f"/log/run/?press={shop.north.pk}")
    expect(page.locator("#kept-from")).to_contain_text("Kept from ")
    expect(page.locator("#kept-from")).to_contain_text(": no network.")
    assert findings(page) == []
    page.get_by_text("rapeseed", exact=True).tap()
    page.get_by_label("Hours pressed").fill("0.01")
    page.get_by_label("Seed pressed").fill("6")
    page.get_by_role("button", name="Save the run").tap()
    expect(page.locator("#unsent")).to_have_text("1 entry is not sent yet")
    assert not Run.objects.exists()
    pocket.set_offline(False)
    expect(page.locator("#unsent")).to_be_hidden()
    assert Run.objects.get().seed_kg == Decimal(6)


def test_with_a_network_the_page_is_the_servers_own_and_the_kept_one_is_renewed(
    pocket: BrowserContext, page: Page, shop: Shop
) -> None:
    address = f"/log/run/?press={shop.north.pk}"
    see(page, address)
    shop.north.name = "Press by the door"
    shop.north.save()
    page.goto(address)
    expect(page.locator("header .aside")).to_have_text("Press by the door")
    expect(page.locator("#kept-from")).to_be_hidden()
    until(
        page,
        "async (address) => (await (await caches.match(address))?.text())?.includes('Press by the door')",
        address,
    )
    pocket.set_offline(True)
    page.goto(address)
    expect(page.locator("header .aside")).to_have_text("Press by the door")
    expect(page.locator("#kept-from")).to_be_visible()


def test_a_page_never_seen_says_so_and_lists_what_is_kept_and_what_waits(
    pocket: BrowserContext, page: Page
) -> None:
    see(page, "/log/note/")
    pocket.set_offline(True)
    page.get_by_label("For whoever comes next").fill("belt squeals")
    page.get_by_role("button", name="Leave the note").tap()
    expect(page.locator("#unsent")).to_have_text("1 entry is not sent yet")
    page.goto("/presses/")
    expect(page.get_by_text("the page that you asked for is not kept on this device")).to_be_visible()
    expect(page.locator("#waiting-list")).to_contain_text("belt squeals")
    expect(page.locator("#kept-pages").get_by_role("link", name="Leave a note")).to_be_visible()
    assert findings(page) == []
    page.locator("#kept-pages").get_by_role("link", name="Leave a note").tap()
    expect(page.get_by_role("heading", name="Leave a note")).to_be_visible()


def test_nothing_is_kept_but_pages_of_the_log(
    pocket: BrowserContext, sign_in: SignIn, shop: Shop, ines: User
) -> None:
    page = pocket.new_page()
    sign_in(page, User.objects.create_user("owner", name="Olga", role=Role.OWNER))
    see(page, "/")
    for address in (
        "/people/",
        "/prices/",
        "/me/",
        f"/presses/{shop.north.pk}/isolation/",
        "/log/",
        "/sign-in/",
    ):
        page.goto(address)
    see(page, f"/log/work/?fitting={shop.d1_on.pk}&action=flip")
    assert kept_anywhere(page) == ["/", "/log/waiting/", "/log/work/"]


def test_what_was_kept_goes_when_somebody_signs_out(pocket: BrowserContext, shop: Shop, ines: User) -> None:
    page = pocket.new_page()
    by_password(page, "ines")
    see(page, "/")
    sign_out(page)
    expect(page.get_by_role("button", name="Sign in")).to_be_visible()
    assert kept_anywhere(page) == []
    pocket.set_offline(True)
    page.goto("/")
    expect(page.get_by_text("This page is not kept on this device.")).to_be_visible()


def test_what_was_kept_goes_at_once_where_somebody_signs_out_without_a_network(
    pocket: BrowserContext, shop: Shop, ines: User
) -> None:
    page = pocket.new_page()
    by_password(page, "ines")
    see(page, "/")
    other = pocket.new_page()
    other.goto("/log/waiting/")
    pocket.set_offline(True)
    with page.expect_event("requestfailed"):
        sign_out(page)
    until(other, NOTHING_KEPT)


def test_the_next_person_on_a_shared_phone_sees_nothing_of_the_one_before(
    pocket: BrowserContext, shop: Shop, ines: User
) -> None:
    User.objects.create_user("otto", PASSWORD, name="Otto", role=Role.OPERATOR)
    page = pocket.new_page()
    by_password(page, "ines")
    see(page, "/")
    see(page, f"/log/run/?press={shop.north.pk}")
    Session.objects.all().delete()
    page.goto("/")
    by_password(page, "otto")
    see(page, "/")
    assert kept_anywhere(page) == ["/", "/log/waiting/"]
    pocket.set_offline(True)
    page.goto("/")
    page.get_by_text("Set-up").tap()
    expect(page.get_by_text("Signed in as Otto")).to_be_visible()


def test_a_sign_in_that_ran_out_leaves_the_kept_pages_where_they_are(
    pocket: BrowserContext, page: Page
) -> None:
    see(page, "/")
    Session.objects.update(expire_date=timezone.now())
    page.goto("/")
    expect(page.get_by_role("button", name="Sign in")).to_be_visible()
    pocket.set_offline(True)
    page.goto("/")
    expect(page.locator("#kept-from")).to_be_visible()


def test_what_was_kept_goes_when_the_device_was_signed_out_from_afar(
    pocket: BrowserContext, page: Page, ines: User
) -> None:
    see(page, "/")
    see(page, "/log/note/")
    end_from_afar(ines)
    # An answer that no script reads comes first, such as a picture's: the session's cookie is gone with it.
    assert pocket.request.get("/presses/", max_redirects=0).status == 302
    page.goto("/")
    expect(page.get_by_role("button", name="Sign in")).to_be_visible()
    until(page, NOTHING_KEPT)
    pocket.set_offline(True)
    page.goto("/")
    expect(page.get_by_text("This page is not kept on this device.")).to_be_visible()


def test_a_device_signed_out_from_afar_forgets_its_pages_as_it_sends_and_keeps_what_waits(
    pocket: BrowserContext, page: Page, sign_in: SignIn, ines: User
) -> None:
    see(page, "/")
    see(page, "/log/note/")
    pocket.set_offline(True)
    page.get_by_label("For whoever comes next").fill("belt squeals")
    page.get_by_role("button", name="Leave the note").tap()
    expect(page.locator("#unsent")).to_have_text("1 entry is not sent yet")
    end_from_afar(ines)
    pocket.set_offline(False)
    until(page, NOTHING_KEPT)
    assert not ShiftNote.objects.exists()
    sign_in(page, ines)
    page.goto("/log/waiting/")
    expect(page.get_by_text("Everything typed on this device has been sent.")).to_be_visible()
    assert ShiftNote.objects.get().text == "belt squeals"
    see(page, "/")


def test_what_was_said_once_is_not_said_again_by_the_kept_page(pocket: BrowserContext, page: Page) -> None:
    see(page, "/")
    page.goto("/log/note/")
    page.get_by_label("For whoever comes next").fill("belt squeals")
    page.get_by_role("button", name="Leave the note").tap()
    expect(page.get_by_text("The note stands on the day page.")).to_be_visible()
    until(page, "async () => (await (await caches.match('/'))?.text())?.includes('belt squeals')")
    pocket.set_offline(True)
    page.goto("/")
    expect(page.get_by_text("belt squeals")).to_be_visible()
    expect(page.get_by_text("The note stands on the day page.")).to_have_count(0)


def test_a_browser_started_anew_without_a_network_logs_a_run_that_arrives_later(
    browser: Browser, live_server: LiveServer, sign_in: SignIn, shop: Shop, ines: User, tmp_path: Path
) -> None:
    """The phone was off in between: nothing but what is on its disk is left."""

    def start() -> BrowserContext:
        return browser.browser_type.launch_persistent_context(
            tmp_path, executable_path=headless_program(), args=FLAGS, base_url=live_server.url
        )

    address = f"/log/run/?press={shop.north.pk}"
    pocket = start()
    page = pocket.new_page()
    sign_in(page, ines)
    see(page, address)
    pocket.close()
    pocket = start()
    pocket.set_offline(True)
    page = pocket.new_page()
    page.goto(address)
    expect(page.locator("#kept-from")).to_be_visible()
    page.get_by_text("rapeseed", exact=True).click()
    page.get_by_label("Hours pressed").fill("0.01")
    page.get_by_label("Seed pressed").fill("7")
    page.get_by_role("button", name="Save the run").click()
    expect(page.locator("#unsent")).to_have_text("1 entry is not sent yet")
    pocket.close()
    assert not Run.objects.exists()
    pocket = start()
    page = pocket.new_page()
    sign_in(page, ines)
    page.goto("/log/waiting/")
    expect(page.get_by_text("Everything typed on this device has been sent.")).to_be_visible()
    assert Run.objects.get().seed_kg == Decimal(7)
    pocket.close()


def test_a_new_version_renews_what_is_kept_without_anybody_being_stuck(
    pocket: BrowserContext, page: Page, shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = f"/log/run/?press={shop.north.pk}"
    see(page, address)
    see(page, "/")
    shop.north.name = "Press by the door"
    shop.north.save()
    monkeypatch.setattr(worker, "fingerprint", lambda: "another version")
    monkeypatch.setattr(worker, "kept_fingerprint", lambda: "another version")
    page.goto("/")
    until(
        page,
        "async (address) => (await (await caches.match(address))?.text())?.includes('Press by the door')",
        address,
    )
    pocket.set_offline(True)
    page.goto(address)
    expect(page.locator("#kept-from")).to_be_visible()
    expect(page.locator("header .aside")).to_have_text("Press by the door")
