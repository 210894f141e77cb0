"""Optimistic locking of imports: what others wrote while a logbook was checked, and whether the check is
still valid.

The check takes no lock, so that everybody can go on working. When the logbook is stored, the audit trail
tells which records were touched since. New runs and fittings that overlap with the logbook's are left to the
constraints of the database.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from wearlog.history import versions
from wearlog.logbook.exchange.checking import Book
from wearlog.logbook.exchange.columns import Table
from wearlog.logbook.exchange.references import in_batches
from wearlog.logbook.exchange.tables import TABLES
from wearlog.people.models import AuditEntry

RECENT = 1_000
"""How many recent rows of the trail are remembered: with PostgreSQL a row may become visible after one with a
higher id."""
ENTRIES = ("runs", "readings", "services", "measurements", "incidents", "fittings")
"""Tables to which people add all day. In all others, which change seldom, any change counts."""
BY_MODEL = {table.model._meta.model_name: table for table in TABLES}


class CheckOutdated(Exception):
    """Something that the check relied on has changed since; the logbook must be checked again."""


@dataclass(frozen=True)
class LogState:
    """The state of the log at the moment when a check began."""

    version: int
    first: int
    seen: frozenset[int]

    def is_old(self) -> bool:
        """Whether anything at all has been written since."""
        return versions.current() != self.version


def current_state() -> LogState:
    """The present state of the log. Call it before the first query of a check."""
    version = versions.current()
    seen = list(AuditEntry.objects.order_by("-pk").values_list("pk", flat=True)[:RECENT])
    return LogState(version, seen[-1] if len(seen) == RECENT else 0, frozenset(seen))


def is_outdated(state: LogState, book: Book, *, stored_at: datetime | None = None, action: str = "") -> bool:
    """Whether a record that the check of `book` relied on has been touched since `state`.

    `stored_at` and `action` identify the rows of the trail that the import itself wrote; then one increment
    of the log's version is its own as well."""
    own = 1 if stored_at is not None else 0
    if versions.current() == state.version + own:
        return False
    rows = AuditEntry.objects.filter(pk__gte=state.first)
    if stored_at is not None:
        rows = rows.exclude(at=stored_at, action=action)
    touched: dict[str, set[int]] = {}
    for pk, record, record_id in rows.values_list("pk", "record", "record_id"):
        if pk not in state.seen and record_id is not None:
            touched.setdefault(record, set()).add(record_id)
    if not touched:
        # A write without a row in the trail; but the version's first write chooses its initial value.
        return not (own and state.version == 0)
    return any(concerns(book, BY_MODEL[name], ids) for name, ids in touched.items() if name in BY_MODEL)


def concerns(book: Book, table: Table, ids: set[int]) -> bool:
    """Whether the logbook contains one of these records, or refers to one."""
    if table.name not in ENTRIES:
        return True
    keys = set(book[table.name].keys())
    if table.name == "services":
        keys |= {(ref,) for ref in book["measurements"].column("service")}
    if not keys:
        return False
    queries = [table.by_name[name].query for name in table.key]
    found: set[tuple[object, ...]] = set()
    for batch in in_batches(sorted(ids)):
        found.update(table.records.filter(pk__in=batch).values_list(*queries))
    return not keys.isdisjoint(found)
