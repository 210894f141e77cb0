"""The first page: what to do today and why, which presses run, and notes of the last shift."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import items_of_fleet
from wearlog.lockout.isolation.queries import concerning
from wearlog.people.roles import Permission
from wearlog.runs.models import ShiftNote
from wearlog.runs.queries import running_runs
from wearlog.service.queries import open_holds
from wearlog.web.site import isolations
from wearlog.web.site.access import MillRequest, kept_offline, needs
from wearlog.web.site.groups import Group, cautioned, group_of, grouped
from wearlog.web.today.first_steps import first_steps

LAST_SHIFT = timedelta(days=3)
"""Older notes are shown in the log only."""


def next_up(items: list[DueItem]) -> DueItem | None:
    """The first item among those that can still wait."""
    dated = [item for item in items if item.state == "later" and item.due_on]
    return min(dated, key=lambda item: item.due_on or date.max, default=None)


@dataclass(frozen=True)
class Shown:
    """The items on the page, each with its caution."""

    groups: list[Group]
    next_up: DueItem | None
    unknown: Group | None


def shown_on_day(items: list[DueItem]) -> Shown:
    """What the page shows of these items: the next one that can wait only where nothing has come up."""
    groups, unknown, coming = grouped(items), group_of(items, "unknown"), next_up(items)
    waiting = [] if groups or coming is None else [Group("later", "", [coming], 1)]
    several = cautioned([*groups, *waiting, *([unknown] if unknown else [])])
    return Shown(
        groups=several[: len(groups)],
        next_up=several[len(groups)].items[0] if waiting else None,
        unknown=several[-1] if unknown else None,
    )


@needs(Permission.VIEW)
@kept_offline
def day(request: MillRequest) -> HttpResponse:
    now = timezone.now()
    today = timezone.localdate(now)
    fleet = items_of_fleet(as_of=today)
    shown = shown_on_day(fleet.items)
    stopped, to_tell = concerning(request.user)
    notes = ShiftNote.objects.not_voided().filter(written_at__gt=now - LAST_SHIFT, written_at__lte=now)
    return render(
        request,
        "web/today/day.html",
        {
            "today": today,
            "now": now,
            "behind": fleet.behind,
            "first_steps": first_steps(fleet.items, request.user),
            "groups": shown.groups,
            "next_up": shown.next_up,
            "unknown": shown.unknown,
            "running": running_runs(),
            "notes": notes.select_related("press").order_by("-written_at")[:2],
            "holds": open_holds(),
            "isolations": isolations.with_locks(stopped, request.user),
            "to_tell": to_tell,
        },
    )
