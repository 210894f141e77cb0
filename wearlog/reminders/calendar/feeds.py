"""The secret addresses of calendar feeds: making and revoking them, and the entries of a feed."""

from __future__ import annotations

import secrets
from datetime import date, datetime

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from wearlog.equipment.models import Press
from wearlog.people import audit
from wearlog.people.models import User
from wearlog.people.refusals import NotAllowed, Refused
from wearlog.people.roles import Permission, allows, require
from wearlog.people.signin import hash_of
from wearlog.reminders.models import CalendarEntry, CalendarFeed

MOST_FEEDS = 20
"""How many addresses a person may have at a time; each is for one calendar program."""

SECRET_BYTES = 32


def visible_to(person: User) -> QuerySet[CalendarFeed]:
    """The active addresses that a person may revoke: owners all, others their own."""
    feeds = CalendarFeed.objects.not_revoked().select_related("person", "press")
    return feeds if allows(person, Permission.OWN) else feeds.filter(person=person)


@transaction.atomic
def make_feed(
    *, by: User, at: datetime, press: Press | None = None, note: str = ""
) -> tuple[CalendarFeed, str]:
    """Make an address for the person's own tasks, or for those of a press. Returns the feed and its secret,
    which is not stored. Raises NotAllowed, and Refused where the person has too many."""
    require(by, Permission.VIEW)
    if CalendarFeed.objects.not_revoked().filter(person=by).count() >= MOST_FEEDS:
        raise Refused(
            _("You have %(most)s calendar addresses. Withdraw one that no calendar reads any more.")
            % {"most": MOST_FEEDS}
        )
    secret = secrets.token_urlsafe(SECRET_BYTES)
    feed = CalendarFeed.objects.create(
        person=by, press=press, note=note, secret_hash=hash_of(secret), made_at=at
    )
    audit.write(at=at, by=by, action="make calendar address", record=feed, new=audit.snapshot(feed))
    return feed, secret


@transaction.atomic
def revoke(*, feed: CalendarFeed, by: User, at: datetime) -> bool:
    """Revoke the address. Allowed for its person and for owners. Idempotent; True where this call revoked it.

    Raises NotAllowed.
    """
    if not (allows(by, Permission.OWN) or (by.is_active and feed.person_id == by.pk)):
        raise NotAllowed(_("This is another person's calendar. Ask them, or an owner of the mill."))
    before = audit.snapshot(feed)
    if not CalendarFeed.objects.not_revoked().filter(pk=feed.pk).update(revoked_at=at):
        return False
    feed.refresh_from_db()
    audit.write(
        at=at, by=by, action="end calendar address", record=feed, old=before, new=audit.snapshot(feed)
    )
    return True


def feed_of(secret: str) -> CalendarFeed | None:
    """The feed with that secret; None where it is unknown or revoked, or its person may no longer view pages.
    One query."""
    feeds = CalendarFeed.objects.not_revoked().select_related("person", "press")
    feed: CalendarFeed | None = feeds.filter(secret_hash=hash_of(secret)).first()
    return feed if feed is not None and allows(feed.person, Permission.VIEW) else None


def entries_of(feed: CalendarFeed, *, today: date) -> list[CalendarEntry]:
    """The entries of the feed. A press's calendar has all its tasks; a person's has those of every press
    except tasks given to somebody else. One query."""
    entries = CalendarEntry.objects.in_sight(today=today)
    if feed.press_id is not None:
        return list(entries.filter(press_id=feed.press_id))
    return list(entries.filter(Q(given_to__isnull=True) | Q(given_to_id=feed.person_id)))
