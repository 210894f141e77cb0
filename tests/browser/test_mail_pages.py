"""The pages that mails lead to, and those about where reminders go, in a real browser on a phone."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect
from pytest_django import Settings

from tests.browser.addresses import token_of
from tests.browser.axe import findings_by_day_and_night
from tests.browser.narrow import narrow_page
from tests.browser.program import MakeContext
from tests.mills.look_mill import LookMill
from tests.reminders.hook import hook_server
from wearlog.forecasts.memory.queries import due_items
from wearlog.people.models import Mill, User
from wearlog.reminders.channels.mail.links import SINGLE, job_url, stop_url
from wearlog.reminders.channels.webhook import reachable
from wearlog.reminders.models import StoppedAddress, Webhook


@pytest.fixture
def owner(fresh_log: None) -> User:
    Mill.objects.create(name="Hillside mill", time_zone="Europe/Vienna", currency="EUR", units="metric")
    owner = User.objects.create_user("owner", name="Olga", email="olga@mill.example", role="owner")
    LookMill(timezone.now()).running()
    StoppedAddress.objects.create(
        channel="mail",
        address="somebody.with.a.very.long.address@a-very-long-name-of-a-host.mill.example",
        person=owner,
        reason="550 5.1.1 <somebody.with.a.very.long.address@a-very-long-name>: Recipient address rejected",
        stopped_at=timezone.now(),
    )
    return owner


def test_axe_finds_nothing_on_the_pages_of_a_mails_links_signed_in_or_not(
    context_of: MakeContext,
    sign_in: Callable[[Page, User], None],
    owner: User,
) -> None:
    page = narrow_page(context_of)
    today = timezone.localdate()
    job = f"/mail/job/{token_of(job_url(due_items(as_of=today)[0], owner, made_on=today))}/"
    stop = f"/mail/stop/{token_of(stop_url(owner, SINGLE))}/"
    wrong: list[str] = []

    def look(address: str) -> None:
        page.goto(address)
        wrong.extend(f"{address}: {finding}" for finding in findings_by_day_and_night(page))
        width = page.evaluate("document.documentElement.scrollWidth")
        if width > 320:
            wrong.append(f"{address}: {width} pixels wide")

    for address in (job, "/mail/job/broken/", stop, "/mail/stop/broken/"):
        look(address)
    sign_in(page, owner)
    for address in (job, stop, "/mail/addresses/", "/webhook/"):
        look(address)
    assert not wrong, "\n".join(wrong)


def test_the_button_of_a_mails_stop_link_stops_the_mails_and_says_so(page: Page, owner: User) -> None:
    page.goto(f"/mail/stop/{token_of(stop_url(owner, SINGLE))}/")
    expect(page.get_by_text("No more reminders by mail to olga@mill.example?")).to_be_visible()
    page.get_by_role("button", name="Stop the mails").click()
    expect(page.get_by_text("No more reminders go to this address.")).to_be_visible()
    assert not User.objects.get().gets_mail


def test_an_owner_sets_the_web_hook_up_and_tries_it(
    page: Page, sign_in: Callable[[Page, User], None], owner: User, settings: Settings
) -> None:
    with hook_server() as server:
        settings.WEBHOOK_HOSTS = reachable.read_hosts(f"http://127.0.0.1:{server.port}")
        settings.WEBHOOK_NETWORKS = reachable.read_networks("127.0.0.0/8")
        sign_in(page, owner)
        page.goto("/webhook/")
        page.get_by_label("Web address").fill(server.url)
        page.get_by_role("button", name="Save").click()
        expect(page.get_by_text("whsec_")).to_be_visible()
        page.get_by_role("link", name="Back to the web hook").click()
        page.get_by_role("button", name="Send a test message").click()
        expect(page.get_by_text("The test message was taken.")).to_be_visible()
        assert len(server.posted) == 1
    assert Webhook.objects.get().is_on
