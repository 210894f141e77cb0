"""The end of a sunflower season at one press, from the phone to the mailbox."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.management import call_command
from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.mills.log_shop import Shop
from tests.mills.wishes import any_hour
from tests.reminders.smtp import MailServer, mail_server
from wearlog.equipment.models import Fitting
from wearlog.lockout.models import EnergySource
from wearlog.people.models import Mill, Role, User
from wearlog.reminders.models import OutboxRow
from wearlog.runs.models import Reading, Run
from wearlog.service.models import Rule, Service

SignIn = Callable[[Page, User], None]


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
def ines(fresh_log: None) -> User:
    Mill.objects.create(name="Test mill", time_zone="Europe/Vienna", units="metric")
    person = User.objects.create_user("ines", name="Ines", email="ines@mill.example", role=Role.MAINTAINER)
    any_hour(person)
    return person


@pytest.fixture
def shop(ines: User) -> Shop:
    """A press with its 10 mm die in, three days into sunflower, and the rule for the screw after it."""
    shop = Shop()
    now = timezone.now()
    Fitting.objects.filter(pk=shop.d1_on.pk).update(removed_at=now - timedelta(days=20))
    shop.fit(shop.d3, "A", shop.die_place, now - timedelta(days=20))
    for back, meter in ((3, "100"), (2, "108"), (1, "116")):
        end = now - timedelta(days=back)
        run = shop.run(shop.north, shop.sunflower, end - timedelta(hours=8), None, "150", by=ines)
        Run.objects.filter(pk=run.pk).update(ended_at=end, ends_at=end)
        shop.reading(shop.north, meter, end)
    EnergySource.objects.create(
        press=shop.north, source="main motor", kind="electrical", isolate_at="switch Q1 on the north wall"
    )
    EnergySource.objects.create(press=shop.north, source="heater", kind="thermal", isolate_at="plug H1")
    Rule.objects.create(
        code="screw after sunflower",
        action="inspect",
        kind="screw",
        after_crop=shop.sunflower,
        lead_days=Decimal(3),
        instructions="Look for blue tint and rounded flights.",
    )
    return shop


def log_run(phone: Page, meter: str, kilograms: str) -> None:
    phone.get_by_label("Hour meter shows").fill(meter)
    phone.get_by_label("Seed pressed").fill(kilograms)
    phone.get_by_role("button", name="Save the run").tap()


def a_night_passes() -> None:
    """Everything recorded so far moves into the past, the earliest first, so that nothing ever overlaps."""
    night = timedelta(hours=10)
    for run in Run.objects.order_by("started_at"):
        times = {"started_at": run.started_at - night, "ends_at": run.ends_at and run.ends_at - night}
        Run.objects.filter(pk=run.pk).update(ended_at=run.ended_at and run.ended_at - night, **times)
    for reading in Reading.objects.order_by("read_at"):
        Reading.objects.filter(pk=reading.pk).update(read_at=reading.read_at - night)
    for fitting in Fitting.objects.order_by("fitted_at"):
        removed_at = fitting.removed_at and fitting.removed_at - night
        Fitting.objects.filter(pk=fitting.pk).update(
            fitted_at=fitting.fitted_at - night, removed_at=removed_at
        )


def test_a_run_a_flip_and_the_screw_inspection_that_falls_due(
    phone: Page, sign_in: SignIn, shop: Shop, ines: User, mails: MailServer
) -> None:
    sign_in(phone, ines)

    # The last sunflower of the season: two numbers.
    phone.goto("/")
    phone.get_by_role("link", name="Log a run").tap()
    log_run(phone, "124", "151,5")
    expect(phone.get_by_text("151.5 kg of sunflower on North press")).to_be_visible()

    # The die is turned to its second edge.
    phone.goto(f"/log/work/?press={shop.north.pk}")
    phone.get_by_role("link", name="Flip die").tap()
    expect(phone.get_by_text("switch Q1 on the north wall").first).to_be_visible()
    phone.get_by_role("button", name="Save the work").tap()
    expect(phone.get_by_text("Flipped die D-3, edge A · North press.")).to_be_visible()

    # After the night another crop begins, and with it the inspection is due.
    a_night_passes()
    phone.goto(f"/log/run/?press={shop.north.pk}")
    phone.get_by_text("rapeseed", exact=True).tap()
    log_run(phone, "124.5", "12")
    saved = phone.get_by_text("12 kg of rapeseed on North press")
    doubt = phone.get_by_role("checkbox", name="Yes, it is right")
    expect(saved.or_(doubt).first).to_be_visible()
    if doubt.count():
        for tick in doubt.all():
            tick.tap()
        phone.get_by_role("button", name="Save the run").tap()
    expect(saved).to_be_visible()
    phone.goto("/")
    due = phone.locator(".press-frame").filter(has_text="Inspect screw")
    expect(due).to_contain_text("sunflower")
    expect(due.get_by_text("WARNING")).to_be_visible()
    expect(due).to_contain_text("switch Q1 on the north wall")
    expect(due).to_contain_text("plug H1")

    # The mail comes once, with the reason, the caution and a link that opens the job.
    call_command("remind")
    call_command("remind")
    assert [mail["To"] for mail in mails.mails] == ["ines@mill.example"]
    body = mails.mails[0].get_body(("plain",))
    assert body is not None
    text = " ".join(body.get_content().split())
    assert "sunflower" in text
    assert "WARNING" in text
    assert "switch Q1 on the north wall" in text
    assert OutboxRow.objects.get().state == "sent"
    link = next(word for word in text.split() if "/mail/job/" in word)
    phone.goto("/" + link.split("/", 3)[3])
    expect(phone.get_by_text("switch Q1 on the north wall").first).to_be_visible()
    phone.get_by_role("link", name="Log this work").tap()
    phone.get_by_label("What was found").fill("bright, no tint")
    phone.get_by_role("button", name="Save the work").tap()
    expect(phone.get_by_text("Saved:").or_(phone.get_by_text("Inspected screw"))).to_be_visible()
    assert Service.objects.get(action="inspect").finding == "bright, no tint"
    phone.goto("/")
    expect(phone.locator(".job:not(.later)").filter(has_text="Inspect screw")).to_have_count(0)
