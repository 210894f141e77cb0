"""Hosts other than this machine under which the site is reached without encryption."""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import urlsplit

from django.conf import settings

from wearlog.config.environment import is_this_machine

REMEDY = (
    "Put a server with a certificate in front and unset HTTPS, or use quickstart --https (docs/phone.md)."
)


def by_settings() -> list[str]:
    """Those of `ALLOWED_HOSTS` and `SITE_URL`, where `HTTPS` is off; else none."""
    if settings.SESSION_COOKIE_SECURE:
        return []
    site = urlsplit(settings.SITE_URL)
    return others([*settings.ALLOWED_HOSTS, *([site.hostname or ""] if site.scheme == "http" else [])])


def others(hosts: Sequence[str]) -> list[str]:
    return list(dict.fromkeys(host for host in hosts if host and not is_this_machine(host)))


def words(hosts: Sequence[str]) -> str:
    return (
        f"{', '.join(hosts)}: served without encryption, so that whoever is in that network can read along, "
        "passwords too"
    )
