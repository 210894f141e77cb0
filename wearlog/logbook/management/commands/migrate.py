"""`manage.py migrate` with a backup before it, wherever there is something to lose."""

from __future__ import annotations

from collections.abc import Mapping

from django.core.management.base import CommandError, CommandParser
from django.core.management.commands.migrate import Command as Migrate
from django.db import DEFAULT_DB_ALIAS, connection
from django.db.migrations.executor import MigrationExecutor
from django.utils import timezone

from wearlog.logbook.backups import making
from wearlog.people import upgrades
from wearlog.people.refusals import Refused

ONLY_LOOKING = ("plan", "check_unapplied", "prune")


class Command(Migrate):
    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument(
            "--no-backup", action="store_true", help="go on without the backup that comes before a migration"
        )
        parser.add_argument("--data", metavar="DIR", help="folder of the mill's data")

    def handle(self, *args: object, verbosity: int, no_backup: bool = False, **options: object) -> None:
        if lacking := upgrades.missing_steps():
            raise CommandError(
                "This database stopped within migrations that this Wearlog has only as a whole; it "
                f"lacks {upgrades.first_names(lacking)}. Run migrate with the Wearlog that it was made by, "
                "in its newest version, then with this one. Nothing was changed."
            )
        if not no_backup and self.changes_something(options):
            try:
                made = making.before("migration", at=timezone.now())
            except Refused as refused:
                raise CommandError(
                    f"{refused.message} To migrate without one: manage.py migrate --no-backup"
                ) from refused
            if made and verbosity >= 1:
                self.stdout.write(f"Made a backup before the migration: {made}")
        super().handle(*args, verbosity=verbosity, **options)

    def changes_something(self, options: Mapping[str, object]) -> bool:
        """Whether migrations wait on the database of the log, or some are asked for by name."""
        if options.get("database", DEFAULT_DB_ALIAS) != DEFAULT_DB_ALIAS or any(
            options.get(name) for name in ONLY_LOOKING
        ):
            return False
        if options.get("app_label"):
            return True
        executor = MigrationExecutor(connection)
        return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))
