"""From an empty mill to the first dates in one sitting: two presses, a run, and a reminder in the mailbox."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from django.core.management import call_command
from django.utils import timezone
from playwright.sync_api import Locator, Page, Request, expect

from tests.browser.axe import findings_by_day_and_night
from tests.browser.narrow import narrow_page
from tests.browser.program import MakeContext, SignIn
from tests.reminders.smtp import MailServer, mail_server
from wearlog.equipment.models import Part, Press
from wearlog.forecasts.memory.queries import due_items
from wearlog.people.models import Mill, User

MOST_SAVES, MOST_TYPED = 6, 30


@pytest.fixture
def mails(settings: Any) -> Iterator[MailServer]:
    """A real mail server, and the site set to send there."""
    with mail_server() as server:
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", server.port
        settings.EMAIL_HOST_USER = settings.EMAIL_HOST_PASSWORD = ""
        settings.EMAIL_USE_TLS = settings.EMAIL_USE_SSL = False
        yield server


@pytest.fixture
def olga(fresh_log: None) -> User:
    """The owner of an empty mill in which it is early afternoon, whatever the hour of the test."""
    east = 14 - timezone.now().hour
    zone = f"Etc/GMT{-east:+d}" if east else "Etc/GMT"
    Mill.objects.create(name="Larch mill", time_zone=zone, units="metric")
    return User.objects.create_user("olga", name="Olga", role="owner")


@dataclass
class Hand:
    """Types and saves on a page, and counts both. Ticks and picks are not counted; a save is a form sent."""

    page: Page
    typed: int = 0
    saves: int = 0

    def __post_init__(self) -> None:
        self.page.on("request", self.count)

    def count(self, request: Request) -> None:
        by_itself = request.url.endswith("/in-use/")  # what a page sends without a person's doing
        if request.method == "POST" and not by_itself:
            self.saves += 1

    def type(self, field: Locator, text: str) -> None:
        field.fill(text)
        self.typed += 1

    def seat(self, name: str, **facts: str) -> None:
        """Types what is known of what sits on a place."""
        words = {"mark": "Mark", "size": "Size", "hours": "Hours so far"}
        place = self.page.get_by_role("group", name=name)
        for fact, text in facts.items():
            self.type(place.get_by_label(words[fact]), text)

    def isolate(self, source: str, where: str) -> None:
        self.page.get_by_label(source).check()
        self.type(self.page.locator(".source").filter(has_text=source).get_by_label("Isolated"), where)


def test_two_presses_lead_to_dates_of_screw_and_die_and_to_a_reminder_by_mail(
    phone: Page, sign_in: SignIn, olga: User, mails: MailServer
) -> None:
    sign_in(phone, olga)
    hand = Hand(phone)

    phone.goto("/")
    expect(phone.get_by_text("Step 1 of 5")).to_be_visible()
    expect(phone.get_by_text("Nothing due")).to_have_count(0)
    phone.get_by_role("link", name="Hole-cylinder press").tap()
    hand.type(phone.get_by_label("Short name"), "North")
    hand.type(phone.get_by_label("Usual seed in an hour"), "13")
    hand.seat("Screw", mark="S-04", size="60", hours="120")
    hand.seat("Die", mark="D8-04", size="8", hours="310")
    hand.isolate("Main motor", "switch Q1 by the door")
    hand.isolate("Heater circuit", "breaker F4")
    for crop in ("rapeseed", "sunflower"):
        phone.get_by_label(crop).check()
    phone.get_by_role("button", name="Write it down, then another like it").tap()

    expect(phone.get_by_text("Another like North")).to_be_visible()
    hand.type(phone.get_by_label("Short name"), "South")
    hand.seat("Screw", mark="S-05", hours="40")
    hand.seat("Die", mark="D8-05", hours="95")
    hand.isolate("Main motor", "switch Q2 by the door")
    hand.isolate("Heater circuit", "breaker F5")
    phone.get_by_role("button", name="Write it down", exact=True).tap()

    # What is done is ticked; the run is next, unless a date stands by now: the die of the first press is due.
    expect(phone.get_by_text("Saved: South.")).to_be_visible()
    phone.goto("/log/run/?press=" + str(Press.objects.get(code="North").pk))
    phone.get_by_text("rapeseed", exact=True).tap()
    hand.type(phone.get_by_label("Seed pressed"), "52")
    phone.get_by_text("Other times, meter").tap()
    hand.type(phone.get_by_label("Hours pressed"), "4")
    phone.get_by_role("button", name="Save the run").tap()
    expect(phone.get_by_text("52 kg of rapeseed on North")).to_be_visible()
    expect(phone.get_by_text("No part collects the wear")).to_have_count(0)

    phone.goto("/me/")
    hand.type(phone.get_by_label("Mail address"), "olga@mill.example")
    phone.get_by_role("button", name="Save").tap()
    expect(phone.get_by_text("Your settings are saved.")).to_be_visible()

    # Today has the die's date by tonnes, with its reason and caution, and no list of steps any more.
    phone.goto("/")
    expect(phone.get_by_text("Step 1 of 5")).to_have_count(0)
    die = phone.get_by_role("listitem").filter(has_text="D8-04")
    expect(die).to_contain_text("4.08 t of 3.00 t since it was new, 4.03 t of it before this log")
    expect(phone.get_by_role("note").filter(has_text="WARNING")).to_contain_text("switch Q1 by the door")

    # The screw's date by hours lies ahead, at the pace of the one run.
    screw = next(
        item for item in due_items(as_of=timezone.localdate()) if item.part == "S-04" and item.due_on
    )
    assert (screw.trigger, screw.left_h) == ("hours", pytest.approx(300 - 124))
    assert screw.due_on is not None
    assert screw.due_on > timezone.localdate()

    call_command("remind")
    assert [mail["To"] for mail in mails.mails] == ["olga@mill.example"]
    body = mails.mails[0].get_body(("plain",))
    assert body is not None
    text = " ".join(body.get_content().split())
    assert "D8-04" in text
    assert "switch Q1 by the door" in text

    assert Part.objects.count() == 4
    assert (hand.saves, hand.typed) == (4, 20)
    assert hand.saves <= MOST_SAVES
    assert hand.typed <= MOST_TYPED


@pytest.mark.parametrize("build", ["hole-cylinder", "cage", "twin"])
def test_the_sheet_of_each_build_is_accessible_and_as_narrow_as_a_narrow_phone(
    context_of: MakeContext, sign_in: SignIn, olga: User, build: str
) -> None:
    page = narrow_page(context_of)
    sign_in(page, olga)
    for address in ("/", "/presses/new/", f"/presses/new/?build={build}", "/crops/pick/"):
        page.goto(address)
        assert not findings_by_day_and_night(page), address
        assert page.evaluate("document.documentElement.scrollWidth") <= 320, address
