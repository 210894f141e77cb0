"""manage.py import_logbook DIR|ZIP: take a logbook in, all of it or nothing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from wearlog.logbook.exchange.importing import KEEP, REPLACE, import_logbook
from wearlog.people.refusals import Refused


class Command(BaseCommand):
    help = "Take in a logbook (a folder of CSV files, or a .zip of one): all of it or nothing."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("source", metavar="DIR|ZIP", type=Path)
        parser.add_argument("--dry-run", action="store_true", help="check and count, store nothing")
        parser.add_argument(
            "--on-conflict",
            choices=[KEEP, REPLACE],
            default="",
            help="what to do with a key that is stored already with other content (default: refuse everything)",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            taken = import_logbook(
                by=None,
                at=timezone.now(),
                source=options["source"],
                on_conflict=options["on_conflict"],
                dry_run=options["dry_run"],
            )
        except Refused as error:
            raise CommandError(error.message) from error
        self.stdout.write(
            f"{'Would store' if options['dry_run'] else 'Stored'} {taken.new} new rows, filled in {taken.filled}, "
            f"replaced {taken.replaced}; left {taken.kept} as stored, {taken.same} were the same."
        )
