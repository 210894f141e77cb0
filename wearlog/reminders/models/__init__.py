"""The tables of reminders: the outbox, the calendar, people's wishes and marks, the schedule's state."""

from wearlog.reminders.models.addresses import StopNotice, StoppedAddress, Webhook
from wearlog.reminders.models.feeds import CalendarEntry, CalendarFeed, EntryState
from wearlog.reminders.models.marks import Mark, MarkKind, MarkQuerySet
from wearlog.reminders.models.outbox import (
    LONGEST_LEASE,
    UNSENT,
    OutboxQuerySet,
    OutboxRow,
    OutboxState,
    Stage,
)
from wearlog.reminders.models.schedule_state import ScheduleState
from wearlog.reminders.models.typed_up import TypedUp
from wearlog.reminders.models.wishes import EVERY_DAY, ReminderWish, Rhythm

__all__ = [
    "EVERY_DAY",
    "LONGEST_LEASE",
    "UNSENT",
    "CalendarEntry",
    "CalendarFeed",
    "EntryState",
    "Mark",
    "MarkKind",
    "MarkQuerySet",
    "OutboxQuerySet",
    "OutboxRow",
    "OutboxState",
    "ReminderWish",
    "Rhythm",
    "ScheduleState",
    "Stage",
    "StopNotice",
    "StoppedAddress",
    "TypedUp",
    "Webhook",
]
