"""Each request has a name, which its answer carries and the log's lines about it, too.

Who reports a broken page reads the name from it; whoever runs the server finds the lines by it.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable
from contextvars import ContextVar

from django.http import HttpRequest, HttpResponse

HEADER = "X-Request-ID"
LOOKS_LIKE_ONE = re.compile(r"[A-Za-z0-9][A-Za-z0-9-]{6,62}[A-Za-z0-9]")
"""What a server before the pages may have named a request. It is shown and logged, and decides nothing."""

_current: ContextVar[HttpRequest | None] = ContextVar("wearlog_request", default=None)


def current_request() -> HttpRequest | None:
    """The request that this thread answers just now; None in commands, workers and the schedule."""
    return _current.get()


def id_of(request: HttpRequest | None) -> str:
    """Empty where there is no request."""
    return str(getattr(request, "request_id", ""))


class RequestIdMiddleware:
    """Outermost, so that nothing is answered or logged without the name."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.headers.get(HEADER, "")
        name = given if LOOKS_LIKE_ONE.fullmatch(given) else secrets.token_hex(6)
        request.request_id = name  # type: ignore[attr-defined]
        before = _current.set(request)
        try:
            response = self.get_response(request)
        finally:
            _current.reset(before)
        response.headers[HEADER] = name
        return response
