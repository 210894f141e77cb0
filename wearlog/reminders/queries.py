"""Who is to be told of what, as the log stands."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar

from wearlog.forecasts.items import DueItem
from wearlog.forecasts.queries import due_items
from wearlog.people.models import Mill, User
from wearlog.people.roles import Permission, allows
from wearlog.reminders.keys import dedupe_key
from wearlog.reminders.models import OutboxRow, Stage

MAIL = "mail"
T = TypeVar("T")


def recipients() -> list[User]:
    """Everybody who works at the presses, wants mail and has an address; viewers only look."""
    people = User.objects.filter(is_active=True, gets_mail=True).exclude(email="").order_by("pk")
    return [person for person in people if wants_mail(person)]


def wants_mail(person: User) -> bool:
    return person.is_active and person.gets_mail and bool(person.email) and allows(person, Permission.LOG)


def items_now(*, at: datetime) -> list[DueItem]:
    """Today's due items of the stages that are worth a message; today is the mill's own day."""
    today = at.astimezone(Mill.current().zone).date()
    return [item for item in due_items(as_of=today) if item.state in Stage.values]


@dataclass(frozen=True)
class Message:
    """One message that the log calls for: this item, in its stage, to this person."""

    key: str
    item: DueItem
    person: User


def messages_now(*, at: datetime) -> dict[str, Message]:
    """Every message that the log calls for at this instant, by key, sent already or not."""
    people = recipients()
    found = {}
    for item in items_now(at=at):
        for person in people:
            key = dedupe_key(item, telling=item.state, person_id=person.pk, channel=MAIL)
            found[key] = Message(key=key, item=item, person=person)
    return found


class Current:
    """The due items of one instant, to ask of many rows whether they still hold."""

    def __init__(self, items: Sequence[DueItem]) -> None:
        self._by_rule: dict[int, list[DueItem]] = {}
        for item in items:
            self._by_rule.setdefault(item.rule_id, []).append(item)

    @classmethod
    def at(cls, at: datetime) -> Current:
        return cls(items_now(at=at))

    def item_of(self, row: OutboxRow) -> DueItem | None:
        """The item that the row speaks of as it stands now; None where it is no longer true or wanted."""
        if not wants_mail(row.person):
            return None
        for item in self._by_rule.get(row.item.get("rule_id", 0), ()):
            if (
                dedupe_key(item, telling=item.state, person_id=row.person_id, channel=row.channel)
                == row.dedupe_key
            ):
                return item
        return None


def sendable_ids(*, at: datetime, limit: int) -> list[int]:
    """The rows that a sender may claim now, the longest waiting first."""
    rows = OutboxRow.objects.sendable(at=at).order_by("next_attempt_at", "pk")
    return list(rows.values_list("pk", flat=True)[:limit])


def in_batches(values: Sequence[T], size: int = 500) -> Iterator[Sequence[T]]:
    """Few enough at a time for any database's limit of values in one statement."""
    for start in range(0, len(values), size):
        yield values[start : start + size]
