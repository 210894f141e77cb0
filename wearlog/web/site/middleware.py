"""Prepares every request before its view: the mill's time zone, the reader's language and units; and turns
NotAllowed into a page."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import cast

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone, translation
from django.utils.cache import patch_vary_headers
from django.utils.functional import SimpleLazyObject

from wearlog.history import versions
from wearlog.people.languages import language_of, language_of_browser
from wearlog.people.models import Mill, Units, User
from wearlog.people.refusals import NotAllowed
from wearlog.reminders.marks import marks_on_pages
from wearlog.reminders.outbox.calls import Marks
from wearlog.web.site.access import MillRequest


def units_of(request: HttpRequest, mill: Mill) -> str:
    """`metric` or `us`: the reader's own choice, else the mill's."""
    own = getattr(request.user, "units", "") if hasattr(request, "user") else ""
    return own or mill.units or Units.METRIC.value


def language_for(request: HttpRequest, mill: Mill) -> str:
    """For a signed-in person their own language, for others one that the browser accepts; else the mill's."""
    if isinstance(request.user, User):
        return language_of(request.user, mill)
    return language_of_browser(request.headers.get("Accept-Language", ""), mill)


HEALTH = "/healthz"


class MillMiddleware:
    """Activates the mill's time zone and the reader's language, and sets `mill`, `today`, `units` and `marks`
    on the request.

    It never writes to the database. A `NotAllowed` raised by a view becomes the 403 page with its text.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.path_info == HEALTH:  # it must also answer without a database
            return self.get_response(request)
        mill = Mill.current()
        known = cast("MillRequest", request)
        known.mill = mill
        known.today = timezone.localdate(timezone=mill.zone)
        known.units = cast("str", SimpleLazyObject(lambda: units_of(request, mill)))
        known.marks = cast(
            "Mapping[str, Marks]",
            SimpleLazyObject(lambda: marks_on_pages(at=timezone.now(), today=known.today)),
        )
        known.language = language = language_for(request, mill)
        with timezone.override(mill.zone), translation.override(language), versions.held():
            response = self.get_response(request)
        if response.headers.get("Content-Type", "").startswith("text/html"):
            response.headers.setdefault("Content-Language", language)
            patch_vary_headers(response, ("Cookie", "Accept-Language"))
        if not response.has_header("Cache-Control"):
            # A shared phone must not show the last person's page after sign-out.
            response["Cache-Control"] = "private, no-cache"
        return response

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if isinstance(exception, NotAllowed):
            return render(request, "403.html", {"exception": PermissionDenied(exception.message)}, status=403)
        return None
