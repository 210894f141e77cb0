"""`manage.py clock_is_right`: resume reminders that were paused because the clock looked wrong."""

from __future__ import annotations

from django.core.management.base import BaseCommand
from django.utils import timezone

from wearlog.reminders.schedule import clock


class Command(BaseCommand):
    help = "Say that this machine's clock is right, so that paused reminders go on."

    def handle(self, *args: object, **options: object) -> None:
        now = timezone.now()
        doubt = clock.current_doubt()
        if not clock.resume(by=None, at=now) or doubt is None:
            self.stdout.write("Reminders are not paused; there is nothing to do.")
            return
        self.stdout.write(
            f"Reminders go on: {now:%Y-%m-%d %H:%M} UTC is taken for right "
            f"(expected was about {doubt.expected:%Y-%m-%d %H:%M})."
        )
