"""Which web addresses the site may call: hosts on a list, and no private network unless the settings name it.

Pure except `resolve`. The settings import this to parse both lists, so it imports nothing else of Wearlog.
"""

from __future__ import annotations

import ipaddress
import re
import socket
from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlsplit

from django.core.exceptions import ImproperlyConfigured
from django.utils.translation import gettext as _

PORTS = {"https": 443, "http": 80}
HOST = re.compile(r"[a-z0-9]([a-z0-9-]*[a-z0-9])?(\.[a-z0-9]([a-z0-9-]*[a-z0-9])?)*|[0-9a-f:.]*:[0-9a-f:.]*")
NAT64 = ipaddress.ip_network("64:ff9b::/96")
ALLOCATED_V6 = ipaddress.ip_network("2000::/3")
"""The ranges that IANA has allocated as global unicast. Addresses outside (site-local fec0::/10, local NAT64,
segment routing 5f00::/16, ...) are not public, whatever a version of Python says."""

SPECIAL = tuple(
    map(
        ipaddress.ip_network,
        (
            "192.0.0.0/24",  # IETF protocol assignments; also its two anycast addresses are no receivers
            "192.88.99.0/24",  # 6to4 relays, deprecated by RFC 7526
            "2001:20::/28",  # ORCHIDv2, identifiers that are not routable
            "2001:30::/28",  # drone remote identification
            "2001:db8::/32",
            "3fff::/20",  # documentation, RFC 9637
        ),
    )
)
"""Special ranges within the public ones that may not be called. From IANA's special-purpose registries, from
memory."""

Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Network = ipaddress.IPv4Network | ipaddress.IPv6Network


class NotReachable(Exception):
    """The site may not call there. The text says what to do."""


@dataclass(frozen=True)
class Target:
    """A host that may be called, by one scheme and port."""

    scheme: str
    host: str
    port: int

    def __str__(self) -> str:
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{self.scheme}://{host}" + ("" if self.port == PORTS[self.scheme] else f":{self.port}")


@dataclass(frozen=True)
class Place:
    """A parsed web address: where to connect, and the path to request."""

    target: Target
    path: str


def read_hosts(text: str) -> tuple[Target, ...]:
    """Parse `WEBHOOK_HOSTS`, separated by commas: `hooks.mill.example` and `hooks.mill.example:8443` mean
    https, plain http must be written out. Raises ImproperlyConfigured."""
    found = []
    for entry in filter(None, (part.strip() for part in text.split(","))):
        try:
            place = take_apart(entry if "://" in entry else f"https://{entry}")
        except NotReachable:
            place = None
        if place is None or place.path != "/":
            raise ImproperlyConfigured(
                f"WEBHOOK_HOSTS={shown(text)} can't be used: {shown(entry)} is no host. "
                "Write hosts with a comma between, as in hooks.mill.example,http://panel.mill.example:8080"
            )
        found.append(place.target)
    return tuple(found)


def shown(entry: str) -> str:
    """The entry for an error message, without user and password, since the message gets into logs."""
    return repr(entry.rpartition("@")[2])


def read_networks(text: str) -> tuple[Network, ...]:
    """Parse `WEBHOOK_NETWORKS`: private networks that may be called, separated by commas. Raises
    ImproperlyConfigured."""
    try:
        return tuple(ipaddress.ip_network(part.strip()) for part in text.split(",") if part.strip())
    except ValueError:
        raise ImproperlyConfigured(
            f"WEBHOOK_NETWORKS={shown(text)} can't be used. "
            "Write networks with a comma between, as in 192.168.10.0/24,fd00:10::/64"
        ) from None


def take_apart(url: str) -> Place:
    """Parse the address. Raises NotReachable where it is no plain http or https address."""
    wrong = NotReachable(_("Write a web address as in https://hooks.mill.example/wearlog"))
    if len(url) > 500 or not url.isascii() or any(sign <= " " or sign in "\\\x7f" for sign in url):
        raise wrong
    try:
        parts = urlsplit(url)
        host, port = (parts.hostname or "").lower(), parts.port
    except ValueError as error:
        raise wrong from error
    if parts.scheme not in PORTS or not HOST.fullmatch(host) or port == 0:
        raise wrong
    if parts.username is not None or parts.password is not None or parts.fragment:
        raise NotReachable(_("Leave name, password and # out of the address: messages are signed instead."))
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    return Place(Target(parts.scheme, host, port or PORTS[parts.scheme]), path)


def allowed(url: str, *, hosts: Sequence[Target]) -> Place:
    """Parse the address. Raises NotReachable where its host is not in `hosts`."""
    place = take_apart(url)
    if place.target in hosts:
        return place
    if any(target.host == place.target.host for target in hosts):
        known = ", ".join(str(target) for target in hosts if target.host == place.target.host)
        raise NotReachable(
            _("This host may be called as %(known)s alone. Write the address so.") % {"known": known}
        )
    raise NotReachable(
        _(
            "The host %(host)s is not on the list of hosts that may be called. Who runs the "
            "site adds it to WEBHOOK_HOSTS and starts it again."
        )
        % {"host": place.target.host}
    )


def resolve(host: str, port: int) -> list[Address]:
    """Every address of the host, from the system's resolver. Raises OSError where there is none."""
    found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    return [ipaddress.ip_address(str(entry[4][0]).partition("%")[0]) for entry in found]


def choose(addresses: Sequence[Address], *, networks: Sequence[Network]) -> Address:
    """The address to connect to. Raises NotReachable where any of them is private and not in `networks`: a
    host with both public and private addresses is not trusted."""
    for address in addresses:
        if not may_be_called(address, networks=networks):
            raise NotReachable(
                _(
                    "The host leads to %(address)s, which is no public address. Who runs the site "
                    "names its network in WEBHOOK_NETWORKS if it may be called."
                )
                % {"address": address}
            )
    if not addresses:
        raise NotReachable(_("The host leads to no address."))
    return addresses[0]


def may_be_called(address: Address, *, networks: Sequence[Network]) -> bool:
    """Whether the address is public or in one of `networks`. For an IPv6 address that embeds an IPv4 one,
    that one decides."""
    inner = within(address)
    if inner is not None:
        return may_be_called(inner, networks=networks)
    if any(address.version == network.version and address in network for network in networks):
        return True
    if address.version == 6 and address not in ALLOCATED_V6:
        return False
    if any(address.version == network.version and address in network for network in SPECIAL):
        return False
    return address.is_global and not (
        address.is_multicast or address.is_reserved or address.is_unspecified or address.is_loopback
    )


def within(address: Address) -> Address | None:
    """The IPv4 address embedded in an IPv6 one (mapped, 6to4, Teredo or NAT64), or None."""
    if not isinstance(address, ipaddress.IPv6Address):
        return None
    if address in NAT64:
        return ipaddress.IPv4Address(int(address) & 0xFFFFFFFF)
    return address.ipv4_mapped or address.sixtofour or (address.teredo[1] if address.teredo else None)
