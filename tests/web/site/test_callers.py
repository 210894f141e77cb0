"""Where a request comes from, behind servers in front: only those that are named are believed."""

from __future__ import annotations

from ipaddress import ip_network
from pathlib import Path

import pytest
from django.http import HttpRequest, HttpResponse
from django.test import RequestFactory
from pytest_django.fixtures import Settings

from wearlog.config.environment import Proxies
from wearlog.web.site.callers import TrustedProxies, caller, household, is_trusted

OURS = tuple(ip_network(word) for word in ("10.0.0.0/8", "127.0.0.1", "2001:db8:1::/48"))


@pytest.mark.parametrize(
    ("remote", "forwarded", "found"),
    [
        ("10.0.0.2", "203.0.113.9", "203.0.113.9"),
        ("10.0.0.2", "192.0.2.1, 203.0.113.9", "203.0.113.9"),  # what stands left is the caller's own word
        ("10.0.0.2", "192.0.2.1, 203.0.113.9, 10.3.3.3", "203.0.113.9"),
        ("10.0.0.2", "10.9.9.9, 10.3.3.3", "10.9.9.9"),  # somebody within: the farthest that is said
        ("10.0.0.2", "", "10.0.0.2"),
        ("10.0.0.2", "unknown", "10.0.0.2"),
        ("10.0.0.2", "203.0.113.9, nonsense, 10.3.3.3", "10.3.3.3"),
        ("10.0.0.2", "203.0.113.9:51234", "203.0.113.9"),
        ("127.0.0.1", "[2001:db8:2::7]:443", "2001:db8:2::7"),
        ("2001:db8:1::1", "2001:db8:2::7", "2001:db8:2::7"),
        ("::ffff:10.0.0.2", "::ffff:203.0.113.9", "203.0.113.9"),
        ("", "203.0.113.9", "203.0.113.9"),
    ],
)
def test_read_from_the_right_the_first_that_is_not_ours_counts(
    remote: str, forwarded: str, found: str
) -> None:
    assert caller(remote, forwarded, OURS) == found


@pytest.mark.parametrize(
    ("remote", "socket_file", "trusted"),
    [
        ("10.255.0.1", False, True),
        ("::ffff:10.0.0.1", False, True),
        ("11.0.0.1", False, False),
        ("2001:db8:1:5::9", False, True),
        ("2001:db8:2::9", False, False),
        ("", False, False),
        ("", True, True),
    ],
)
def test_who_is_trusted(remote: str, socket_file: bool, trusted: bool) -> None:
    assert is_trusted(remote, OURS, socket_file=socket_file) is trusted


@pytest.mark.parametrize(
    ("address", "counted"),
    [
        ("203.0.113.9", "203.0.113.9"),
        ("2001:db8:2:3:4:5:6:7", "2001:db8:2:3::/64"),
        ("2001:db8:2:3:ffff::1", "2001:db8:2:3::/64"),
        ("2001:db8:2:4::1", "2001:db8:2:4::/64"),
        ("fe80::1%eth0", "fe80::/64"),
        ("::ffff:203.0.113.9", "203.0.113.9"),
        ("", ""),
    ],
)
def test_an_ipv6_address_counts_with_its_whole_network(address: str, counted: str) -> None:
    assert household(address) == counted


@pytest.fixture(autouse=True)
def data_folder(settings: Settings, tmp_path: Path) -> Path:
    settings.DATA_DIR = tmp_path
    return tmp_path


def seen(proxies: Proxies, settings: Settings, **said: str) -> dict[str, str]:
    """What the site sees of a request: the caller's address, and what is said to be forwarded."""
    settings.TRUSTED_PROXIES = proxies
    found: dict[str, str] = {}

    def site(request: HttpRequest) -> HttpResponse:
        names = ("REMOTE_ADDR", "HTTP_X_FORWARDED_FOR", "HTTP_X_FORWARDED_PROTO")
        found.update({name: request.META[name] for name in names if name in request.META})
        return HttpResponse()

    TrustedProxies(site)(RequestFactory().get("/", **said))  # type: ignore[arg-type]
    return found


def test_with_no_proxy_named_nobody_says_where_they_come_from(settings: Settings) -> None:
    found = seen(Proxies(), settings, REMOTE_ADDR="203.0.113.9", HTTP_X_FORWARDED_FOR="192.0.2.1")
    assert found["REMOTE_ADDR"] == "203.0.113.9"


def test_a_stranger_beside_a_named_proxy_is_not_believed_about_https_either(settings: Settings) -> None:
    said = {"HTTP_X_FORWARDED_FOR": "192.0.2.1", "HTTP_X_FORWARDED_PROTO": "https"}
    named = Proxies(OURS)
    assert seen(named, settings, REMOTE_ADDR="203.0.113.9", **said) == {"REMOTE_ADDR": "203.0.113.9"}
    ours = seen(named, settings, REMOTE_ADDR="10.0.0.2", **said)
    assert (ours["REMOTE_ADDR"], ours["HTTP_X_FORWARDED_PROTO"]) == ("192.0.2.1", "https")


def test_through_a_socket_file_the_server_in_front_is_believed_where_that_is_said(settings: Settings) -> None:
    said = {"REMOTE_ADDR": "", "HTTP_X_FORWARDED_FOR": "203.0.113.9"}
    assert seen(Proxies(OURS, socket_file=True), settings, **said)["REMOTE_ADDR"] == "203.0.113.9"
    assert seen(Proxies(OURS), settings, **said)["REMOTE_ADDR"] == ""
