"""Gives each request an id, which is in its response and in the log lines about it.

A person who reports an error page can give the id, by which the log lines are found.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable
from contextvars import ContextVar

from django.http import HttpRequest, HttpResponse

HEADER = "X-Request-ID"
LOOKS_LIKE_ONE = re.compile(r"[A-Za-z0-9][A-Za-z0-9-]{6,62}[A-Za-z0-9]")
"""The allowed form of an id set by a reverse proxy. It is only shown and logged."""

_current: ContextVar[HttpRequest | None] = ContextVar("wearlog_request", default=None)


def current_request() -> HttpRequest | None:
    """The request that this thread is handling; None in commands, workers and the schedule."""
    return _current.get()


def id_of(request: HttpRequest | None) -> str:
    """The request's id; empty without a request."""
    return str(getattr(request, "request_id", ""))


class RequestIdMiddleware:
    """The outermost middleware, so that every response and log line has the id."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.headers.get(HEADER, "")
        name = given if LOOKS_LIKE_ONE.fullmatch(given) else secrets.token_hex(6)
        vars(request).update(request_id=name)
        before = _current.set(request)
        try:
            response = self.get_response(request)
        finally:
            _current.reset(before)
        response.headers[HEADER] = name
        return response
