"""How it goes, in small: the throughput of every press, the season, what to order first, and how much of the
log is doubted. A desk shows it beside the day's jobs, where a script fetches it, so that a phone never waits
for it."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from wearlog.compare.doubts.open import open_doubts
from wearlog.compare.shopping.of_day import list_of_day
from wearlog.forecasts.memory.queries import forecast_of_day
from wearlog.people.roles import Permission
from wearlog.web.drawing.charts.at_a_glance import paces
from wearlog.web.drawing.charts.plan_shown import strips_picture
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.shopping import ordered_lines

FIRST = 4
"""How many lines of what to order are shown; its page has them all."""


@needs(Permission.VIEW)
def pictures(request: MillRequest) -> HttpResponse:
    today = timezone.localdate()
    known = forecast_of_day(as_of=today)
    record = known.edges.record
    record.timelines_of([press.id for press in record.presses.values() if press.retired_on is None])
    system = str(request.units)
    return render(
        request,
        "web/today/pictures.html",
        {
            "paces": paces(record, system=system),
            "strips": strips_picture(record, system=system),
            "to_order": ordered_lines(list_of_day(today), today, system)[:FIRST],
            "doubts": len(open_doubts(record)),
        },
    )
