"""Reminders posted as signed JSON to one web address (web hook).

Headers and signature are those of the open specification Standard Webhooks: `webhook-id` stays the same when
a message comes again, `webhook-signature` is HMAC-SHA256 over id, `webhook-timestamp` and body.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Sequence
from datetime import UTC, datetime

import httpcore
import standardwebhooks
from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.utils import translation
from django.utils.crypto import salted_hmac

from wearlog.forecasts.items import DueItem
from wearlog.lockout.cautions.text import demand
from wearlog.people.languages import language_of
from wearlog.people.models import Mill, User
from wearlog.people.roles import Permission, allows
from wearlog.reminders.channels.channel import OutOfReach, Parcel, RefusedHere, TryLater
from wearlog.reminders.channels.mail.words import bring, one_line, stage_word, tidy, work_link
from wearlog.reminders.channels.webhook import connecting, reachable
from wearlog.reminders.models import Webhook

TIME_LIMIT_S = 15.0
"""The time limit for the whole request, from connecting to the last byte of the response."""

MOST_BYTES = 256 * 1024
"""The largest body in bytes. A longer list is truncated; `more` says by how many tasks."""

READS_BYTES = 2048
"""How much of the response is read, for the text of an error."""

LATER = (408, 425, 429)
"""Answers of the 4xx class that mean "not now" (RFC 9110, 15.5.9; RFC 8470, 5.2; RFC 6585, 4)."""


class WebhookChannel:
    """The mill's web hook. Its messages belong to the owner who set it up."""

    name = "webhook"

    def wants(self, person: User) -> bool:
        return allows(person, Permission.OWN) and self._of(person) is not None

    def address_of(self, person: User) -> str:
        hook = self._of(person)
        return hook.url if hook is not None else ""

    def deliver(self, parcel: Parcel, *, at: datetime) -> None:
        hook = self._of(parcel.person)
        if hook is None:
            raise TryLater("The web hook was switched off a moment ago.")
        with translation.override(language_of(parcel.person)):
            body = body_of(parcel, at=at)
        post(hook, key=parcel.row.dedupe_key, body=body, at=at)

    def _of(self, person: User) -> Webhook | None:
        return Webhook.objects.filter(person=person, is_on=True).first()


# -------- content


def body_of(parcel: Parcel, *, at: datetime) -> bytes:
    """The message as JSON, each task with its caution and isolation points."""
    stages = [line.stage.value for line in parcel.lines] or [item.state for item in parcel.items]
    orders = [line.order_on for line in parcel.lines] or [None] * len(parcel.items)
    tasks = [
        task_as_json(item, stage=stage, units=parcel.units) | {"order_on": order_on}
        for item, stage, order_on in zip(parcel.items, stages, orders, strict=True)
    ]
    kind = "tasks.list" if parcel.is_list else f"task.{stages[0]}"
    return fitted(kind, tasks, at=at)


def fitted(kind: str, tasks: Sequence[dict[str, object]], *, at: datetime) -> bytes:
    """The message as bytes, without the last tasks where it would be too long; the most pressing come
    first."""
    kept = len(tasks)
    while True:
        data = {"mill": Mill.current().name, "tasks": list(tasks[:kept]), "more": len(tasks) - kept}
        body = as_bytes({"type": kind, "timestamp": at, "data": data})
        if len(body) <= MOST_BYTES or kept <= 1:
            return body
        kept = kept * MOST_BYTES // (len(body) + 1)


def task_as_json(item: DueItem, *, stage: str, units: str) -> dict[str, object]:
    """One task as JSON. Raises TypeError where it has no caution, so that none can be sent without."""
    caution = demand(item.caution)
    return {
        "stage": stage,
        "stage_word": stage_word(item, stage),
        "rule": item.rule,
        "action": item.action,
        "press": item.press,
        "press_name": tidy(item.press_name or item.press),
        "position": item.position,
        "part": item.part,
        "edge": item.edge,
        "due_on": item.due_on,
        "early_on": item.early_on,
        "late_on": item.late_on,
        "why": item.why,
        "bring": bring(item, units),
        "instructions": item.instructions,
        "caution": {
            "signal_word": caution.signal_word,
            "text": caution.text,
            "isolation_points": list(caution.isolation_points),
            "version": caution.version,
        },
        "link": work_link(item),
    }


def as_bytes(message: dict[str, object]) -> bytes:
    return json.dumps(message, cls=DjangoJSONEncoder, ensure_ascii=False).encode()


# -------- signature


def secret_bytes(hook: Webhook) -> bytes:
    """The secret, derived from the stored seed and the site's key, so that a copy of the database alone can't
    sign."""
    return salted_hmac("wearlog.reminders.webhook", hook.seed, algorithm="sha256").digest()


def secret_text(hook: Webhook) -> str:
    """The secret in the form that the receiver needs; shown only when it is made."""
    return "whsec_" + base64.b64encode(secret_bytes(hook)).decode()


def signed_headers(hook: Webhook, *, key: str, body: bytes, at: datetime) -> dict[str, str]:
    stamp = str(int(at.timestamp()))
    # The library ignores the time zone and assumes UTC.
    mark = standardwebhooks.Webhook(secret_bytes(hook)).sign(key, at.astimezone(UTC), body.decode())
    return {
        "Content-Type": "application/json",
        "User-Agent": "Wearlog",
        "Connection": "close",
        "webhook-id": key,
        "webhook-timestamp": stamp,
        "webhook-signature": mark,
    }


# -------- sending


def post(hook: Webhook, *, key: str, body: bytes, at: datetime) -> None:
    """Post the body once. Raises a DeliveryError; redirects are not followed."""
    headers = signed_headers(hook, key=key, body=body, at=at)
    try:
        status, words = connecting.post(
            reachable.allowed(hook.url, hosts=settings.WEBHOOK_HOSTS),
            headers=headers,
            body=body,
            networks=settings.WEBHOOK_NETWORKS,
            limit_s=TIME_LIMIT_S,
            most_bytes=READS_BYTES,
        )
    except reachable.NotReachable as error:
        raise RefusedHere(one_line(str(error))) from error
    except (OSError, httpcore.NetworkError, httpcore.TimeoutException, httpcore.ProtocolError) as error:
        cause = first_cause(error)
        raise OutOfReach(one_line(f"{type(cause).__name__}: {cause}")) from error
    if 200 <= status < 300:
        return
    said = one_line(f"{status} {words}")
    if 300 <= status < 400:
        raise RefusedHere(one_line(f"{said}: redirects are not followed, name the address they lead to"))
    raise (TryLater if status >= 500 or status in LATER else RefusedHere)(said)


def first_cause(error: BaseException) -> BaseException:
    """The innermost cause of the HTTP client's exception: the error of the system or of the protocol."""
    while (cause := error.__cause__ or error.__context__) is not None:
        error = cause
    return error
