"""Tells a device that its sign-in was ended from elsewhere, so that it forgets the pages that it kept.

A sign-in that only ran out is another matter: its person may stand at the press with a kept page.
"""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from wearlog.people import sessions

ENDED_HEADER = "X-Wearlog-Ended"
ENDED_COOKIE = "wearlog_ended"
"""Django takes the session's cookie back with the first answer, which may be one that no script can read: a
picture, a redirect. This one stays until somebody signs in on the device."""


class EndedMiddleware:
    """Marks every answer to a device whose session has been ended. It reads, and writes nothing."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        told, key = ENDED_COOKIE in request.COOKIES, request.COOKIES.get(settings.SESSION_COOKIE_NAME, "")
        answer = self.get_response(request)
        if not request.session.accessed:  # nobody asked who this is
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
