"""The client address of a request behind trusted reverse proxies."""

from __future__ import annotations

import ipaddress
import os
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Network = ipaddress.IPv4Network | ipaddress.IPv6Network
FORWARDED = ("HTTP_X_FORWARDED_FOR", "HTTP_X_FORWARDED_PROTO", "HTTP_X_FORWARDED_HOST")
SAID_BY_PROXIES = ("HTTP_X_FORWARDED_FOR", "HTTP_FORWARDED")
NOTE = "unnamed-proxy"
"""A file in the data folder, since a GET must not write to the database."""
NOTED_EVERY = timedelta(days=1)
IPV6_HOUSEHOLD = 64
"""The prefix length by which IPv6 addresses are grouped: a client has all 2^64 addresses of such a
network."""


class TrustedProxies:
    """Sets `REMOTE_ADDR` to the client's address where `TRUSTED_PROXIES` is set, and drops `X-Forwarded-...`
    headers from all others."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        trusted, remote = settings.TRUSTED_PROXIES, request.META.get("REMOTE_ADDR", "")
        believed = is_trusted(remote, trusted.networks, socket_file=trusted.socket_file)
        if not believed and any(name in request.META for name in SAID_BY_PROXIES):
            note_unnamed(remote, at=timezone.now())
        if trusted:
            if believed:
                said = request.META.get("HTTP_X_FORWARDED_FOR", "")
                request.META["REMOTE_ADDR"] = caller(remote, said, trusted.networks)
            else:
                for name in FORWARDED:
                    request.META.pop(name, None)
        return self.get_response(request)


@dataclass(frozen=True)
class Unnamed:
    """The sender of a forwarded request that is not in `TRUSTED_PROXIES`: its address, empty for a Unix
    socket, and the time. It may be a forgotten proxy, or a stranger who forges the header."""

    remote: str
    at: datetime


def note_unnamed(remote: str, *, at: datetime) -> None:
    """Record the sender of a forwarded request for `doctor`, at most once a day. Write errors are ignored, as
    a full disk is reported elsewhere."""
    path = Path(settings.DATA_DIR) / NOTE
    with suppress(OSError):
        if path.exists() and abs(at.timestamp() - path.stat().st_mtime) < NOTED_EVERY.total_seconds():
            return
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w") as stream:
            stream.write(str(parsed(remote) or ""))
        os.utime(path, (at.timestamp(), at.timestamp()))


def unnamed() -> Unnamed | None:
    """The last one recorded, unless it has been added to `TRUSTED_PROXIES` since."""
    path, trusted = Path(settings.DATA_DIR) / NOTE, settings.TRUSTED_PROXIES
    try:
        remote, at = path.read_text().strip(), datetime.fromtimestamp(path.stat().st_mtime, UTC)
    except (OSError, ValueError):
        return None
    named = is_trusted(remote, trusted.networks, socket_file=trusted.socket_file)
    return None if named else Unnamed(remote, at)


def caller(remote: str, forwarded: str, trusted: Iterable[Network]) -> str:
    """The client's address from `X-Forwarded-For`: from the right, the first that is not a trusted proxy's.
    Those to its left were sent by the client and prove nothing. `remote` where there is no usable address."""
    trusted = tuple(trusted)
    nearest = remote
    for word in reversed(forwarded.split(",")):
        address = parsed(word)
        if address is None:
            break
        nearest = str(address)
        if not _within(address, trusted):
            break
    return nearest


def is_trusted(remote: str, trusted: Iterable[Network], *, socket_file: bool) -> bool:
    address = parsed(remote)
    # A proxy on a Unix socket has no address.
    return socket_file if address is None else _within(address, trusted)


def household(remote: str) -> str:
    """The network that counts as one client: an IPv4 address, or the /64 of an IPv6 address."""
    address = parsed(remote)
    if isinstance(address, ipaddress.IPv6Address):
        return str(ipaddress.ip_network((address, IPV6_HOUSEHOLD), strict=False))
    return str(address or "")


def parsed(word: str) -> Address | None:
    """Parse an address as proxies write it: also with a port, in brackets, with a zone, or IPv4 within IPv6.
    None where it is invalid."""
    word = word.strip()
    if word.startswith("["):
        word = word[1:].partition("]")[0]
    elif word.count(":") == 1:
        word = word.partition(":")[0]
    try:
        address = ipaddress.ip_address(word.partition("%")[0])
    except ValueError:
        return None
    return getattr(address, "ipv4_mapped", None) or address


def _within(address: Address, networks: Iterable[Network]) -> bool:
    return any(address.version == network.version and address in network for network in networks)
