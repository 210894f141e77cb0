"""A reminder for one task as a mail."""

from __future__ import annotations

from datetime import date

from django.core.mail import EmailMultiAlternatives

from tests.dates import at
from wearlog.forecasts.items import DueItem
from wearlog.lockout.cautions.caution import Caution
from wearlog.people.models import User
from wearlog.reminders.channels.mail.sending import compose, message_id
from wearlog.reminders.models import OutboxRow

ITEM = DueItem(
    rule="die limit",
    action="replace",
    press="P1",
    position="die",
    part="D-07",
    edge="B",
    state="coming",
    trigger="limit",
    due_on=date(2026, 9, 3),
    early_on=date(2026, 8, 27),
    late_on=date(2026, 9, 12),
    left_kg=8400.0,
    left_h=140.0,
    left_days=30.0,
    basis="measured",
    why="Edge B has worn 0.31 of 0.40 mm after 27 t; 8.4 t left.",
    caution=Caution(
        signal_word="WARNING",
        text="The screw can start by itself. Try the start before you touch anything.",
        isolation_points=("Main motor (electrical): isolate at Q1", "Heater (heat): isolate at Q2"),
    ),
    rule_id=3,
    press_id=1,
    position_id=2,
    part_id=7,
    fitting_id=11,
    kind="die",
    press_name="North press",
    instructions="Heat the head first.\nMind the thread.",
    size_mm=6.0,
    lead_days=14.0,
    cycle="fitting 11",
)


MADE_AT = at("2026-08-20 08:00")


OLGA = User(pk=5, name="Olga", email="o@mill.example")


def mail_of(item: DueItem = ITEM, units: str = "metric") -> EmailMultiAlternatives:
    row = OutboxRow(pk=1, message_id=message_id("a" * 64), made_at=MADE_AT)
    return compose(row=row, item=item, person=OLGA, units=units)


def html_of(mail: EmailMultiAlternatives) -> str:
    ((content, kind),) = mail.alternatives
    assert kind == "text/html"
    return str(content)
