"""Signing in by a link that works once. The secret is shown once; only its hash is kept."""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime, timedelta

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from wearlog.people import audit
from wearlog.people.models import SignInLink, User
from wearlog.people.refusals import Refused

ASK_AGAIN = gettext_lazy("Ask the owner of the mill for a new one, or print one with `manage.py add_person`.")


def hash_of(secret: str) -> str:
    # 256 random bits need no salt and no slow hash: there is nothing to guess.
    return hashlib.sha256(secret.encode()).hexdigest()


@transaction.atomic
def make_link(
    *, user: User, at: datetime, valid_for: timedelta = timedelta(hours=24), by: User | None = None
) -> str:
    """Make a link for the person and return its secret, which is not stored. Earlier unused links of the
    person become void.

    Raises Refused for a person who may no longer sign in.
    """
    # The person's row is locked, so that two links can't be made at once and both stay valid.
    if not hold(user.pk).is_active:
        raise Refused(
            _("%(user)s may not sign in: switch the account on first.") % {"user": user}, field="user"
        )
    void_links(user, at=at)
    secret = secrets.token_urlsafe(32)
    link = SignInLink.objects.create(
        user=user, secret_hash=hash_of(secret), made_at=at, expires_at=at + valid_for
    )
    audit.write(at=at, by=by, action="make sign-in link", record=link, new=audit.snapshot(link))
    return secret


def hold(user_id: int) -> User:
    """Lock and return the person's row: until the transaction ends nobody else can deactivate them or make a
    link."""
    return User.objects.select_for_update(no_key=True).get(pk=user_id)


def void_links(user: User, *, at: datetime) -> None:
    """Make every unused link of the person expire now."""
    SignInLink.objects.filter(user=user, used_at__isnull=True, expires_at__gt=at).update(expires_at=at)


@transaction.atomic
def spend(*, secret: str, at: datetime, device: str = "") -> User:
    """Mark the link as used and return its person. Of two simultaneous clicks exactly one succeeds.

    Raises Refused where the link is unknown, used or expired, or its person may not sign in.
    """
    link = SignInLink.objects.filter(secret_hash=hash_of(secret)).first()
    if link is None:
        raise Refused(_("This sign-in link is not known here. %(ask_again)s") % {"ask_again": ASK_AGAIN})
    user = hold(link.user_id)
    if not user.is_active:
        raise Refused(_("This account is switched off. Ask the owner of the mill."))
    if at >= link.expires_at:
        raise Refused(
            _("This sign-in link is too old, or a newer one was made since. %(ask_again)s")
            % {"ask_again": ASK_AGAIN}
        )
    unused = SignInLink.objects.filter(pk=link.pk, used_at__isnull=True, expires_at__gt=at)
    if not unused.update(used_at=at):
        raise Refused(
            _("This sign-in link was used already; it works once. %(ask_again)s") % {"ask_again": ASK_AGAIN}
        )
    audit.write(at=at, by=user, action="sign in by link", record=user, new={"device": device})
    return user


def note_password(*, user: User, at: datetime, device: str) -> None:
    """Record in the audit trail that the person signed in by password."""
    audit.write(at=at, by=user, action="sign in by password", record=user, new={"device": device})
