"""Setting up the web hook: its address, its secret, and a test message."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.db import transaction
from django.utils.translation import gettext as _

from wearlog.people import audit
from wearlog.people.models import Mill, User
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission, require
from wearlog.reminders.channels.channel import DeliveryError
from wearlog.reminders.channels.webhook import reachable
from wearlog.reminders.channels.webhook.sending import as_bytes, post, secret_text
from wearlog.reminders.models import Webhook


@dataclass(frozen=True)
class Saved:
    """The hook as stored, and its secret where a new one was made."""

    hook: Webhook
    secret: str | None


def the_webhook() -> Webhook | None:
    return Webhook.objects.select_related("person").first()


@transaction.atomic
def save_webhook(*, url: str, is_on: bool, by: User, at: datetime) -> Saved:
    """Set the mill's web hook; it then belongs to the owner who saved it. The first time, a secret is made.
    Owners only.

    Raises NotAllowed, Refused for an address that may not be called.
    """
    require(by, Permission.OWN)
    check(url)
    hook = Webhook.objects.select_for_update().filter(pk=1).first()
    before = seen(hook) if hook is not None else None
    is_new = hook is None
    if hook is None:
        hook = Webhook(pk=1, seed=secrets.token_urlsafe(32), seed_made_at=at)
    hook.person, hook.url, hook.is_on = by, url, is_on
    hook.save()
    audit.write(at=at, by=by, action="add" if is_new else "change", record=hook, old=before, new=seen(hook))
    return Saved(hook, secret_text(hook) if is_new else None)


@transaction.atomic
def renew_secret(*, by: User, at: datetime) -> Saved:
    """Replace the secret; the old one no longer signs anything. Owners only. Raises NotAllowed, Refused
    without a hook."""
    require(by, Permission.OWN)
    hook = Webhook.objects.select_for_update().filter(pk=1).first()
    if hook is None:
        raise Refused(_("There is no web hook yet. Save its address first."))
    before = seen(hook)
    hook.seed, hook.seed_made_at = secrets.token_urlsafe(32), at
    hook.save(update_fields=["seed", "seed_made_at"])
    audit.write(at=at, by=by, action="make another secret", record=hook, old=before, new=seen(hook))
    return Saved(hook, secret_text(hook))


def try_out(*, by: User, at: datetime) -> str:
    """Post one message of type `test`, which names no task. Returns "" where it was accepted, else what went
    wrong. Raises NotAllowed, Refused without a hook. Writes nothing."""
    require(by, Permission.OWN)
    hook = the_webhook()
    if hook is None:
        raise Refused(_("There is no web hook yet. Save its address first."))
    body = as_bytes({"type": "test", "timestamp": at, "data": {"mill": Mill.current().name}})
    try:
        post(hook, key=f"test-{secrets.token_hex(16)}", body=body, at=at)
    except DeliveryError as error:
        return str(error)
    return ""


def check(url: str) -> None:
    try:
        reachable.allowed(url, hosts=settings.WEBHOOK_HOSTS)
    except reachable.NotReachable as error:
        raise Refused(str(error), field="url") from error


def seen(hook: Webhook) -> dict[str, object]:
    """The hook's values for the audit trail, without the seed, from which the secret is derived."""
    return {name: value for name, value in audit.snapshot(hook).items() if name != "seed"}
