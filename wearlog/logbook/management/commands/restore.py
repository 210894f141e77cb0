"""manage.py restore FILE: put a backup in the place of what is live, which is kept under another name."""

from __future__ import annotations

import os
from pathlib import Path

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from wearlog.logbook.backups import restoring
from wearlog.logbook.backups.archive import Manifest
from wearlog.logbook.backups.refusals import BackupRefused


class Command(BaseCommand):
    help = "Check a backup and put it in the place of what is live, which is kept. Asks nothing."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, metavar="FILE")
        parser.add_argument("--data", metavar="DIR", help="folder of the mill's data")
        parser.add_argument("--check", action="store_true", help="only check the file, and change nothing")

    def handle(self, *args: object, file: Path, check: bool, **options: object) -> None:
        try:
            if check:
                self.stdout.write(f"{file} is whole: {summary(restoring.verify(file))}")
                return
            done = restoring.restore(file, at=timezone.now())
        except BackupRefused as refused:
            raise CommandError(str(refused)) from refused
        self.stdout.write(f"Restored {summary(done.manifest)}")
        for folder in done.aside:
            self.stdout.write(f"What was here before is kept in {folder}")
        if done.schema_aside:
            self.stdout.write(
                f"The tables that were here before are kept in the database's schema {done.schema_aside}."
            )
        if not done.manifest.photos:
            self.stdout.write("This backup holds no photos; those that are here stay.")
        if done.lacking:
            self.stderr.write(f"Note: {len(done.lacking)} photos of the restored log have no file.")
        if done.manifest.keys and os.environ.get("SECRET_KEY", "").strip():
            self.stderr.write(
                "Note: SECRET_KEY is set and is used, not the key from the backup, which now lies in "
                f"{Path(settings.DATA_DIR) / 'secret_key'}."
            )
        self.stdout.write("Start Wearlog again, and look at the last entries.")


def summary(manifest: Manifest) -> str:
    """What an archive holds, in one line."""
    made = manifest.made_at[:19].replace("T", " ")
    return f"the backup of {made} UTC by Wearlog {manifest.program}, {sum(manifest.rows.values())} rows."
