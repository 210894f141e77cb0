"""Where messages go: stopping reminders by a mail's own link."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from wearlog.people import audit
from wearlog.people.models import User
from wearlog.reminders.mail_links import StopLink


@transaction.atomic
def stop_reminders(*, link: StopLink, at: datetime) -> bool:
    """Switch the person's reminders by mail off, as their mail's link asks. True where that is now so; False
    where mail no longer goes to the address that the link was sent to.

    Safe to repeat: only the first call changes anything and leaves an audit row.
    """
    person = User.objects.select_for_update().filter(pk=link.person_id).first()
    if person is None or not link.is_still_of(person):
        return False
    if person.gets_mail:
        before = audit.snapshot(person)
        person.gets_mail = False
        person.save(update_fields=["gets_mail"])
        audit.write(
            at=at,
            by=person,
            action="stop mail by link",
            record=person,
            old=before,
            new=audit.snapshot(person),
        )
    return True
