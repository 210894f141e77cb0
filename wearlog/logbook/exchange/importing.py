"""Importing a logbook: all of it or nothing."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.db import IntegrityError, OperationalError, connection, transaction
from django.utils.translation import gettext as _

from wearlog.equipment.models import Press
from wearlog.forecasts import tasks
from wearlog.history import versions
from wearlog.logbook.exchange import optimistic_lock
from wearlog.logbook.exchange.checking import Book, read_book
from wearlog.logbook.exchange.comparing import Comparison, compare_table
from wearlog.logbook.exchange.problems import BadLogbook, BadRow, Conflicting
from wearlog.logbook.exchange.references import unknown_references
from wearlog.logbook.exchange.relations import broken_relations
from wearlog.logbook.exchange.resulting import ResultingRows
from wearlog.logbook.exchange.storing import IMPORT, Progress, Store
from wearlog.logbook.exchange.tables import STORING_ORDER
from wearlog.people import audit
from wearlog.people.models import Mill, User
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission, require
from wearlog.runs.models import Crop

KEEP, REPLACE = "keep", "replace"
TRIES = 5
"""How often a logbook is checked again when others change records that it concerns."""


@dataclass(frozen=True)
class ImportCounts:
    """How many rows of an import were new, filled in, replaced, kept as stored, or the same."""

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
    name: str = "",
    most_rows: int | None = None,
    progress: Progress = lambda what, done, total: None,
    before_storing: Callable[[], None] = lambda: None,
    with_storing: Callable[[ImportCounts], None] = lambda taken: None,
) -> ImportCounts:
    """Store everything in the folder or archive `source` in one transaction and return the numbers of rows.

    Reading and validation take no lock, so that others go on working; what they wrote meanwhile is checked
    before the rows are stored. `before_storing` is called before that transaction, `with_storing` as its last
    step; an exception from either aborts the import. `name` is the source's name in the audit trail (default:
    its file name); `most_rows` limits the rows of each file.

    Raises BadLogbook with every bad row, Conflicting with every conflict (unless `on_conflict` is "keep" or
    "replace"), Unreadable where there is no logbook; nothing is stored then, nor with `dry_run`."""
    require(by, Permission.OWN)
    for last in [False] * (TRIES - 1) + [True]:
        state = optimistic_lock.current_state()
        book, problems = read_book(
            source,
            zone=Mill.current().zone,
            most_rows=most_rows,
            progress=lambda what: progress(what, 0, 0),
        )
        try:
            comparisons = check_logbook(book, problems, on_conflict, progress)
        except (BadLogbook, Conflicting):
            if last or not optimistic_lock.is_outdated(state, book):
                raise
            continue
        taken = count_changes(comparisons, on_conflict)
        if dry_run:
            return taken
        book.seal()
        store = Store(book, by=by, at=at, source=name or source.name, progress=progress)
        store.prepare(comparisons)
        before_storing()
        try:
            with transaction.atomic():
                store_import(store, comparisons, state, taken, replace=on_conflict == REPLACE)
                with_storing(taken)
            return taken
        except optimistic_lock.CheckOutdated:
            continue
        except IntegrityError as error:
            # An entry made after the check conflicts, such as a run in the same hours: the next check names
            # it.
            if last or not state.is_old():
                raise Refused(
                    _(
                        "The database does not take this logbook (%(error)s). Nothing was stored: if "
                        "somebody was changing the log at the same time, import again."
                    )
                    % {"error": str(error).strip()}
                ) from error
        except OperationalError:
            # PostgreSQL resolves a deadlock by failing one transaction; only that is worth a retry.
            if last or connection.vendor != "postgresql" or connection.in_atomic_block:
                raise
    raise Refused(
        _(
            "The log was changed %(number)s times while this logbook was checked, each time where the "
            "logbook says something too. Nothing was stored: import again when nobody is changing it."
        )
        % {"number": TRIES}
    )


def store_import(
    store: Store,
    comparisons: dict[str, Comparison],
    state: optimistic_lock.LogState,
    taken: ImportCounts,
    *,
    replace: bool,
) -> None:
    """Store an import. Raises Overtaken where the check is no longer valid: at once where that
    can be seen, else at the end, when nobody else can write until the transaction is over."""
    book, by, at = store.book, store.by, store.at
    if optimistic_lock.is_outdated(state, book):
        raise optimistic_lock.CheckOutdated
    if stored_mill_is_default(book):
        Mill.objects.all().delete()
    store.take(comparisons, replace=replace)
    if not (taken.new or taken.filled or taken.replaced):
        return
    new = {"source": store.source, **dataclasses.asdict(taken)}
    audit.write(at=at, by=by, action=IMPORT, record=Mill.current(), new=new)
    versions.touch()
    if optimistic_lock.is_outdated(state, book, stored_at=at, action=IMPORT):
        raise optimistic_lock.CheckOutdated
    transaction.on_commit(tasks.wake, robust=True)


def stored_mill_is_default(book: Book) -> bool:
    """Whether the stored mill is replaced instead of being in conflict with the logbook's: it has no press
    and no crop, so it is only the default of a new database."""
    named = list(book["mill"].column("name"))
    return bool(
        named
        and not Press.objects.exists()
        and not Crop.objects.exists()
        and Mill.objects.exclude(name=named[0]).exists()
    )


def check_logbook(
    book: Book, problems: list[BadRow], on_conflict: str, progress: Progress
) -> dict[str, Comparison]:
    """Compare the logbook with what is stored. Raises BadLogbook or Conflicting."""
    total = sum(len(rows) for rows in book.rows.values())
    progress(_("looking up what rows refer to"), 0, 0)
    problems = [*problems, *unknown_references(book)]
    without = {"mill"} if not problems and stored_mill_is_default(book) else frozenset[str]()
    comparisons: dict[str, Comparison] = {}
    done = 0
    for table in STORING_ORDER:
        progress(_("comparing %(file)s with what is stored") % {"file": table.file}, done, total)
        done += len(book[table.name])
        comparisons[table.name] = compare_table(book[table.name], as_new=table.name in without)
    settled = {name: ResultingRows(each, kept=on_conflict == KEEP) for name, each in comparisons.items()}
    progress(_("checking rows against each other"), 0, 0)
    problems.extend(broken_relations(settled, book.zone))
    if problems:
        raise BadLogbook(sorted(set(problems)))
    conflicts = [conflict for each in comparisons.values() for conflict in each.conflicts(book.zone)]
    if conflicts and on_conflict not in (KEEP, REPLACE):
        raise Conflicting(sorted(conflicts))
    return comparisons


def count_changes(comparisons: dict[str, Comparison], on_conflict: str) -> ImportCounts:
    changes = [change for each in comparisons.values() for change in each.changes]
    in_conflict = sum(change.in_conflict for change in changes)
    return ImportCounts(
        new=sum(len(each.new) for each in comparisons.values()),
        filled=len(changes) - in_conflict,
        replaced=in_conflict if on_conflict == REPLACE else 0,
        kept=in_conflict if on_conflict == KEEP else 0,
        same=sum(len(each.same) for each in comparisons.values()),
    )
