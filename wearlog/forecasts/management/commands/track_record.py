"""`manage.py track_record`: how well forecasts of wear limits agreed with what happened."""

from __future__ import annotations

from django.core.management.base import BaseCommand, CommandParser

from wearlog.forecasts.management.commands._as_of import add_as_of, parse_as_of
from wearlog.forecasts.track import printing as track_printing
from wearlog.forecasts.track.record import track_record


class Command(BaseCommand):
    help = "Replay the past: how often the range given 30, 60 and 90 days ahead held, and how far it was off."
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        add_as_of(parser)
        parser.add_argument("--format", choices=("table", "json"), default="table")

    def handle(self, *args: object, as_of: str | None, format: str, **options: object) -> None:
        found = track_record(as_of=parse_as_of(as_of))
        if format == "json":
            self.stdout.write(track_printing.as_json(found))
        else:
            self.stdout.write(track_printing.as_table(found), ending="")
