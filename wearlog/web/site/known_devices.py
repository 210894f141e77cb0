"""The cookie by which a device that has signed in before is known: there a right password always gets in,
whatever others try elsewhere (docs/decisions/signing-in.md).

It opens nothing by itself. It names accounts by hashes, so that a shared phone tells nobody who uses it.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.utils.crypto import salted_hmac

COOKIE = "wearlog_known"
PATH = "/sign-in/"
KEPT_FOR_S = 60 * 60 * 24 * 400
MOST_PEOPLE = 12
"""Of one device: a phone that hangs at a press knows its whole shift."""

SALT = "wearlog.web.known_devices"


@dataclass(frozen=True)
class Known:
    device: str
    accounts: tuple[str, ...]


def known_as(request: HttpRequest, username: str) -> str:
    """The name of this device where the account has signed in on it before, else an empty text."""
    known = read(request)
    return known.device if known is not None and account_of(username) in known.accounts else ""


def remember(request: HttpRequest, response: HttpResponse, username: str) -> None:
    """Let the device be known to the account from now on."""
    known = read(request) or Known(secrets.token_urlsafe(16), ())
    others = [account for account in known.accounts if account != account_of(username)]
    content = [known.device, [account_of(username), *others][:MOST_PEOPLE]]
    response.set_cookie(
        COOKIE,
        signing.dumps(content, salt=SALT),
        max_age=KEPT_FOR_S,
        path=PATH,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )


def read(request: HttpRequest) -> Known | None:
    """What the cookie says; None without one, or where somebody else wrote it."""
    try:
        device, accounts = signing.loads(request.COOKIES.get(COOKIE, ""), salt=SALT, max_age=KEPT_FOR_S)
    except (signing.BadSignature, ValueError):
        return None
    return Known(device, tuple(accounts))


def account_of(username: str) -> str:
    return salted_hmac(SALT, username.casefold(), algorithm="sha256").hexdigest()[:32]
