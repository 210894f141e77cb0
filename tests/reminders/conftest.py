"""A press with one rule that trips by the calendar, and a mail server."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

import pytest
from pytest_django import Settings

from tests.conftest import at
from tests.reminders.smtp import MailServer, mail_server
from wearlog.equipment.models import Press
from wearlog.history.models import LogVersion
from wearlog.lockout.models import EnergySource
from wearlog.people.models import Mill, User
from wearlog.service.models import Rule, Service


@dataclass
class Greasing:
    """Press P1, its bearing to be greased every 30 days, last done on 1 March 2026 at noon: due on 31 March,
    told of from 24 March (7 days ahead), overdue from 8 April (7 days after)."""

    press: Press
    rule: Rule
    done: Service

    def log(self, when: datetime, ref: str = "again") -> Service:
        service = Service.objects.create(
            ref=ref, done_at=when, press=self.press, action="lubricate", rule=self.rule
        )
        LogVersion.raise_by_one()
        return service

    def correct(self, when: datetime) -> None:
        Service.objects.filter(pk=self.done.pk).update(done_at=when)
        LogVersion.raise_by_one()


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
    LogVersion.raise_by_one()
    return Greasing(press=press, rule=rule, done=done)


COMING = at("2026-03-25 08:00")
DUE = at("2026-04-01 08:00")
OVERDUE = at("2026-04-10 08:00")


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
