"""`manage.py track_record`: what was promised of wear limits, and what came."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from wearlog.forecasts import track_printing
from wearlog.forecasts.track import track_record
from wearlog.people.models import Mill


class Command(BaseCommand):
    help = "Replay the past: how often the range given 30, 60 and 90 days ahead held, and how far it was off."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--as-of", metavar="DAY", help="count what the log knew by YYYY-MM-DD (today)")
        parser.add_argument("--format", choices=("table", "json"), default="table")

    def handle(self, *args: Any, **options: Any) -> None:
        found = track_record(as_of=self._day(options["as_of"]))
        if options["format"] == "json":
            self.stdout.write(track_printing.as_json(found))
        else:
            self.stdout.write(track_printing.as_table(found), ending="")

    def _day(self, text: str | None) -> date:
        if text is None:
            return timezone.now().astimezone(Mill.current().zone).date()
        try:
            return date.fromisoformat(text)
        except ValueError:
            raise CommandError(f"--as-of {text}: write a day of the calendar as YYYY-MM-DD.") from None
