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
    """Make a link for the person and return its secret, which can't be read again.

    Raises Refused for a person who may no longer sign in.
    """
    if not user.is_active:
        raise Refused(
            _("%(user)s may not sign in: switch the account on first.") % {"user": user}, field="user"
        )
    secret = secrets.token_urlsafe(32)
    link = SignInLink.objects.create(
        user=user, secret_hash=hash_of(secret), made_at=at, expires_at=at + valid_for
    )
    audit.write(at=at, by=by, action="make sign-in link", record=link, new=audit.snapshot(link))
    return secret


@transaction.atomic
def spend(*, secret: str, at: datetime) -> User:
    """Use the link up and return its person. Of two clicks at once exactly one gets in.

    Raises Refused where the link is unknown, used, too old, or its person may not sign in.
    """
    link = SignInLink.objects.select_related("user").filter(secret_hash=hash_of(secret)).first()
    if link is None:
        raise Refused(_("This sign-in link is not known here. %(ask_again)s") % {"ask_again": ASK_AGAIN})
    if not link.user.is_active:
        raise Refused(_("This account is switched off. Ask the owner of the mill."))
    if at >= link.expires_at:
        raise Refused(_("This sign-in link is too old. %(ask_again)s") % {"ask_again": ASK_AGAIN})
    claimed = SignInLink.objects.filter(pk=link.pk, used_at__isnull=True).update(used_at=at)
    if not claimed:
        raise Refused(
            _("This sign-in link was used already; it works once. %(ask_again)s") % {"ask_again": ASK_AGAIN}
        )
    audit.write(at=at, by=link.user, action="sign in by link", record=link)
    return link.user
