"""`manage.py forecast`: what is due, as a table for a terminal, JSON or CSV."""

from __future__ import annotations

import shutil
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from wearlog.forecasts import printing
from wearlog.forecasts.queries import due_items
from wearlog.people.models import Mill

EARLIEST, LATEST = date(1900, 1, 1), date(2999, 12, 31)


class Command(BaseCommand):
    help = "Print what is due on each press and part: when, why and how sure."
    # It only reads; the checks would load every page of the site first.
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--as-of",
            metavar="DAY",
            help="day at whose end (24:00 in the mill's zone) the log is read, YYYY-MM-DD (default: today)",
        )
        parser.add_argument("--format", choices=("table", "json", "csv"), default="table")

    def handle(self, *args: Any, **options: Any) -> None:
        as_of = self._day(options["as_of"])
        items = due_items(as_of=as_of)
        if options["format"] == "json":
            text = printing.as_json(items, as_of)
        elif options["format"] == "csv":
            text = printing.as_csv(items)
        else:
            width = min(max(shutil.get_terminal_size((100, 24)).columns, 80), 120)
            text = printing.as_table(items, as_of, width)
        self.stdout.write(text, ending="" if text.endswith("\n") else "\n")

    def _day(self, text: str | None) -> date:
        if text is None:
            return timezone.now().astimezone(Mill.current().zone).date()
        try:
            day = date.fromisoformat(text)
        except ValueError:
            raise CommandError(f"--as-of {text}: write a day of the calendar as YYYY-MM-DD.") from None
        if not EARLIEST <= day <= LATEST:
            raise CommandError(f"--as-of {text}: write a day from {EARLIEST} to {LATEST}, as YYYY-MM-DD.")
        return day
