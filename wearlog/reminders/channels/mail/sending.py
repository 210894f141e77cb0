"""Reminders by mail: composing them, sending them, and interpreting the mail server's answers."""

from __future__ import annotations

import smtplib
from collections.abc import Sequence
from datetime import datetime
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.template.loader import render_to_string
from django.utils import translation
from django.utils.translation import gettext as _

from wearlog.forecasts.items import DueItem
from wearlog.lockout.cautions.text import task_as_text
from wearlog.people.languages import language_of
from wearlog.people.models import User
from wearlog.people.roles import Permission, allows
from wearlog.reminders.channels.channel import OutOfReach, Parcel, RefusedHere, TryLater
from wearlog.reminders.channels.mail import links as mail_links
from wearlog.reminders.channels.mail.digest import DigestMail, digest_as_text, digest_subject
from wearlog.reminders.channels.mail.format import Mail, seven_bit
from wearlog.reminders.channels.mail.style import inlined
from wearlog.reminders.channels.mail.words import bring, heading, one_line, order, remarks, stage_word
from wearlog.reminders.models import OutboxRow, Stage
from wearlog.reminders.outbox.calls import Line
from wearlog.words.tasks import when_in_full

OUR_FAULT = (530, 534, 535, 538)
"""Replies of the 5xx class about authentication or encryption (RFC 4954), which are not about the address."""


class MailChannel:
    """Reminders by mail, through Django's mail settings; each network operation times out after
    EMAIL_TIMEOUT."""

    name = "mail"

    def wants(self, person: User) -> bool:
        """Whether the person may log, wants mail and has an address; viewers get no reminders."""
        return person.is_active and person.gets_mail and bool(person.email) and allows(person, Permission.LOG)

    def address_of(self, person: User) -> str:
        return person.email.strip().casefold()

    def deliver(self, parcel: Parcel, *, at: datetime) -> None:
        row, person, units, lines = parcel.row, parcel.person, parcel.units, parcel.lines
        with translation.override(language_of(person)):
            if parcel.is_list:
                mail = compose_digest(row=row, items=parcel.items, person=person, units=units, lines=lines)
            else:
                (item,) = parcel.items
                mail = compose(row=row, item=item, person=person, units=units, lines=lines)
        send(mail)


def send(mail: EmailMultiAlternatives) -> None:
    """Send one mail. Raises a DeliveryError according to the server's reply (RFC 5321, 4.2.1)."""
    try:
        mail.send()
    except smtplib.SMTPRecipientsRefused as error:
        answers = [(code, text) for code, text in error.recipients.values()]
        raise _refusal(*max(answers)) from error
    except smtplib.SMTPDataError as error:
        raise _refusal(error.smtp_code, error.smtp_error) from error
    except (OSError, smtplib.SMTPException) as error:
        # No answer, connection refused or wrong password: this address is not at fault.
        raise OutOfReach(one_line(str(error))) from error


def _refusal(code: int, text: bytes | str) -> TryLater | OutOfReach | RefusedHere:
    said_by_server = text.decode("utf-8", "replace") if isinstance(text, bytes) else text
    words = one_line(f"{code} {said_by_server}")
    if code in OUR_FAULT:
        return OutOfReach(words)
    return RefusedHere(words) if code >= 500 else TryLater(words)


def message_id(key: str) -> str:
    """A Message-ID derived from the row's key, so that a copy sent after a crash is recognised as one."""
    host = urlsplit(settings.SITE_URL).hostname or ""
    return f"<{key[:40]}@{host if host and ':' not in host else 'wearlog.invalid'}>"


def compose(
    *, row: OutboxRow, item: DueItem, person: User, units: str, lines: Sequence[Line] = ()
) -> EmailMultiAlternatives:
    """The mail of one row. `units` is the system that the person reads, `metric` or `us`; `lines` has the
    stage's day to order and what people said, where known."""
    line = lines[0] if lines else None
    facts = {
        "stage": stage_word(item, row.stage),
        "heading": heading(item),
        "when": when_in_full(item),
        "order": order(item, line.order_on if line is not None and row.stage == Stage.ORDER else None),
        "why": item.why,
        "remarks": remarks(line),
        "bring": bring(item, units),
        "instructions": item.instructions,
        "link": mail_links.job_url(item, person, made_on=row.made_at.date()),
        "caution": item.caution,
        **_foot(person, mail_links.SINGLE),
    }
    subject = f"{facts['stage']}: {facts['heading']}"
    return _mail(
        row, person, subject, as_text(item, facts), render_to_string("reminders/mail/task.html", facts)
    )


def compose_digest(
    *, row: OutboxRow, items: Sequence[DueItem], person: User, units: str, lines: Sequence[Line] = ()
) -> EmailMultiAlternatives:
    """One mail with many tasks, by press and then in the given order, each with its caution; text common to
    all tasks, or to those of a press, is written once. `lines`, where given, are the same items with their
    stages and what people said of them."""
    digest = DigestMail.of(items, person=person, units=units, made_on=row.made_at.date(), lines=lines)
    foot = _foot(person, mail_links.LIST)
    subject = digest_subject(digest)
    html = render_to_string("reminders/mail/digest.html", {"digest": digest, "subject": subject, **foot})
    return _mail(row, person, subject, f"{digest_as_text(digest)}\n{foot_as_text(foot)}", html)


def as_text(item: DueItem, facts: dict[str, object]) -> str:
    details = [
        str(facts["when"]),
        str(facts["order"]),
        _("Why: %(why)s") % {"why": item.why},
        *remarks_of(facts),
        _("Bring: %(things)s") % {"things": facts["bring"]} if facts["bring"] else "",
        item.instructions,
        _("Open the job: %(link)s") % {"link": facts["link"]},
    ]
    task = task_as_text(f"{facts['stage']}: {facts['heading']}", item.caution, details=details)
    return f"{task}\n\n{foot_as_text(facts)}"


def remarks_of(facts: dict[str, object]) -> list[str]:
    return list(facts["remarks"]) if isinstance(facts["remarks"], list) else []


def _foot(person: User, kind: str) -> dict[str, object]:
    return {"stop_link": mail_links.stop_url(person, kind), "wishes_link": mail_links.wishes_url()}


def foot_as_text(foot: dict[str, object]) -> str:
    return "\n".join(
        [
            "-- ",
            _("What comes to you, and when: %(link)s") % {"link": foot["wishes_link"]},
            _("No more reminders by mail: %(link)s") % {"link": foot["stop_link"]},
            "",
        ]
    )


def _mail(row: OutboxRow, person: User, subject: str, text: str, html: str) -> EmailMultiAlternatives:
    stop = mail_links.stop_url(person, mail_links.LIST if row.stage == Stage.DIGEST else mail_links.SINGLE)
    headers = {
        "Message-ID": row.message_id,
        "List-Unsubscribe": f"<{stop}>",
        "List-Unsubscribe-Post": "List-Unsubscribe=One-Click",
    }
    return plain_mail(person=person, subject=subject, text=text, html=html, headers=headers)


def plain_mail(
    *, person: User, subject: str, text: str, html: str, headers: dict[str, str]
) -> EmailMultiAlternatives:
    """A mail with the same content as text and as HTML, marked as sent automatically (RFC 3834, 5)."""
    mail = Mail(
        subject=one_line(subject),
        body=text,
        from_email=settings.DEFAULT_FROM_EMAIL,
        to=[person.email],
        headers={"Auto-Submitted": "auto-generated", **headers},
    )
    mail.encoding = seven_bit()
    mail.attach_alternative(inlined(html), "text/html")
    return mail
