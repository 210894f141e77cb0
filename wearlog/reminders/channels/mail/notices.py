"""The mail that tells an owner that an address no longer accepts messages.

Each has a row (`StopNotice`), which is claimed, sent and settled like one of the outbox: delivery is at least
once, and a copy sent after a crash has the same Message-ID.
"""

from __future__ import annotations

import hashlib
import logging
from datetime import datetime, timedelta

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.db.models import F
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext as _

from wearlog.people.languages import language_of
from wearlog.people.models import User
from wearlog.people.roles import Permission, allows
from wearlog.reminders.channels.channel import OutOfReach, RefusedHere, TryLater, channels
from wearlog.reminders.channels.mail import addresses
from wearlog.reminders.channels.mail.sending import message_id, plain_mail, send
from wearlog.reminders.models import StopNotice
from wearlog.reminders.outbox.deliver import GIVE_UP_AFTER, SET_ASIDE_FOR, wait_after

LEASE = timedelta(minutes=5)
logger = logging.getLogger(__name__)


def look_after(*, at: datetime) -> int:
    """The part of a sending round about stopped addresses: close the stops of addresses that were changed,
    and tell owners about new stops. Returns how many mails were sent. Idempotent, also for two processes at
    once."""
    addresses.clear_moved(at=at)
    told = 0
    for pk in StopNotice.objects.open(at=at).values_list("pk", flat=True)[:100]:
        try:
            told += send_notice(notice_id=pk, at=at)
        except OutOfReach:
            break  # the next ones would run into the same time-out
    return told


def send_notice(*, notice_id: int, at: datetime) -> bool:
    """Claim one notice, send it, settle it. True where a mail was sent. Raises OutOfReach after settling."""
    mine = StopNotice.objects.open(at=at).filter(pk=notice_id)
    if not mine.update(next_attempt_at=at + LEASE, attempts=F("attempts") + 1):
        return False
    notice = StopNotice.objects.select_related("stopped__person", "person").get(pk=notice_id)
    held = StopNotice.objects.filter(pk=notice_id, attempts=notice.attempts, ended_at__isnull=True)
    if not _can_be_told(notice.person):
        held.update(ended_at=at, last_error="The owner has no address that takes mail.")
        return False
    try:
        send(compose_notice(notice))
    except RefusedHere as error:
        held.update(ended_at=at, last_error=str(error))
        own = channels()["mail"].address_of(notice.person)
        addresses.stop(channel="mail", address=own, person=notice.person, reason=str(error), at=at)
        return False
    except (TryLater, OutOfReach) as error:
        over = at - notice.made_at >= GIVE_UP_AFTER
        held.update(
            next_attempt_at=at + wait_after(notice.attempts),
            ended_at=at if over else None,
            last_error=str(error),
        )
        if isinstance(error, OutOfReach):
            raise
        return False
    except Exception as error:
        logger.error("Notice %s can't be written or sent; it is set aside.", notice_id, exc_info=error)
        held.update(next_attempt_at=at + SET_ASIDE_FOR, last_error=repr(error))
        return False
    held.update(told_at=at, ended_at=at, last_error="")
    return True


def _can_be_told(person: User) -> bool:
    own = channels()["mail"].address_of(person)
    return (
        bool(own)
        and allows(person, Permission.OWN)
        and addresses.stopped_at(channel="mail", address=own) is None
    )


def compose_notice(notice: StopNotice) -> EmailMultiAlternatives:
    """A mail with the person, the server's answer and what to do. It names no task, so it needs no caution;
    it has no unsubscribe link, since it is sent once for each address."""
    stopped = notice.stopped
    with translation.override(language_of(notice.person)):
        facts = {
            "heading": _("Reminders to %(person)s are stopped") % {"person": stopped.person},
            "sentences": [
                _("%(address)s refused a message for good.") % {"address": stopped.address},
                _("The answer was: %(reason)s") % {"reason": stopped.reason},
                _("Nothing more is sent there. Everybody else gets theirs as before."),
                _(
                    "Correct the address, or say that it is right: what is still true is then sent. Until "
                    "then, tell %(person)s yourself what is due."
                )
                % {"person": stopped.person},
            ],
            "link": settings.SITE_URL + reverse("web:mail-addresses"),
        }
        text = "\n".join(
            [str(facts["heading"]), "", *map(str, facts["sentences"]), "", str(facts["link"]), ""]
        )
        html = render_to_string("reminders/mail/notice.html", facts)
        key = hashlib.sha256(f"stop notice {notice.pk}".encode()).hexdigest()
        return plain_mail(
            person=notice.person,
            subject=str(facts["heading"]),
            text=text,
            html=html,
            headers={"Message-ID": message_id(key)},
        )
