"""The cookie that identifies a device on which an account has signed in before: there a right password is
never delayed by tries elsewhere (docs/decisions/signing-in.md).

It authenticates nobody. It contains hashes of the accounts, so that a shared phone does not reveal its users.
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
"""How many accounts one device remembers: a phone at a press is used by a whole shift."""

SALT = "wearlog.web.known_devices"


@dataclass(frozen=True)
class Known:
    device: str
    accounts: tuple[str, ...]


def known_as(request: HttpRequest, username: str) -> str:
    """The id of this device where the account has signed in on it before, else an empty text."""
    known = read(request)
    return known.device if known is not None and account_of(username) in known.accounts else ""


def remember(request: HttpRequest, response: HttpResponse, username: str) -> None:
    """Remember in the device's cookie that the account has signed in on it."""
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
    """The content of the cookie; None where it is missing or its signature is invalid."""
    try:
        device, accounts = signing.loads(request.COOKIES.get(COOKIE, ""), salt=SALT, max_age=KEPT_FOR_S)
    except (signing.BadSignature, ValueError):
        return None
    return Known(device, tuple(accounts))


def account_of(username: str) -> str:
    return salted_hmac(SALT, username.casefold(), algorithm="sha256").hexdigest()[:32]
