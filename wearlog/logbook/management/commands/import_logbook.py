"""manage.py import_logbook DIR|ZIP: take a logbook in, all of it or nothing."""

from __future__ import annotations

import sys
import time
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError
from django.utils import timezone

from wearlog.logbook.backups import making
from wearlog.logbook.exchange.importing import KEEP, REPLACE, import_logbook
from wearlog.logbook.exchange.progress import ProgressLine
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
            help="what to do with keys that are stored already with other content (default: refuse all)",
        )

        parser.add_argument(
            "--no-backup", action="store_true", help="go on without the backup that comes before an import"
        )

    def handle(
        self, *args: object, source: Path, on_conflict: str, dry_run: bool, no_backup: bool, **options: object
    ) -> None:
        progress = ProgressLine(sys.stderr, time.monotonic)
        try:
            back_up = making.once_before("import", clock=timezone.now)
            taken = import_logbook(
                by=None,
                at=timezone.now(),
                source=source,
                on_conflict=on_conflict,
                dry_run=dry_run,
                progress=progress,
                before_storing=(lambda: None) if no_backup else back_up,
            )
        except Refused as error:
            raise CommandError(error.message) from error
        except DatabaseError as error:
            reason = str(error).strip()
            raise CommandError(
                f"The database can't be used ({reason}). Nothing was stored: run manage.py migrate first, "
                "and see that no other program holds the database."
            ) from error
        finally:
            progress.done()
        self.stdout.write(
            f"{'Nothing is stored on a dry run. It would store' if dry_run else 'Stored'} "
            f"{taken.new} new rows, {taken.filled} filled in, {taken.replaced} replaced; "
            f"{taken.kept} in conflict left as they are, {taken.same} the same as here."
        )
