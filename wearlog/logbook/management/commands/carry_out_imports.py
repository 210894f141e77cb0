"""manage.py carry_out_imports: carry out what was asked for on the page and still waits."""

from __future__ import annotations

from django.core.management.base import BaseCommand
from django.utils import timezone

from wearlog.logbook.jobs import running


class Command(BaseCommand):
    help = "Carry out the imports that were asked for on the page and wait, then end."

    def handle(self, *args: object, **options: object) -> None:
        begun = running.carry_out_all(clock=timezone.now)
        self.stdout.write(f"{begun} imports were begun.")
