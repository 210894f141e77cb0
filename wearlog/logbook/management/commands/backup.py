"""manage.py backup [FILE]: one file with everything, made while people go on working."""

from __future__ import annotations

from pathlib import Path

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from wearlog.logbook.backups import archive, folder, making
from wearlog.logbook.backups.refusals import BackupRefused


class Command(BaseCommand):
    help = "Back up database and photos into one file, checked after it was written. Asks nothing."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "file",
            nargs="?",
            type=Path,
            metavar="FILE",
            help="where to; left out: under a name of its own in the folder that BACKUP_DIR names",
        )
        parser.add_argument("--data", metavar="DIR", help="folder of the mill's data")
        parser.add_argument(
            "--with-keys",
            action="store_true",
            help="put the secret key in, too: whoever has the file can then sign in as anybody",
        )
        parser.add_argument("--replace", action="store_true", help="write over FILE where it is there")
        parser.add_argument(
            "--new-folder",
            action="store_true",
            help="the disk at BACKUP_DIR is a new one: begin to use it",
        )

    def handle(
        self,
        *args: object,
        file: Path | None,
        with_keys: bool,
        replace: bool,
        new_folder: bool,
        **options: object,
    ) -> None:
        now, target, keys = timezone.now(), file, with_keys
        try:
            if target is None:
                target = making.by_itself(at=now, why=folder.BY_HAND, keys=keys, new_folder=new_folder)
                manifest = archive.check(target)
            else:
                manifest = making.to_file(target, at=now, keys=keys, over=replace)
        except BackupRefused as refused:
            raise CommandError(f"No backup was made. {refused}") from refused
        pictures = sum(name.startswith("photos/") and "-small" not in name for name in manifest.members)
        self.stdout.write(
            f"Wrote {target}: {sum(manifest.rows.values())} rows and {pictures} photos, "
            "read back and found whole."
        )
        if manifest.photos_lacking:
            self.stderr.write(
                f"Note: {len(manifest.photos_lacking)} photos of the log have no file here, and none in it."
            )
        self.stdout.write(
            "The secret key is in it: keep the file as you keep the key."
            if keys
            else "The secret key is not in it; --with-keys puts it in."
        )
