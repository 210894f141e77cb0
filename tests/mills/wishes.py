"""Wishes for tests that must not depend on the hour at which they run."""

from __future__ import annotations

from datetime import time

from wearlog.people.models import User
from wearlog.reminders.models import ReminderWish


def any_hour(*people: User, **more: object) -> None:
    """These people take each mail by itself, at any hour of any day, however many there are at once."""
    wish = {"from_time": time(0), "quiet_from": None, "quiet_until": None, "most_at_once": 100_000}
    for person in people:
        ReminderWish.objects.update_or_create(person=person, defaults=wish | more)
        person.refresh_from_db()
