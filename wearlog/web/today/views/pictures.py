"""How it goes, in small: the throughput of every press and the season. A desk shows it beside the day's jobs,
where a script fetches it, so that a phone never waits for it."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from wearlog.forecasts.memory.queries import forecast_of_day
from wearlog.people.roles import Permission
from wearlog.web.drawing.charts.at_a_glance import paces
from wearlog.web.drawing.charts.plan_shown import strips_picture
from wearlog.web.site.access import MillRequest, needs


@needs(Permission.VIEW)
def pictures(request: MillRequest) -> HttpResponse:
    record = forecast_of_day(as_of=timezone.localdate()).edges.record
    record.timelines_of([press.id for press in record.presses.values() if press.retired_on is None])
    system = str(request.units)
    return render(
        request,
        "web/today/pictures.html",
        {"paces": paces(record, system=system), "strips": strips_picture(record, system=system)},
    )
