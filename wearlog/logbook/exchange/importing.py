"""Taking a logbook in: all of it or nothing."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.db import IntegrityError, transaction

from wearlog.forecasts.models import LogVersion
from wearlog.logbook.exchange.checking import read_book
from wearlog.logbook.exchange.comparing import compare
from wearlog.logbook.exchange.problems import BadLogbook, Conflicting
from wearlog.logbook.exchange.references import unknown_references
from wearlog.logbook.exchange.storing import Progress, Store
from wearlog.people.models import AuditEntry, Mill, User
from wearlog.people.refusals import Refused

KEEP, REPLACE = "keep", "replace"


@dataclass(frozen=True)
class Taken:
    """How many rows an import stored: new, filled in, replaced, kept as they were, the same."""

    new: int
    filled: int
    replaced: int
    kept: int
    same: int


def import_logbook(
    *,
    by: User | None,
    at: datetime,
    source: Path,
    on_conflict: str = "",
    dry_run: bool = False,
    progress: Progress = lambda what, done, total: None,
) -> Taken:
    """Store everything in the folder or archive `source`, in one transaction, and say how many rows.

    Raises BadLogbook with every bad row, Conflicting with every conflict (unless `on_conflict` is "keep" or
    "replace"), Unreadable where there is no logbook; nothing is stored then, nor with `dry_run`."""
    progress("reading", 0, 0)
    with transaction.atomic():
        book, problems = read_book(source, zone=Mill.current().zone)
        progress("checking", 0, 0)
        problems.extend(unknown_references(book))
        if problems:
            raise BadLogbook(sorted(set(problems)))
        comparisons = compare(book)
        conflicts = [conflict for each in comparisons.values() for conflict in each.conflicts(book.zone)]
        if conflicts and on_conflict not in (KEEP, REPLACE):
            raise Conflicting(conflicts)
        try:
            store = Store(book, by=by, at=at, progress=progress)
            store.take(comparisons, replace=on_conflict == REPLACE)
        except IntegrityError as error:
            raise Refused(f"The database does not take this logbook: {error}. Nothing was stored.") from error
        changes = [change for each in comparisons.values() for change in each.changes]
        in_conflict = sum(change.in_conflict for change in changes)
        taken = Taken(
            new=sum(len(each.new) for each in comparisons.values()),
            filled=len(changes) - in_conflict,
            replaced=in_conflict if on_conflict == REPLACE else 0,
            kept=in_conflict if on_conflict == KEEP else 0,
            same=sum(len(each.same) for each in comparisons.values()),
        )
        if dry_run:
            transaction.set_rollback(True)
        elif taken.new or taken.filled or taken.replaced:
            AuditEntry.objects.create(
                at=at,
                by=by,
                by_name=str(by or "command line"),
                action="import",
                record="logbook",
                record_key=source.name[:255],
            )
            LogVersion.raise_by_one()
    return taken
