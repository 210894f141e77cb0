"""Taking a logbook in: all of it or nothing."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from wearlog.equipment.models import Press
from wearlog.forecasts import tasks, versions
from wearlog.logbook.exchange.checking import Book, read_book
from wearlog.logbook.exchange.comparing import Comparison, compare
from wearlog.logbook.exchange.problems import BadLogbook, BadRow, Conflicting
from wearlog.logbook.exchange.references import unknown_references
from wearlog.logbook.exchange.relations import broken_relations
from wearlog.logbook.exchange.settled import Settled
from wearlog.logbook.exchange.storing import IMPORT, Progress, Store
from wearlog.people import audit
from wearlog.people.models import Mill, User
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission, require
from wearlog.runs.models import Crop

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
    require(by, Permission.OWN)
    zone = Mill.current().zone
    book, problems = read_book(source, zone=zone, progress=lambda what: progress(what, 0, 0))
    try:
        with transaction.atomic():
            progress("checking", 0, 0)
            if not problems:
                make_room_for_the_mill(book)
            comparisons = checked(book, problems, on_conflict)
            book.seal()
            store = Store(book, by=by, at=at, source=source.name, progress=progress)
            store.take(comparisons, replace=on_conflict == REPLACE)
            taken = counted(comparisons, on_conflict)
            if dry_run:
                transaction.set_rollback(True)
            elif taken.new or taken.filled or taken.replaced:
                new = {"source": source.name, **dataclasses.asdict(taken)}
                audit.write(at=at, by=by, action=IMPORT, record=Mill.current(), new=new)
                versions.touch()
                transaction.on_commit(tasks.wake, robust=True)
    except IntegrityError as error:
        raise Refused(
            _(
                "The database does not take this logbook (%(error)s). Nothing was stored: if "
                "somebody was changing the log at the same time, import again."
            )
            % {"error": str(error).strip()}
        ) from error
    return taken


def make_room_for_the_mill(book: Book) -> None:
    """A mill without a press or a crop is only the name that a new database was given: the book's own takes
    its place, instead of being in conflict with it."""
    named = list(book["mill"].column("name"))
    if named and not Press.objects.exists() and not Crop.objects.exists():
        Mill.objects.exclude(name=named[0]).delete()


def checked(book: Book, problems: list[BadRow], on_conflict: str) -> dict[str, Comparison]:
    """The book set against what is stored; raises BadLogbook or Conflicting."""
    problems = [*problems, *unknown_references(book)]
    comparisons = compare(book)
    settled = {name: Settled(each, kept=on_conflict == KEEP) for name, each in comparisons.items()}
    problems.extend(broken_relations(settled, book.zone))
    if problems:
        raise BadLogbook(sorted(set(problems)))
    conflicts = [conflict for each in comparisons.values() for conflict in each.conflicts(book.zone)]
    if conflicts and on_conflict not in (KEEP, REPLACE):
        raise Conflicting(sorted(conflicts))
    return comparisons


def counted(comparisons: dict[str, Comparison], on_conflict: str) -> Taken:
    changes = [change for each in comparisons.values() for change in each.changes]
    in_conflict = sum(change.in_conflict for change in changes)
    return Taken(
        new=sum(len(each.new) for each in comparisons.values()),
        filled=len(changes) - in_conflict,
        replaced=in_conflict if on_conflict == REPLACE else 0,
        kept=in_conflict if on_conflict == KEEP else 0,
        same=sum(len(each.same) for each in comparisons.values()),
    )
