"""Stopped addresses: those that refused messages for good, who is told about them, and stopping mails by the
link in them."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Count, Min, QuerySet, Subquery
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from wearlog.people import audit
from wearlog.people.models import User
from wearlog.people.refusals import NotAllowed
from wearlog.people.roles import Permission, allows
from wearlog.reminders.channels.channel import channels
from wearlog.reminders.channels.mail.links import StopLink
from wearlog.reminders.models import OutboxRow, OutboxState, Stage, StopNotice, StoppedAddress
from wearlog.reminders.outbox.keys import in_batches

STUCK_AFTER = timedelta(hours=24)


# -------- queries


def stopped_at(*, channel: str, address: str) -> StoppedAddress | None:
    """The active stop of an address, or None where messages may be sent there."""
    return StoppedAddress.objects.not_cleared().filter(channel=channel, address=address).first()


def stops_visible_to(person: User) -> list[StoppedAddress]:
    """The active stops that a person may see: owners all, others their own."""
    stops = StoppedAddress.objects.not_cleared().select_related("person").order_by("stopped_at", "pk")
    return list(stops if allows(person, Permission.OWN) else stops.filter(person=person))


def may_clear(person: User, stopped: StoppedAddress) -> bool:
    return allows(person, Permission.OWN) or (person.is_active and stopped.person_id == person.pk)


def stuck_since(at: datetime) -> datetime | None:
    """The time of the first attempt of the oldest undelivered message, where that is 24 hours ago or more;
    else None.

    Messages to stopped addresses don't count: they are not tried and are reported separately.
    """
    since: datetime | None = _stuck(at).values_list("first_attempt_at", flat=True).first()
    return since


def _stuck(at: datetime) -> QuerySet[OutboxRow]:
    """What has not got out for 24 hours, oldest first."""
    waiting = OutboxRow.objects.waiting().filter(first_attempt_at__lte=at - STUCK_AFTER)
    return waiting.exclude(last_error="").order_by("first_attempt_at")


def trouble_visible_to(person: User, at: datetime) -> tuple[list[StoppedAddress], datetime | None]:
    """The stops that a person may see, and since when mail has been stuck. For every page: one query where
    nothing is stopped."""
    since = Subquery(_stuck(at).values("first_attempt_at")[:1])
    # Without a stopped address Min is null, so that the subquery must also stand beside it.
    known = StoppedAddress.objects.not_cleared().aggregate(
        stops=Count("pk"), since=Coalesce(Min(since), since)
    )
    return stops_visible_to(person) if known["stops"] else [], known["since"]


# -------- stopping and clearing


@transaction.atomic
def stop(*, channel: str, address: str, person: User, reason: str, at: datetime) -> StoppedAddress:
    """Stop sending to the address, and queue a mail about it to each owner who can get one.

    Idempotent. Nothing is queued to the stopped address itself, so that two owners whose mail is refused
    don't notify each other for ever.
    """
    stopped, is_new = StoppedAddress.objects.get_or_create(
        channel=channel,
        address=address,
        cleared_at=None,
        defaults={"person": person, "reason": reason, "stopped_at": at},
    )
    if is_new:
        StopNotice.objects.bulk_create(
            StopNotice(stopped=stopped, person=owner, made_at=at, next_attempt_at=at)
            for owner in owners_with_mail()
        )
    found: StoppedAddress = stopped
    return found


def owners_with_mail() -> list[User]:
    """Owners with an address that accepts mail, whether or not they want reminders, since these mails are
    none."""
    mail = channels()["mail"]
    gone = set(StoppedAddress.objects.not_cleared().filter(channel="mail").values_list("address", flat=True))
    people = User.objects.filter(is_active=True).exclude(email="").order_by("pk")
    return [
        person for person in people if allows(person, Permission.OWN) and mail.address_of(person) not in gone
    ]


@transaction.atomic
def clear(*, stopped: StoppedAddress, by: User, at: datetime) -> None:
    """Resume sending to the address, including missed messages that are still true. Allowed for owners and
    for its person.

    Raises NotAllowed. Of two simultaneous calls only one takes effect and writes the audit row.
    """
    if not may_clear(by, stopped):
        raise NotAllowed(_("This is another person's address. Ask them, or an owner of the mill."))
    before = audit.snapshot(stopped)
    if not _close(stopped, by=by, at=at):
        return
    stopped.refresh_from_db()
    audit.write(
        at=at,
        by=by,
        action="send there again",
        record=stopped,
        old=before,
        new=audit.snapshot(stopped),
    )


def clear_moved(*, at: datetime) -> int:
    """Close the stops of people whose address has changed since, and requeue missed messages. Returns how
    many were closed."""
    closed = 0
    for stopped in StoppedAddress.objects.not_cleared().select_related("person"):
        channel = channels().get(stopped.channel)
        now = channel.address_of(stopped.person) if channel is not None else ""
        if now and now != stopped.address:
            with transaction.atomic():
                closed += _close(stopped, by=None, at=at)
    return closed


def _close(stopped: StoppedAddress, *, by: User | None, at: datetime) -> bool:
    open_stop = StoppedAddress.objects.not_cleared().filter(pk=stopped.pk)
    if not open_stop.update(cleared_at=at, cleared_by=by):
        return False
    StopNotice.objects.filter(stopped=stopped, ended_at__isnull=True).update(ended_at=at)
    channel = channels().get(stopped.channel)
    people = User.objects.filter(outbox__channel=stopped.channel, outbox__state=OutboxState.FAILED)
    for person in people.distinct():
        theirs = channel.address_of(person) if channel is not None else ""
        if person.pk == stopped.person_id or theirs == stopped.address:
            _take_up_again(person, stopped.channel, at=at)
    return True


def _take_up_again(person: User, channel: str, *, at: datetime) -> None:
    """Requeue the messages that were given up; each is checked again before it is sent. Of lists only the
    last, since each contains everything open."""
    given_up = OutboxRow.objects.filter(person=person, channel=channel, state=OutboxState.FAILED)
    lists = given_up.filter(stage=Stage.DIGEST).order_by("-made_at", "-pk").values_list("pk", flat=True)[:1]
    singles = given_up.exclude(stage=Stage.DIGEST).values_list("pk", flat=True)
    for some in in_batches([*lists, *singles]):
        OutboxRow.objects.filter(pk__in=some, state=OutboxState.FAILED).update(
            state=OutboxState.PENDING, next_attempt_at=at, first_attempt_at=None, last_error=""
        )


# -------- the stop link in mails


@transaction.atomic
def stop_reminders(*, link: StopLink, at: datetime) -> bool:
    """Switch off the person's reminders by mail, as the link in a mail requests. True where they are off now;
    False where the link was sent to an address that is no longer the person's.

    Idempotent: only the first call changes anything and writes an audit row.
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
