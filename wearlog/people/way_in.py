"""The way in from the command line: a link that signs somebody in once, as a command prints it."""

from __future__ import annotations

from datetime import datetime

from django.conf import settings
from django.urls import reverse

from wearlog.people import signin
from wearlog.people.models import Role, User


def first_owner() -> User | None:
    """The owner who has been here longest, or None where nobody who owns the mill may sign in."""
    return User.objects.filter(role=Role.OWNER, is_active=True).order_by("pk").first()


def printed_link(*, user: User, at: datetime, site: str = "") -> str:
    """The address of a new link. `site` is as people type it, with or without `http://`; unsaid, the one
    that links in mails begin with. Raises Refused for a person who may no longer sign in."""
    secret = signin.make_link(user=user, at=at)
    begin = site.strip().rstrip("/") or str(settings.SITE_URL)
    if "://" not in begin:
        begin = f"http://{begin}"
    return f"{begin}{reverse('web:sign-in-link', args=[secret])}"
