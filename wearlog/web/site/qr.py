"""QR codes as SVG, and the base URL that they lead to."""

from __future__ import annotations

import ipaddress
from functools import lru_cache
from urllib.parse import urlsplit

import segno
from django.conf import settings
from django.http import HttpRequest
from django.utils.html import format_html
from django.utils.safestring import SafeString

QUIET = 4
"""The width of the quiet zone round the code that ISO/IEC 18004 requires, in modules."""


def qr_svg(text: str, *, label: str) -> SafeString:
    """The code as one inline SVG, black on white also in dark mode; `label` is its text for screen readers.

    Error correction M: up to about 15 % of the code may be dirty (ISO/IEC 18004, from memory).
    """
    side, dark = _drawn(text)
    return format_html(
        '<svg class="qr" viewBox="0 0 {side} {side}" role="img" aria-label="{label}" '
        'shape-rendering="crispEdges"><path fill="#fff" d="M0 0h{side}v{side}H0z"/>'
        '<path fill="#000" d="{dark}"/></svg>',
        side=side,
        label=label,
        dark=dark,
    )


@lru_cache(maxsize=256)
def _drawn(text: str) -> tuple[int, str]:
    """The side in modules, and the path of what is dark. Kept, since a code is slow to work out, and cards
    and labels are shown before they are printed."""
    rows = segno.make_qr(text, error="m", boost_error=False).matrix
    path = "".join(_runs(row, number + QUIET) for number, row in enumerate(rows))
    return len(rows) + 2 * QUIET, path


def _runs(row: bytearray, y: int) -> str:
    """The SVG path of a row, with one rectangle for each run of dark modules."""
    path, x = "", 0
    while x < len(row):
        end = x
        while end < len(row) and row[end]:
            end += 1
        if end > x:
            path += f"M{x + QUIET} {y}h{end - x}v1h-{end - x}z"
        x = max(end, x + 1)
    return path


def site_of(request: HttpRequest) -> str:
    """`https://mill.example`: the base URL for phones, without a trailing slash.

    `SITE_URL` where other machines can reach it; else the address by which this page was opened.
    """
    for site in (settings.SITE_URL, request.build_absolute_uri("/")):
        if not is_this_machine_only(site):
            return str(site).rstrip("/")
    return request.build_absolute_uri("/").rstrip("/")


def is_this_machine_only(site: str) -> bool:
    """Whether the address would lead a phone to itself: `localhost`, `127.0.0.1` and the like."""
    host = urlsplit(site).hostname or ""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost" or host.endswith(".localhost")
