"""The entries of the calendar, written by the scan, so that reading a feed writes nothing.

Each cycle of an item keeps one row for ever: its sequence number only rises, whatever is corrected, done,
undone or held back. Updates are conditional on the row being unchanged since it was read, so that two scans
at once count a change once.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Q

from wearlog.equipment.models import Fitting
from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import due_items
from wearlog.people.models import Mill
from wearlog.reminders.calendar.words import done_event_text, event_text
from wearlog.reminders.models import CalendarEntry, EntryState
from wearlog.reminders.outbox.calls import NO_MARKS, WORTH_A_LOOK, Marks, marks_by_item_key
from wearlog.reminders.outbox.keys import in_batches, item_key
from wearlog.service.models import Service

AHEAD = timedelta(days=366)
"""Tasks farther ahead get no event yet: their day is little more than a guess from the length of a cycle."""

STILL_LOOKED_AT = timedelta(weeks=12)
"""How long after its last change a closed event is still compared with the log: longer than it is shown."""

SEEN = ("task", "words", "caution", "day", "status", "state")

BEGAN = re.compile(r"(service|fitting)-(\d+)")


@dataclass(frozen=True)
class Change:
    """A row as it was read, and the values it should have."""

    entry: CalendarEntry
    values: Mapping[str, object]

    @property
    def is_seen(self) -> bool:
        """Whether the change is visible to readers."""
        return any(getattr(self.entry, name) != self.values[name] for name in SEEN if name in self.values)

    @property
    def is_one(self) -> bool:
        return any(getattr(self.entry, name) != value for name, value in self.values.items())


def update(*, at: datetime) -> int:
    """Update the calendar from the log, as of the mill's present day. Returns the number of rows written."""
    zone = Mill.current().zone
    today = at.astimezone(zone).date()
    items = {
        item_key(item): item
        for item in due_items(as_of=today)
        if item.state in WORTH_A_LOOK and (item.due_on is not None or item.state != "later")
    }
    known = _known(items, at=at)
    marks = marks_by_item_key(items=list(items.values()), today=today)
    changes: list[Change] = []
    new: dict[str, DueItem] = {}
    for key, item in items.items():
        entry = known.pop(key, None)
        if entry is not None:
            changes.append(_follow(entry, item, marks.get(key, NO_MARKS), zone=zone))
        elif item.due_on is None or item.due_on <= today + AHEAD:
            new[key] = item
    changes += _close(list(known.values()), zone=zone)
    return _add(new, marks, at=at, today=today) + _write(changes, at=at)


def _known(items: Mapping[str, DueItem], *, at: datetime) -> dict[str, CalendarEntry]:
    """The rows of these items, all open rows, and those closed recently."""
    lately = Q(state=EntryState.OPEN) | Q(changed_at__gte=at - STILL_LOOKED_AT)
    rows = CalendarEntry.objects.select_related("rule")
    found = {row.item_key: row for row in rows.filter(lately)}
    for keys in in_batches([key for key in items if key not in found]):
        found |= {row.item_key: row for row in rows.filter(item_key__in=keys)}
    return found


def _follow(entry: CalendarEntry, item: DueItem, marks: Marks, *, zone: ZoneInfo) -> Change:
    """The change that brings the row of an open task up to date."""
    first_seen = entry.made_at.astimezone(zone).date()
    text = event_text(item, first_seen=first_seen, held_until=_held_until(marks))
    where = {"press_id": item.press_id, "position_id": item.position_id, "given_to_id": _given_to(marks)}
    return Change(entry, {**asdict(text), **where, "state": EntryState.OPEN.value})


def _held_until(marks: Marks) -> date | None:
    return marks.held.until_on if marks.held is not None else None


def _given_to(marks: Marks) -> int | None:
    return marks.given.given_to_id if marks.given is not None else None


def _write(changes: Iterable[Change], *, at: datetime) -> int:
    """Write the changes; return how many. Only those visible to readers raise an event's sequence number."""
    written = 0
    for some in in_batches([change for change in changes if change.is_one], 200):
        with transaction.atomic():
            for change in some:
                entry, values = change.entry, dict(change.values)
                if change.is_seen:
                    values |= {"sequence": entry.sequence + 1, "changed_at": max(at, entry.changed_at)}
                as_read = CalendarEntry.objects.filter(pk=entry.pk, sequence=entry.sequence)
                written += as_read.update(**values)
    return written


def _add(new: Mapping[str, DueItem], marks: Mapping[str, Marks], *, at: datetime, today: date) -> int:
    begun = _begun(item.cycle for item in new.values())
    rows = []
    for key, item in new.items():
        said = marks.get(key, NO_MARKS)
        text = event_text(item, first_seen=today, held_until=_held_until(said))
        rows.append(
            CalendarEntry(
                item_key=key,
                rule_id=item.rule_id,
                press_id=item.press_id,
                position_id=item.position_id,
                part_id=item.part_id,
                begun_at=begun.get(_began(item.cycle)),
                given_to_id=_given_to(said),
                made_at=at,
                changed_at=at,
                **asdict(text),
            )
        )
    for some in in_batches(rows, 200):
        CalendarEntry.objects.bulk_create(some, ignore_conflicts=True)
    return len(rows)


def _began(cycle: str) -> tuple[str, int]:
    match = BEGAN.match(cycle)
    return (match[1], int(match[2])) if match else ("", 0)


def _begun(cycles: Iterable[str]) -> dict[tuple[str, int], datetime]:
    """The time of the service or fitting with which each cycle began."""
    named = {_began(cycle) for cycle in cycles}
    found: dict[tuple[str, int], datetime] = {}
    for pks in in_batches(sorted(pk for what, pk in named if what == "service")):
        done = Service.objects.filter(pk__in=pks).values_list("pk", "done_at")
        found |= {("service", pk): when for pk, when in done}
    for pks in in_batches(sorted(pk for what, pk in named if what == "fitting")):
        fitted = Fitting.objects.filter(pk__in=pks).values_list("pk", "fitted_at")
        found |= {("fitting", pk): when for pk, when in fitted}
    return found


def _close(entries: Sequence[CalendarEntry], *, zone: ZoneInfo) -> list[Change]:
    """The changes for rows whose item no longer exists: done where the log has the work, else gone."""
    work = _work_for(entries)
    changes = []
    for entry in entries:
        done = closed_by(entry, work.get(entry.press_id, ()))
        if done is None:
            changes.append(Change(entry, {"state": EntryState.GONE.value}))
        else:
            text = done_event_text(entry.task, entry.caution, done_on=done.done_at.astimezone(zone).date())
            changes.append(Change(entry, {**asdict(text), "state": EntryState.DONE.value}))
    return changes


def _work_for(entries: Sequence[CalendarEntry]) -> dict[int, list[Service]]:
    """The services that may have closed these rows, by press, oldest first."""
    if not entries:
        return {}
    found: dict[int, list[Service]] = defaultdict(list)
    rules = {entry.rule_id for entry in entries}
    actions = {entry.rule.action for entry in entries}
    work = Service.objects.not_voided().filter(
        Q(rule_id__in=rules) | Q(rule__isnull=True, action__in=actions),
        press_id__in={entry.press_id for entry in entries},
        done_at__gt=min(_from(entry) for entry in entries),
    )
    for service in work.order_by("done_at", "pk"):
        found[service.press_id].append(service)
    return found


def _from(entry: CalendarEntry) -> datetime:
    """The time after which work that closes the row must have been done."""
    return entry.begun_at or entry.made_at - AHEAD


def closed_by(entry: CalendarEntry, work: Iterable[Service]) -> Service | None:
    """The first service after the cycle began that closes it: it names the rule or, naming none, has the
    rule's action, and is on the same part, at the same position, or on the press as a whole. `work` is that
    of its press, oldest first."""
    for service in work:
        names_it = service.rule_id == entry.rule_id
        if not names_it and (service.rule_id is not None or service.action != entry.rule.action):
            continue
        if service.done_at > _from(entry) and _touches(entry, service, names_it=names_it):
            return service
    return None


def _touches(entry: CalendarEntry, service: Service, *, names_it: bool) -> bool:
    if service.part_id is not None and service.part_id == entry.part_id:
        return True
    if service.position_id is not None:  # for example on the part that replaced the entry's
        return service.position_id == entry.position_id
    if service.part_id is not None:
        return False
    return names_it or (entry.part_id is None and entry.position_id is None)
