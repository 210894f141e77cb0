"""Sign-in links for commands to print: each signs a person in once."""

from __future__ import annotations

from datetime import datetime

from django.conf import settings
from django.urls import reverse

from wearlog.people import signin
from wearlog.people.models import Role, User


def first_owner() -> User | None:
    """The longest-standing active owner, or None where no owner may sign in."""
    return User.objects.filter(role=Role.OWNER, is_active=True).order_by("pk").first()


def printed_link(*, user: User, at: datetime, site: str = "") -> str:
    """Make a link and return its full address. `site` may be with or without `http://`; empty: the base
    address of links in mails. Raises Refused for a person who may no longer sign in."""
    secret = signin.make_link(user=user, at=at)
    begin = site.strip().rstrip("/") or str(settings.SITE_URL)
    if "://" not in begin:
        begin = f"http://{begin}"
    return f"{begin}{reverse('web:sign-in-link', args=[secret])}"
