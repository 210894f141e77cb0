"""manage.py export_logbook DIR|ZIP: write the canonical logbook."""

from __future__ import annotations

from pathlib import Path

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError

from wearlog.logbook.exchange.exporting import export_logbook
from wearlog.people.refusals import Refused


class Command(BaseCommand):
    help = "Write everything that is recorded as a logbook: a folder of CSV files, or a .zip of one."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("target", metavar="DIR|ZIP", type=Path)

    def handle(self, *args: object, target: Path, **options: object) -> None:
        try:
            count = export_logbook(by=None, target=target)
        except Refused as error:
            raise CommandError(error.message) from error
        except DatabaseError as error:
            raise CommandError(
                f"The database can't be read ({str(error).strip()}). Nothing was written: "
                "run manage.py migrate first, and see that no other program holds the database."
            ) from error
        self.stdout.write(f"Wrote {count} rows to {target}.")
