"""The first page: what to do today and why, who runs what, what the last shift left."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from wearlog.forecasts.items import DueItem
from wearlog.people.roles import Permission
from wearlog.runs.models import Run, ShiftNote
from wearlog.service.models import LotHold
from wearlog.web.access import SignedInRequest, needs

LAST_SHIFT = timedelta(days=3)
"""A note older than this is history, and stands in the log only."""


@dataclass(frozen=True)
class Group:
    heading: str
    items: list[DueItem]


def grouped(items: list[DueItem]) -> list[Group]:
    """Overdue, due and coming up, in this order, each by day; empty groups are left out."""
    groups = []
    for state, heading in (("overdue", "Overdue"), ("due", "Due"), ("coming", "Coming up")):
        members = [item for item in items if item.state == state]
        members.sort(key=lambda item: (item.due_on or date.max, item.press, item.part))
        if members:
            groups.append(Group(heading, members))
    return groups


def next_up(items: list[DueItem]) -> DueItem | None:
    """The item that comes first among those that can still wait."""
    dated = [item for item in items if item.state == "later" and item.due_on]
    return min(dated, key=lambda item: item.due_on or date.max, default=None)


@needs(Permission.VIEW)
def day(request: SignedInRequest) -> HttpResponse:
    from wearlog.forecasts.queries import due_items

    now = timezone.now()
    today = timezone.localdate(now)
    items = due_items(as_of=today)
    notes = ShiftNote.objects.standing().filter(written_at__gt=now - LAST_SHIFT, written_at__lte=now)
    return render(
        request,
        "web/day.html",
        {
            "today": today,
            "now": now,
            "groups": grouped(items),
            "next_up": next_up(items),
            "unknown": [item for item in items if item.state == "unknown"],
            "running": Run.objects.running().select_related("press", "crop").order_by("press__code"),
            "notes": notes.select_related("press").order_by("-written_at")[:2],
            "holds": LotHold.objects.filter(
                released_at__isnull=True, incident__voided_at__isnull=True
            ).select_related("incident__press"),
        },
    )
