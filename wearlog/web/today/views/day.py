"""The first page: what to do today and why, which presses run, and notes of the last shift."""

from __future__ import annotations

from datetime import date, timedelta

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import due_items
from wearlog.lockout.isolation.queries import concerning
from wearlog.people.roles import Permission
from wearlog.runs.models import ShiftNote
from wearlog.runs.queries import running_runs
from wearlog.service.queries import open_holds
from wearlog.web.site import isolations
from wearlog.web.site.access import MillRequest, kept_offline, needs
from wearlog.web.site.groups import group_of, grouped

LAST_SHIFT = timedelta(days=3)
"""Older notes are shown in the log only."""


def next_up(items: list[DueItem]) -> DueItem | None:
    """The first item among those that can still wait."""
    dated = [item for item in items if item.state == "later" and item.due_on]
    return min(dated, key=lambda item: item.due_on or date.max, default=None)


@needs(Permission.VIEW)
@kept_offline
def day(request: MillRequest) -> HttpResponse:
    now = timezone.now()
    today = timezone.localdate(now)
    items = due_items(as_of=today)
    stopped, to_tell = concerning(request.user)
    notes = ShiftNote.objects.not_voided().filter(written_at__gt=now - LAST_SHIFT, written_at__lte=now)
    return render(
        request,
        "web/today/day.html",
        {
            "today": today,
            "now": now,
            "groups": grouped(items),
            "next_up": next_up(items),
            "unknown": group_of(items, "unknown"),
            "running": running_runs(),
            "notes": notes.select_related("press").order_by("-written_at")[:2],
            "holds": open_holds(),
            "isolations": isolations.with_locks(stopped, request.user),
            "to_tell": to_tell,
        },
    )
