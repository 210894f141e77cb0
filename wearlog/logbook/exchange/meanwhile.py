"""What others wrote while a logbook was checked, and whether the check still holds.

The check takes no lock, so that everybody goes on working. What it relied on is looked at once more when the
logbook is stored: the trail names every record that was touched since. New runs and fittings that meet one of
the logbook's are left to the database's own promises.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from wearlog.history import versions
from wearlog.logbook.exchange.checking import Book
from wearlog.logbook.exchange.columns import TABLES, Table
from wearlog.logbook.exchange.references import in_batches
from wearlog.people.models import AuditEntry

RECENT = 1_000
"""So many rows of the trail are remembered: with PostgreSQL a row may appear after one of a higher number."""
ENTRIES = ("runs", "readings", "services", "measurements", "incidents", "fittings")
"""Tables to which people add all day. All others change seldom, and much may rest on a row of theirs."""
BY_MODEL = {table.model._meta.model_name: table for table in TABLES}


class Overtaken(Exception):
    """Something that the check relied on has changed since: check again."""


@dataclass(frozen=True)
class Mark:
    """The state of the log at the moment when a check began."""

    version: int
    first: int
    seen: frozenset[int]

    def is_old(self) -> bool:
        """Whether anything at all was written since."""
        return versions.current() != self.version


def mark() -> Mark:
    """Call it before the first look at what is stored."""
    version = versions.current()
    seen = list(AuditEntry.objects.order_by("-pk").values_list("pk", flat=True)[:RECENT])
    return Mark(version, seen[-1] if len(seen) == RECENT else 0, frozenset(seen))


def overtaken(mark: Mark, book: Book, *, stored_at: datetime | None = None, action: str = "") -> bool:
    """Whether a record that the check of `book` relied on was touched since `mark`.

    `stored_at` and `action` name the rows of the trail that the storing itself wrote, and one write of the
    log is its own then."""
    own = 1 if stored_at is not None else 0
    if versions.current() == mark.version + own:
        return False
    rows = AuditEntry.objects.filter(pk__gte=mark.first)
    if stored_at is not None:
        rows = rows.exclude(at=stored_at, action=action)
    touched: dict[str, set[int]] = {}
    for pk, record, record_id in rows.values_list("pk", "record", "record_id"):
        if pk not in mark.seen and record_id is not None:
            touched.setdefault(record, set()).add(record_id)
    if not touched:
        # A write that the trail does not explain; but the first of all writes chooses where the count begins.
        return not (own and mark.version == 0)
    return any(concerns(book, BY_MODEL[name], ids) for name, ids in touched.items() if name in BY_MODEL)


def concerns(book: Book, table: Table, ids: set[int]) -> bool:
    """Whether the logbook says something about one of these records, or points to it."""
    if table.name not in ENTRIES:
        return True
    keys = set(book[table.name].keys())
    if table.name == "services":
        keys |= {(ref,) for ref in book["measurements"].column("service")}
    if not keys:
        return False
    queries = [table.by_name[name].query for name in table.key]
    found: set[tuple[Any, ...]] = set()
    for batch in in_batches(sorted(ids)):
        found.update(table.records.filter(pk__in=batch).values_list(*queries))
    return not keys.isdisjoint(found)
