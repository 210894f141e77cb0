"""A due item as a mail: subject, plain text and HTML, each with its caution."""

from __future__ import annotations

import smtplib
from datetime import date
from urllib.parse import urlencode, urlsplit

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from wearlog.calc.units import show_length
from wearlog.equipment.models import Kind
from wearlog.forecasts.items import DueItem
from wearlog.lockout.text import task_as_text
from wearlog.people.models import User
from wearlog.people.roles import Permission, allows
from wearlog.reminders.channels import OutOfReach, Parcel, RefusedHere, TryLater
from wearlog.reminders.models import OutboxRow, Stage
from wearlog.service.models import Action


class MailChannel:
    """Reminders by mail, through Django's mail settings; each step is cut off after EMAIL_TIMEOUT."""

    name = "mail"

    def wants(self, person: User) -> bool:
        """Everybody who works at the presses, wants mail and has an address; viewers only look."""
        return person.is_active and person.gets_mail and bool(person.email) and allows(person, Permission.LOG)

    def address_of(self, person: User) -> str:
        return person.email.strip().casefold()

    def deliver(self, parcel: Parcel) -> None:
        (item,) = parcel.items
        send(compose(row=parcel.row, item=item, person=parcel.person, units=parcel.units))


def send(mail: EmailMultiAlternatives) -> None:
    """Hand one mail to the server. Raises a DeliveryError by the server's answer (RFC 5321, 4.2.1)."""
    try:
        mail.send()
    except smtplib.SMTPRecipientsRefused as error:
        answers = list(error.recipients.values())
        raise (RefusedHere if all(code >= 500 for code, _text in answers) else TryLater)(
            str(error)
        ) from error
    except smtplib.SMTPDataError as error:
        raise (RefusedHere if error.smtp_code >= 500 else TryLater)(str(error)) from error
    except (OSError, smtplib.SMTPException) as error:
        # Not answered, turned away at the door, or a wrong password: no fault of this address.
        raise OutOfReach(str(error)) from error


def message_id(key: str) -> str:
    """A Message-ID that follows from the row's key, so that a copy sent after a crash is known as one."""
    host = urlsplit(settings.SITE_URL).hostname or ""
    return f"<{key[:40]}@{host if host and ':' not in host else 'wearlog.invalid'}>"


def compose(*, row: OutboxRow, item: DueItem, person: User, units: str) -> EmailMultiAlternatives:
    """The mail of one row. `units` is the system that the person reads, `metric` or `us`."""
    facts = {
        "stage": capfirst(Stage(row.stage or item.state).label),
        "heading": heading(item),
        "when": when(item),
        "why": item.why,
        "bring": bring(item, units),
        "instructions": item.instructions,
        "link": link(item),
        "caution": item.caution,
        "person": person,
    }
    mail = EmailMultiAlternatives(
        subject=one_line(f"{facts['stage']}: {facts['heading']}"),
        body=as_text(item, facts),
        from_email=settings.DEFAULT_FROM_EMAIL,
        to=[person.email],
        headers={"Message-ID": row.message_id, "Auto-Submitted": "auto-generated"},
    )
    mail.attach_alternative(render_to_string("reminders/mail.html", facts), "text/html")
    return mail


def as_text(item: DueItem, facts: dict[str, object]) -> str:
    details = [
        str(facts["when"]),
        _("Why: %(why)s") % {"why": item.why},
        _("Bring: %(things)s") % {"things": facts["bring"]} if facts["bring"] else "",
        item.instructions,
        _("Open the job: %(link)s") % {"link": facts["link"]},
    ]
    return task_as_text(f"{facts['stage']}: {facts['heading']}", item.caution, details=details) + "\n"


def heading(item: DueItem) -> str:
    """`replace screw S-03 on Press 1 (screw)`, in the language that is active."""
    part = " ".join(word for word in (item.part, item.edge) if word)
    words = {
        "action": label(Action, item.action),
        "thing": part or item.position or label(Kind, item.kind),
        "press": item.press_name or item.press,
        "rule": item.rule,
    }
    if words["thing"]:
        return _("%(action)s %(thing)s on %(press)s (%(rule)s)") % words
    return _("%(action)s %(press)s (%(rule)s)") % words


def when(item: DueItem) -> str:
    """The likely day and the range around it; a reminder always has at least a reason, if not a day."""
    if item.due_on is None:
        return _("When: as soon as it fits.")
    if item.early_on and item.late_on and item.early_on != item.late_on:
        return _("When: about %(due)s, between %(early)s and %(late)s.") % {
            "due": day(item.due_on),
            "early": day(item.early_on),
            "late": day(item.late_on),
        }
    return _("When: %(due)s.") % {"due": day(item.due_on)}


def bring(item: DueItem, units: str) -> str:
    """What to take along: the part or a spare of its kind and size."""
    if not item.kind:
        return ""
    kind = label(Kind, item.kind)
    size = f" {show_length(item.size_mm, units)}" if item.size_mm else ""
    if item.action in (Action.REPLACE, Action.REBUILD, Action.REPAIR, Action.HARD_FACE, Action.REAM):
        return _("a spare %(kind)s%(size)s for %(part)s") % {"kind": kind, "size": size, "part": item.part}
    if item.action in (Action.MEASURE, Action.INSPECT, Action.POLISH):
        return _("the gauge for the %(kind)s%(size)s") % {"kind": kind, "size": size}
    if item.action in (Action.FLIP, Action.TURN):
        return _("tools to open the head, for the %(kind)s%(size)s") % {"kind": kind, "size": size}
    return f"{kind}{size}" if size else ""


def link(item: DueItem) -> str:
    """The address of the page that logs this very work, filled in."""
    query = {
        "press": item.press_id,
        "fitting": item.fitting_id,
        "action": item.action,
        "rule": item.rule_id,
    }
    known = {name: value for name, value in query.items() if value}
    return f"{settings.SITE_URL}{reverse('web:work-new')}?{urlencode(known)}"


def day(value: date) -> str:
    """A day that is read alike everywhere: the month as a word."""
    return date_format(value, "j F Y")


def label(choices: type[Action] | type[Kind], value: str) -> str:
    """The word for a coded value in the active language; a code that is not known stays as it is."""
    return str(choices(value).label) if value in choices.values else value


def one_line(text: str) -> str:
    """A header has no line breaks, whatever a rule was named."""
    return " ".join(text.split())
