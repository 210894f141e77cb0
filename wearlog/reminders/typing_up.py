"""Typing up the past wakes nobody: who is entering old runs, and what their entries made overdue back then.

A press is being typed up while a run of it was entered in the last day that ended more than a week before
its entry, and its person has not said that they are done. This is read from the log; nothing is stored with a
run. A message about what became overdue more than a week ago at such a press is held (`outbox.scan`), each
for a day at most.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import transaction

from wearlog.forecasts.items import DueItem
from wearlog.forecasts.triggers.incident import TRIGGER as INCIDENT
from wearlog.people import audit
from wearlog.people.models import User
from wearlog.people.roles import Permission, require
from wearlog.reminders.models import OutboxRow, OutboxState, TypedUp
from wearlog.runs.queries import entered_late

OLD = timedelta(days=7)
"""A run that ended longer ago than this when it was entered is one from the past."""
HELD_FOR = timedelta(days=1)


@dataclass(frozen=True)
class Typing:
    """One person who is typing up the past of one press, and when they last entered something of it."""

    press_id: int
    person_id: int | None
    last_at: datetime


def typing_now(*, at: datetime) -> list[Typing]:
    """Who is typing up which press at this instant."""
    late = entered_late(since=at - HELD_FOR, until=at, by=OLD)
    if not late:
        return []
    said = dict(TypedUp.objects.values_list("person_id", "said_at"))
    last: dict[tuple[int, int | None], datetime] = {}
    for press_id, person_id, entered_at in late:
        done_at = said.get(person_id) if person_id is not None else None
        if done_at is None or entered_at > done_at:
            key = (press_id, person_id)
            last[key] = max(entered_at, last.get(key, entered_at))
    return [Typing(press, person, when) for (press, person), when in last.items()]


def typed_up_presses(*, at: datetime) -> frozenset[int]:
    """The presses whose past is being typed up at this instant."""
    return frozenset(each.press_id for each in typing_now(at=at))


def is_of_the_past(item: DueItem, *, today: date) -> bool:
    """Whether the item became due more than a week ago. What a run of the last seven days made due is not,
    and what an incident asks for never is."""
    return item.due_on is not None and item.due_on < today - OLD and item.trigger != INCIDENT.name


@transaction.atomic
def say_typed_up(*, by: User, at: datetime) -> TypedUp:
    """Record that the person's old entries are complete; the next scan lets go of what is held because of
    them. Idempotent."""
    require(by, Permission.LOG)
    said, _made = TypedUp.objects.update_or_create(person=by, defaults={"said_at": at})
    audit.write(at=at, by=by, action="say typed up", record=said, new=audit.snapshot(said))
    return said


@dataclass(frozen=True)
class HeldForPerson:
    """What waits because of one person's typing: how many things, and until when the last of them."""

    things: int
    until: datetime | None


def held_for(person: User, *, at: datetime) -> HeldForPerson | None:
    """What is held because this person types up the past; None while they don't."""
    if not any(each.person_id == person.pk for each in typing_now(at=at)):
        return None
    rows = OutboxRow.objects.filter(state=OutboxState.HELD)
    things = {(rule, thing) for rule, thing in rows.values_list("rule", "thing")}
    last = rows.order_by("-next_attempt_at").values_list("next_attempt_at", flat=True).first()
    return HeldForPerson(len(things), last)
