"""A press with one rule that trips by the calendar, and a mail server."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

import pytest
from pytest_django import Settings

from tests.dates import at
from tests.mills.greasing import Greasing
from tests.reminders.smtp import MailServer, mail_server
from wearlog.equipment.models import Press
from wearlog.lockout.models import EnergySource
from wearlog.people.models import Mill, User
from wearlog.service.models import Rule, Service


@pytest.fixture
def greasing(mill: Mill) -> Greasing:
    press = Press.objects.create(code="P1", name="North press")
    EnergySource.objects.create(
        press=press, source="Main motor", kind="electrical", isolate_at="disconnect Q1"
    )
    rule = Rule.objects.create(
        code="grease bearing",
        action="lubricate",
        press=press,
        every_days=Decimal(30),
        lead_days=Decimal(7),
        instructions="Two strokes of the gun, wipe off the rest.",
    )
    done = Service.objects.create(
        ref="first", done_at=at("2026-03-01 12:00"), press=press, action="lubricate", rule=rule
    )
    return Greasing(press=press, rule=rule, done=done)


@pytest.fixture
def smtp(settings: Settings) -> Iterator[MailServer]:
    """A real server that the site's mail goes to."""
    with mail_server() as server:
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST = "127.0.0.1"
        settings.EMAIL_PORT = server.port
        settings.EMAIL_HOST_USER = settings.EMAIL_HOST_PASSWORD = ""
        settings.EMAIL_USE_TLS = settings.EMAIL_USE_SSL = False
        settings.EMAIL_TIMEOUT = 5
        yield server


@pytest.fixture
def maintainer(mill: Mill) -> User:
    return User.objects.create_user(
        "maintainer", name="Mara", email="maintainer@mill.example", role="maintainer"
    )
