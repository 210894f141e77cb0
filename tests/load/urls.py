"""The site's addresses, and beside them the least that a page can be and a plain table of 25 rows."""

from __future__ import annotations

import django_tables2
from django.http import HttpRequest, HttpResponse
from django.urls import path

from wearlog.config.urls import handler400, handler500
from wearlog.config.urls import urlpatterns as of_site
from wearlog.people.models import User
from wearlog.runs.models import Run

__all__ = ["handler400", "handler500", "urlpatterns"]


class RunsTable(django_tables2.Table):
    class Meta:
        model = Run
        fields = ("press", "crop", "started_at", "ended_at", "hours_h", "seed_kg", "lot", "note")


def trivial(request: HttpRequest) -> HttpResponse:
    return HttpResponse("here")


def table(request: HttpRequest) -> HttpResponse:
    """The latest 25 runs for a signed-in person, as any list of a Django site."""
    if not isinstance(request.user, User):
        return HttpResponse(status=403)
    rows = Run.objects.select_related("press", "crop").order_by("-pk")[:25]
    return HttpResponse(RunsTable(rows).as_html(request))


urlpatterns = [
    path("beside/trivial", trivial),
    path("beside/table", table),
    *of_site,
]
