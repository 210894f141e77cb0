"""A list of several tasks as a mail."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

from django.core.mail import EmailMultiAlternatives

from tests.dates import at
from tests.reminders.channels.mail.mails import ITEM, OLGA
from wearlog.forecasts.items import DueItem
from wearlog.lockout.cautions.queries import caution_for
from wearlog.lockout.models import EnergySource
from wearlog.reminders.channels.mail.sending import compose_digest, message_id
from wearlog.reminders.models import OutboxRow, Stage
from wearlog.reminders.outbox.calls import Line

MADE_AT = at("2026-08-20 08:00")


def mail_of(
    items: Sequence[DueItem], lines: Sequence[Line] = (), units: str = "metric"
) -> EmailMultiAlternatives:
    row = OutboxRow(pk=1, message_id=message_id("b" * 64), made_at=MADE_AT, stage=Stage.DIGEST)
    return compose_digest(row=row, items=items, person=OLGA, units=units, lines=lines)


def task(
    press: str, *, action: str = "replace", kind: str = "die", state: str = "due", points: int = 1
) -> DueItem:
    """A task at a press with so many isolation points, and the caution that the house makes for it."""
    sources = [
        EnergySource(source=f"Motor {number}", kind="electrical", isolate_at=f"{press}-Q{number}")
        for number in range(points)
    ]
    return dataclasses.replace(
        ITEM,
        press=press,
        press_name=f"Press {press}",
        press_id=ord(press[0]),
        action=action,
        kind=kind,
        state=state,
        rule=f"{action} {kind}",
        why=f"{press}: {action} {kind} is {state}.",
        caution=caution_for(action=action, kind=kind, sources=sources),
    )


THREE = [task("A"), task("A", action="clean", kind="screw", state="overdue"), task("B", points=2)]
