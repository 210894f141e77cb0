"""`manage.py forecast`: what is due, as a table for a terminal, JSON or CSV."""

from __future__ import annotations

import shutil

from django.core.management.base import BaseCommand, CommandParser

from wearlog.forecasts.management.commands._as_of import add_as_of, parse_as_of
from wearlog.forecasts.memory.queries import due_items
from wearlog.words import printing


class Command(BaseCommand):
    help = "Print what is due on each press and part: when, why and how sure."
    # The command only reads; the system checks would first load every page of the site.
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        add_as_of(parser)
        parser.add_argument("--format", choices=("table", "json", "csv"), default="table")

    def handle(self, *args: object, as_of: str | None, format: str, **options: object) -> None:
        day = parse_as_of(as_of)
        items = due_items(as_of=day)
        if format == "json":
            text = printing.as_json(items, day)
        elif format == "csv":
            text = printing.as_csv(items)
        else:
            width = min(max(shutil.get_terminal_size((100, 24)).columns, 80), 120)
            text = printing.as_table(items, day, width)
        self.stdout.write(text, ending="" if text.endswith("\n") else "\n")
