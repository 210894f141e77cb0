"""The site's addresses, and some whose views fail in ways that no page has words for."""

from __future__ import annotations

from typing import Any

from django.db import IntegrityError, connection
from django.http import HttpRequest, HttpResponse
from django.urls import path

from wearlog.config import urls
from wearlog.people.models import Session, User

OF_THE_ROW = "Zacharias"
handler400 = urls.handler400
handler500 = urls.handler500


def fails(request: HttpRequest, **rest: Any) -> HttpResponse:
    """Says in its message what was typed, as many errors do."""
    typed = request.POST.get("note") or request.GET.get("q", "")
    request.user.is_authenticated  # noqa: B018  # as each page asks
    raise LookupError(f"nothing is called {typed!r}, and {rest} neither")


def fails_on_a_row(request: HttpRequest) -> HttpResponse:
    """A promise of the database is broken by what is stored, which PostgreSQL then quotes."""
    try:
        User.objects.create(username=OF_THE_ROW, role="nobody")
    except IntegrityError as error:
        raise RuntimeError("the row was not taken") from error
    return HttpResponse()


def lacks(request: HttpRequest) -> HttpResponse:
    with connection.cursor() as cursor:
        cursor.execute("SELECT nothing_such FROM no_such_table")
    return HttpResponse()


def signs_in_by_half(request: HttpRequest) -> HttpResponse:
    request.session["half"] = "done"
    raise RuntimeError("between two steps")


def ended(request: HttpRequest) -> HttpResponse:
    """Its session is ended elsewhere while it writes into it."""
    request.session["one"] = "more"
    Session.objects.all().delete()
    return HttpResponse()


urlpatterns = [
    path("ended/", ended),
    path("fails/", fails),
    path("fails/<str:secret>/", fails),
    path("fails-on-a-row/", fails_on_a_row),
    path("lacks/", lacks),
    path("half/", signs_in_by_half),
    *urls.urlpatterns,
]
