"""Reminders as signed JSON to one web address: the second channel.

Headers and signature are those of the open specification Standard Webhooks: `webhook-id` stays the same when
a message comes again, `webhook-signature` is HMAC-SHA256 over id, `webhook-timestamp` and body.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import http.client
import json
import socket
import ssl
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import datetime
from typing import Any

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
from wearlog.reminders.channels.webhook import reachable
from wearlog.reminders.models import Webhook

TIME_LIMIT_S = 15.0
"""For the whole conversation, from the connection to the last byte of the answer."""

MOST_BYTES = 256 * 1024
"""A longer list is cut; `more` says by how many tasks."""

READS_BYTES = 2048
"""So much of an answer is read, for the words of a refusal."""

LATER = (408, 425, 429)
"""Answers of the 4xx class that mean "not now" (RFC 9110, 15.5.9; RFC 8470, 5.2; RFC 6585, 4)."""


class WebhookChannel:
    """The mill's web hook, in the name of the owner who set it up."""

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


# -------- what is said


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


def fitted(kind: str, tasks: Sequence[dict[str, Any]], *, at: datetime) -> bytes:
    """Cut from the end until it fits: the most pressing tasks stand first."""
    kept = len(tasks)
    while True:
        data = {"mill": Mill.current().name, "tasks": list(tasks[:kept]), "more": len(tasks) - kept}
        body = as_bytes({"type": kind, "timestamp": at, "data": data})
        if len(body) <= MOST_BYTES or kept <= 1:
            return body
        kept = kept * MOST_BYTES // (len(body) + 1)


def task_as_json(item: DueItem, *, stage: str, units: str) -> dict[str, Any]:
    """One task. The caution is demanded: a task without one can't leave."""
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


def as_bytes(message: dict[str, Any]) -> bytes:
    return json.dumps(message, cls=DjangoJSONEncoder, ensure_ascii=False).encode()


# -------- signed


def secret_bytes(hook: Webhook) -> bytes:
    """Made of the stored seed and the site's key: a copy of the database alone can't sign."""
    return salted_hmac("wearlog.reminders.webhook", hook.seed, algorithm="sha256").digest()


def secret_text(hook: Webhook) -> str:
    """As the receiver wants it; shown once, when it is made."""
    return "whsec_" + base64.b64encode(secret_bytes(hook)).decode()


def signed_headers(hook: Webhook, *, key: str, body: bytes, at: datetime) -> dict[str, str]:
    stamp = str(int(at.timestamp()))
    said = b".".join((key.encode(), stamp.encode(), body))
    mark = base64.b64encode(hmac.new(secret_bytes(hook), said, hashlib.sha256).digest()).decode()
    return {
        "Content-Type": "application/json",
        "User-Agent": "Wearlog",
        "Connection": "close",
        "webhook-id": key,
        "webhook-timestamp": stamp,
        "webhook-signature": f"v1,{mark}",
    }


# -------- sent


def post(hook: Webhook, *, key: str, body: bytes, at: datetime) -> None:
    """Post the body once. Raises a DeliveryError; redirects are not followed."""
    headers = signed_headers(hook, key=key, body=body, at=at)
    try:
        place = reachable.allowed(hook.url, hosts=settings.WEBHOOK_HOSTS)
        # Looked up once, and connected to what was looked at: a name that changes in between gains nothing.
        address = reachable.choose(reachable.resolve(place.target), networks=settings.WEBHOOK_NETWORKS)
        status, words = exchange(place, str(address), body=body, headers=headers)
    except reachable.NotReachable as error:
        raise RefusedHere(one_line(str(error))) from error
    except (OSError, http.client.HTTPException) as error:
        raise OutOfReach(one_line(f"{type(error).__name__}: {error}")) from error
    if 200 <= status < 300:
        return
    said = one_line(f"{status} {words}")
    if 300 <= status < 400:
        raise RefusedHere(one_line(f"{said}: redirects are not followed, name the address they lead to"))
    raise (TryLater if status >= 500 or status in LATER else RefusedHere)(said)


def exchange(
    place: reachable.Place, address: str, *, body: bytes, headers: dict[str, str]
) -> tuple[int, str]:
    """Status and first words of the answer of `address`, asked in the name of the place's host."""
    target = place.target
    with connected(target, address) as sock:
        connection = http.client.HTTPConnection(target.host, target.port)
        connection.default_port = reachable.PORTS[target.scheme]
        connection.sock = sock
        connection.request("POST", place.path, body=body, headers=headers)
        answer = connection.getresponse()
        return answer.status, answer.read(READS_BYTES).decode("utf-8", "replace")


@contextmanager
def connected(target: reachable.Target, address: str) -> Iterator[socket.socket]:
    """A connection that is cut when TIME_LIMIT_S is over, however slowly the other side talks."""
    open_now = [socket.create_connection((address, target.port), timeout=TIME_LIMIT_S)]
    cut = threading.Timer(TIME_LIMIT_S, hang_up, (open_now,))
    cut.daemon = True
    cut.start()
    try:
        if target.scheme == "https":
            secured = ssl.create_default_context().wrap_socket(
                open_now[0], server_hostname=target.host, do_handshake_on_connect=False
            )
            open_now[0] = secured
            secured.do_handshake()
        yield open_now[0]
    finally:
        cut.cancel()
        open_now[0].close()


def hang_up(open_now: Sequence[socket.socket]) -> None:
    """End both directions of a connection that another thread waits on: it then reads the end."""
    with suppress(OSError):
        socket.socket.shutdown(open_now[0], socket.SHUT_RDWR)  # past the TLS layer, which is in use
