"""The signed links in mails: one opens a job, one stops the mails. Neither signs anybody in.

A mail is forwarded, kept for years and opened by scanners, so its links give access to no more than the mail
itself contains. They are signed with the site's key, and each names its person and its purpose.
docs/decisions/mail-links.md says what they may do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.conf import settings
from django.core import signing
from django.urls import reverse
from django.utils.crypto import salted_hmac

from wearlog.forecasts.items import DueItem
from wearlog.people.models import User
from wearlog.reminders.outbox.keys import thing_of

JOB = "wearlog.reminders.job-link"
STOP = "wearlog.reminders.stop-link"
JOB_OPENS_FOR = timedelta(days=90)
"""How long a link to a job works: longer than any stage is reminded of."""

SINGLE, LIST = "reminders", "lists"
"""The kinds of mail that a person can stop."""


class BadLink(Exception):
    """The link is not one of this site's, was changed on its way, or is too old."""


@dataclass(frozen=True)
class JobLink:
    """The content of a link to a job: the task, and the person it was sent to."""

    person_id: int
    rule_id: int
    press_id: int
    thing: str


@dataclass(frozen=True)
class StopLink:
    """The content of a link that stops mails: the person, the kind of mail, and a hash of the address."""

    person_id: int
    kind: str
    address: str

    def is_still_of(self, person: User) -> bool:
        """Whether the person still has the address that the link was sent to; otherwise somebody else may
        have the mail."""
        return self.person_id == person.pk and self.address == fingerprint(person.email)


def job_url(item: DueItem, person: User, *, made_on: date) -> str:
    """The URL that shows the task for 90 days from `made_on`, the day of the message."""
    value = [person.pk, item.rule_id, item.press_id, thing_of(item), made_on.toordinal()]
    return _url("web:mail-job", _sign(value, JOB))


def read_job(token: str, *, on: date) -> JobLink:
    """Verify and parse the token. Raises BadLink where it is not one of this site's or has expired `on` that
    day."""
    *value, made_on = _read(token, JOB, 5)
    if not 0 <= on.toordinal() - made_on <= JOB_OPENS_FOR.days:
        raise BadLink
    return JobLink(*value)


def stop_url(person: User, kind: str) -> str:
    return _url("web:mail-stop", _sign([person.pk, kind, fingerprint(person.email)], STOP))


def read_stop(token: str) -> StopLink:
    """Verify and parse the token. Raises BadLink. It never expires, so that an old mail can still stop new
    ones."""
    link = StopLink(*_read(token, STOP, 3))
    if link.kind not in (SINGLE, LIST):
        raise BadLink
    return link


def _sign(value: Sequence[object], purpose: str) -> str:
    return signing.Signer(salt=purpose).sign_object(value)


def _read(token: str, purpose: str, length: int) -> list[Any]:  # JSON of our own
    try:
        value = signing.Signer(salt=purpose).unsign_object(token)
    except (signing.BadSignature, ValueError) as error:
        raise BadLink from error
    if not isinstance(value, list) or len(value) != length:
        raise BadLink
    return value


def wishes_url() -> str:
    """The URL of the page where people choose which reminders they get and when."""
    return _url("web:my-reminders")


def fingerprint(email: str) -> str:
    return salted_hmac(STOP, email.strip().casefold(), algorithm="sha256").hexdigest()[:16]


def _url(name: str, token: str = "") -> str:
    return settings.SITE_URL + reverse(name, kwargs={"token": token} if token else None)
