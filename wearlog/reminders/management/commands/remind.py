"""`manage.py remind`: find what is due and send what waits, once."""

from __future__ import annotations

from argparse import ArgumentParser, ArgumentTypeError
from datetime import UTC, datetime

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from wearlog.people.models import Mill
from wearlog.reminders.outbox import actions
from wearlog.reminders.schedule import clock

AT_ONCE = 10_000


def instant(text: str) -> datetime:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        raise ArgumentTypeError(f"{text!r} is no instant: write it as in 2026-05-01T06:30:00+02:00") from None


def refuse_a_wrong_clock(now: datetime) -> None:
    doubt = clock.check_clock(watch=clock.Watch(), at=now, steady_s=0.0)
    if doubt is not None:
        raise CommandError(
            f"Reminders are paused: the clock says {doubt.shown:%Y-%m-%d %H:%M} UTC, and they last ran at "
            f"{doubt.expected:%Y-%m-%d %H:%M} UTC. Put the clock right, or if it is right run "
            "manage.py clock_is_right."
        )


class Command(BaseCommand):
    help = "Find what is due, write it to the outbox and send what waits. A second run repeats nothing."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--as-of-now",
            type=instant,
            metavar="INSTANT",
            help="take this instant for now (ISO 8601; without an offset it is read in the mill's zone)",
        )

    def handle(self, *args: object, as_of_now: datetime | None, **options: object) -> None:
        now = as_of_now or timezone.now()
        if as_of_now is None:
            refuse_a_wrong_clock(now)
        if now.tzinfo is None:
            now = now.replace(tzinfo=Mill.current().zone)
        now = now.astimezone(UTC)
        queued = actions.scan(at=now)
        ticking = None if as_of_now else timezone.now
        done = actions.send_due(at=now, limit=AT_ONCE, clock=ticking)
        self.stdout.write(
            f"Reminders: {queued} queued, {done.sent} sent, {done.to_retry} to try again, "
            f"{done.given_up} given up, {done.withdrawn} withdrawn."
        )
