"""The first page: what to do today and why, which presses run, and notes of the last shift."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _

from wearlog.forecasts.items import DueItem
from wearlog.forecasts.memory.queries import items_of_fleet
from wearlog.lockout.cautions.queries import cautions_for
from wearlog.lockout.isolation.queries import concerning
from wearlog.people.roles import Permission
from wearlog.runs.models import Run, ShiftNote
from wearlog.runs.queries import running_runs
from wearlog.service.queries import open_holds
from wearlog.web.site import isolations
from wearlog.web.site.access import MillRequest, kept_offline, needs
from wearlog.web.site.frames import Frame, framed
from wearlog.web.today.first_steps import first_steps

LAST_SHIFT = timedelta(days=3)
"""Older notes are shown in the log only."""


TO_DO = ("overdue", "due", "coming")
MOST = 40
"""How many jobs are on the page; the list of everything that is due has them all."""


@dataclass(frozen=True)
class Shown:
    """What the page shows: jobs to do by press, how many more there are, those of which nothing is known yet,
    the next job where nothing is to be done, and the day until which each other press is left alone."""

    frames: list[Frame]
    more: int
    unknown: list[Frame]
    count_unknown: int
    next_up: list[Frame]
    quiet: list[tuple[str, int, date]]


def shown_on_day(items: list[DueItem], doing: Mapping[int, str]) -> Shown:
    """items: those of every press, most urgent first. doing: what a press is doing, in words."""
    to_do = [item for item in items if item.state in TO_DO]
    unknown = [item for item in items if item.state == "unknown"]
    later = [item for item in items if item.state == "later" and item.due_on]
    next_up = later[:1] if not to_do else []
    cautions = cautions_for({item.press_id for item in (*to_do[:MOST], *unknown[:MOST], *next_up)})
    busy = {item.press_id for item in (*to_do, *next_up)}
    quiet: dict[int, tuple[str, int, date]] = {}
    for item in later:  # the first one of a press is its earliest
        if item.press_id not in busy and item.due_on is not None:
            quiet.setdefault(item.press_id, (item.press_name or item.press, item.press_id, item.due_on))
    return Shown(
        frames=framed(to_do[:MOST], cautions, doing=doing),
        more=max(len(to_do) - MOST, 0),
        unknown=framed(unknown[:MOST], cautions),
        count_unknown=len(unknown),
        next_up=framed(next_up, cautions),
        quiet=list(quiet.values()),
    )


def words_of(run: Run) -> str:
    """What a press is doing: `rapeseed, lot 31`."""
    return f"{run.crop}, " + _("lot %(lot)s") % {"lot": run.lot} if run.lot else str(run.crop)


@needs(Permission.VIEW)
@kept_offline
def day(request: MillRequest) -> HttpResponse:
    now = timezone.now()
    today = timezone.localdate(now)
    fleet = items_of_fleet(as_of=today)
    running = list(running_runs())
    shown = shown_on_day(fleet.items, {run.press_id: words_of(run) for run in running})
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
            "shown": shown,
            "running": running,
            "notes": notes.select_related("press").order_by("-written_at")[:2],
            "holds": open_holds(),
            "isolations": isolations.with_locks(stopped, request.user),
            "to_tell": to_tell,
        },
    )
