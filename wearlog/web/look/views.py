"""Every component of the design on one page, from the same templates as the other pages. For developers only:
with DEBUG=0, and in `quickstart`, the page does not exist."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from wearlog.people.roles import Permission
from wearlog.web.look import samples
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.pages import reader_of

WORDS = {
    "title": "The look",
    "type": "Type",
    "lede": "Large figures lead: 3,612 h · 61.4 t · 58.8 h/t",
    "sentence": "A sentence in the page's own size, with one word",
    "emphasis": "emphasised",
    "link": "and a link",
    "buttons": "Buttons",
    "main": "Main",
    "other": "Other",
    "more": "More",
    "form": "A form that was refused",
    "messages": "Banners and notes",
    "unsent": "2 entries are not sent yet",
    "cautions": "Cautions",
    "whole": "With a task alone on its page",
    "brief": "In a list",
    "paper": "On paper",
    "strips": "Caliper strips",
    "drawings": "Presses",
    "tasks": "Tasks in every state",
    "table": "A table",
    "log": "Written lines",
}
"""English only: nobody but a developer sees this page."""


@needs(Permission.VIEW)
def look(request: MillRequest) -> HttpResponse:
    if not settings.DEBUG:
        raise Http404
    now = timezone.now()
    messages.info(request, "Saved: 410 kg of rapeseed on North press.")
    return render(
        request,
        "web/look/look.html",
        {
            "words": WORDS,
            "form": samples.form(reader_of(request)),
            "cautions": samples.cautions(),
            "strips": samples.STRIPS,
            "machines": samples.drawings(),
            "frames": [samples.frame(timezone.localdate(now))],
            "table": samples.table(),
            "lines": [samples.line(now)],
            "since": now,
            "today": timezone.localdate(now),
            **samples.banners(now),
        },
    )
