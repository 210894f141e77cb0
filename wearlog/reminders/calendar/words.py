"""A due item as a calendar event: its day, title, description and caution.

Anybody with its address can read a calendar, and unknown programs keep copies. So events contain only the
work, the press, the range of days and what can hurt: no names of people, no reasons, no figures.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _

from wearlog.forecasts.items import DueItem
from wearlog.lockout.cautions.text import caution_as_text
from wearlog.reminders.channels.mail.words import heading, tidy
from wearlog.words.days import day_in_full
from wearlog.words.tasks import when_in_full

EXPECTED, FIXED = "TENTATIVE", "CONFIRMED"
"""Status values of RFC 5545, 3.8.1.11, for an expected day and for one that has come."""


@dataclass(frozen=True)
class EventText:
    """The visible content of an event. `day` is the date of this all-day event."""

    task: str
    words: str
    caution: str
    day: date
    status: str


def event_text(item: DueItem, *, first_seen: date, held_until: date | None) -> EventText:
    """The event of an open task.

    It is on the likely day; without one (for example after an incident) on the day on which it came up; if
    held back, not before that day.
    """
    likely = item.due_on or first_seen
    held = held_until is not None and held_until > likely
    words = [when_in_full(item)]
    if held and held_until is not None:
        words.append(_("Held back until %(day)s.") % {"day": day_in_full(held_until)})
    words.append(_("The day is an estimate and moves with the log; look there before you plan."))
    return EventText(
        task=heading(item),
        words=" ".join(words),
        caution=tidy(caution_as_text(item.caution, width=None)),
        day=held_until if held and held_until is not None else likely,
        status=FIXED if item.state in ("due", "overdue") else EXPECTED,
    )


def done_event_text(task: str, caution: str, *, done_on: date) -> EventText:
    """The event once the work is logged: on the day on which it was done."""
    return EventText(
        task=task,
        words=_("Done on %(day)s, as the log has it.") % {"day": day_in_full(done_on)},
        caution=caution,
        day=done_on,
        status=FIXED,
    )
