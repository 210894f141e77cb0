"""manage.py carry_out_imports: carry out what was asked for on the page and still waits."""

from __future__ import annotations

import os
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from wearlog.logbook.jobs import running

LESS_URGENT = 10


class Command(BaseCommand):
    help = "Carry out the imports that were asked for on the page and wait, then end."

    def handle(self, *args: Any, **options: Any) -> None:
        if hasattr(os, "nice"):
            os.nice(LESS_URGENT)  # people at the pages come first
        begun = running.carry_out_all(clock=timezone.now)
        self.stdout.write(f"{begun} imports were begun.")
