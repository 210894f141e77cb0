"""Tells a device that its session was ended from elsewhere, so that it deletes its cached pages.

A session that has only expired is not treated so: its person may be at the press with a cached page.
"""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from wearlog.people import sessions

ENDED_HEADER = "X-Wearlog-Ended"
ENDED_COOKIE = "wearlog_ended"
"""The cookie that marks an ended session. Django deletes the session's cookie with the first response, which
may be one that no script can read (an image, a redirect); this one stays until somebody signs in on the
device."""


class EndedMiddleware:
    """Marks every response to a device whose session has been ended. It writes nothing to the database."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        told, key = ENDED_COOKIE in request.COOKIES, request.COOKIES.get(settings.SESSION_COOKIE_NAME, "")
        answer = self.get_response(request)
        if not request.session.accessed:  # nothing has used the session
            return answer
        if not request.session.is_empty():
            if told:
                answer.delete_cookie(ENDED_COOKIE, samesite="Lax")
        elif told or (key and not sessions.is_stored(key)):
            answer.headers[ENDED_HEADER] = "yes"
            answer.set_cookie(
                ENDED_COOKIE,
                "yes",
                max_age=settings.SESSION_COOKIE_AGE,
                secure=settings.SESSION_COOKIE_SECURE,
                httponly=True,
                samesite="Lax",
            )
        return answer
