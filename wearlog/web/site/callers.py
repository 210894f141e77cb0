"""Where a request comes from, behind the servers in front that the settings trust."""

from __future__ import annotations

import ipaddress
from collections.abc import Callable, Iterable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Network = ipaddress.IPv4Network | ipaddress.IPv6Network
FORWARDED = ("HTTP_X_FORWARDED_FOR", "HTTP_X_FORWARDED_PROTO", "HTTP_X_FORWARDED_HOST")
IPV6_HOUSEHOLD = 64
"""Whoever has one address of such a network has all 2^64 of them: they count as one."""


class TrustedProxies:
    """Puts the caller's own address into `REMOTE_ADDR`, where `TRUSTED_PROXIES` is set. What anybody else
    says in `X-Forwarded-...` is then thrown away."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        trusted = settings.TRUSTED_PROXIES
        if trusted:
            remote = request.META.get("REMOTE_ADDR", "")
            if is_trusted(remote, trusted.networks, socket_file=trusted.socket_file):
                said = request.META.get("HTTP_X_FORWARDED_FOR", "")
                request.META["REMOTE_ADDR"] = caller(remote, said, trusted.networks)
            else:
                for name in FORWARDED:
                    request.META.pop(name, None)
        return self.get_response(request)


def caller(remote: str, forwarded: str, trusted: Iterable[Network]) -> str:
    """The address of whoever asks a trusted server in front: read from the right, the first that is not one
    of ours. What stands left of it is the caller's own word. `remote` where nothing usable is said."""
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
    # Through a socket file a server hands on no address of its own.
    return socket_file if address is None else _within(address, trusted)


def household(remote: str) -> str:
    """What counts as one place: an IPv4 address, or the /64 that an IPv6 address belongs to."""
    address = parsed(remote)
    if isinstance(address, ipaddress.IPv6Address):
        return str(ipaddress.ip_network((address, IPV6_HOUSEHOLD), strict=False))
    return str(address or "")


def parsed(word: str) -> Address | None:
    """An address as servers write it: also with a port, in brackets, with a zone, or IPv4 within IPv6."""
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
