"""Saving a person's wishes about reminders. A change only affects messages that have not been sent."""

from __future__ import annotations

import zoneinfo
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from wearlog.people import audit
from wearlog.people.cleaning import clean
from wearlog.people.models import User
from wearlog.people.refusals import NotAllowed, Refused
from wearlog.people.roles import Permission, allows
from wearlog.reminders.hours import is_quiet
from wearlog.reminders.models import EVERY_DAY, ReminderWish


@transaction.atomic
def save_wish(*, by: User | None, at: datetime, wish: ReminderWish) -> ReminderWish:
    """Save a person's wishes: one's own, or as an owner anybody's. The next scan reschedules waiting
    messages, and each is checked again before it is sent.

    Raises NotAllowed, and Refused where no mail could ever be sent.
    """
    if by is not None and by.pk != wish.person_id and not allows(by, Permission.OWN):
        raise NotAllowed(_("You can change your own reminders. Ask the owner for other people's."))
    wish.weekdays = "".join(sorted(set(wish.weekdays)))
    if not wish.weekdays or set(wish.weekdays) - set(EVERY_DAY):
        raise Refused(_("Choose at least one day of the week."), field="weekdays")
    if (wish.quiet_from is None) != (wish.quiet_until is None):
        raise Refused(
            _("Quiet hours need a beginning and an end; leave both empty for none."),
            field="quiet_until" if wish.quiet_until is None else "quiet_from",
        )
    if wish.quiet_from is not None and wish.quiet_from == wish.quiet_until:
        raise Refused(
            _("Quiet hours can't end when they begin; leave both empty for none."), field="quiet_until"
        )
    if is_quiet(wish, wish.from_time):
        raise Refused(
            _("%(from_time)s lies in the quiet hours. Choose a time outside them.")
            % {"from_time": f"{wish.from_time:%H:%M}"},
            field="from_time",
        )
    if wish.time_zone and wish.time_zone not in zoneinfo.available_timezones():
        raise Refused(
            _("%(time_zone)s is no time zone known here. Choose one of the list.")
            % {"time_zone": wish.time_zone},
            field="time_zone",
        )
    stored = ReminderWish.objects.select_for_update().filter(person_id=wish.person_id).first()
    wish.pk = stored.pk if stored is not None else None
    clean(wish, exclude={"person"}, validate_unique=False)
    wish.save()
    audit.write(
        at=at,
        by=by,
        action="add" if stored is None else "change",
        record=wish,
        old=audit.snapshot(stored) if stored is not None else None,
        new=audit.snapshot(wish),
    )
    return wish
