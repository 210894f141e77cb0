"""`manage.py refresh_forecasts`: replay the past, compute all due items anew and store them."""

from __future__ import annotations

import time

from django.core.management.base import BaseCommand
from django.utils import timezone

from wearlog.forecasts.memory.queries import due_items
from wearlog.forecasts.memory.refresh import refresh, today
from wearlog.forecasts.track.learning import learn


class Command(BaseCommand):
    help = "Work out what is due from the whole log anew, and store it for the pages."

    def handle(self, *args: object, **options: object) -> None:
        now = timezone.now()
        begun = time.monotonic()
        learn(at=now)
        done = refresh(at=now, anew=True)
        items = len(due_items(as_of=today(now)))
        seconds = time.monotonic() - begun
        self.stdout.write(
            f"{items} due items of {done.presses} presses stored for {today(now)}, in {seconds:.1f} s."
        )
