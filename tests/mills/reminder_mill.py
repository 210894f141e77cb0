"""Run as a program: fill an empty database with overdue work, or scan and send until killed.

`python -m tests.mills.reminder_mill fill PRESSES RULES` brings the database up to date and makes
PRESSES x RULES items that have been overdue for years, told to one operator. `... send INSTANT` takes INSTANT
for now and lets time go on from there. `... wake` does what one beat of the schedule does. `... link` prints
the secret of a sign-in link for the operator.
"""

from __future__ import annotations

import sys
import time
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import django


def fill(presses: int, rules: int) -> None:
    from tests.migrated import migrate
    from tests.mills.wishes import any_hour
    from wearlog.equipment.models import Press
    from wearlog.history import versions
    from wearlog.lockout.models import EnergySource
    from wearlog.people.models import Mill, Role, User
    from wearlog.runs.models import Crop
    from wearlog.service.models import Rule, Service

    migrate()
    Crop.objects.create(code="rapeseed")
    Mill(name="Many presses", time_zone="UTC", units="metric").save()
    any_hour(User.objects.create_user("operator", email="operator@mill.example", role=Role.OPERATOR))
    done_at = datetime(2025, 1, 1, 12, tzinfo=UTC)
    made = [Press.objects.create(code=f"P{number:03}") for number in range(presses)]
    EnergySource.objects.bulk_create(
        EnergySource(press=press, source="Main motor", kind="electrical", isolate_at=f"Q-{press.code}")
        for press in made
    )
    for number in range(rules):
        rule = Rule.objects.create(code=f"look {number}", action="inspect", every_days=Decimal(30))
        Service.objects.bulk_create(
            Service(ref=f"{press.code} {number}", done_at=done_at, press=press, action="inspect", rule=rule)
            for press in made
        )
    versions.touch()


def send(start: datetime) -> None:
    from wearlog.reminders.outbox.actions import scan, send_due

    begun = time.monotonic()

    def clock() -> datetime:
        return start + timedelta(seconds=time.monotonic() - begun)

    scan(at=clock())
    while send_due(at=clock(), limit=10_000, clock=clock).sent:
        pass


def wake() -> None:
    """Scan, then put a message on the queue for each row; prints how many got there."""
    from wearlog.reminders import tasks

    tasks.scan_due()
    print(tasks.send_waiting())


def link() -> None:
    from django.utils import timezone

    from wearlog.people.models import User
    from wearlog.people.signin import make_link

    print(make_link(user=User.objects.get(), at=timezone.now()))


if __name__ == "__main__":
    django.setup()
    if sys.argv[1] == "fill":
        fill(int(sys.argv[2]), int(sys.argv[3]))
    elif sys.argv[1] == "wake":
        wake()
    elif sys.argv[1] == "link":
        link()
    else:
        send(datetime.fromisoformat(sys.argv[2]))
