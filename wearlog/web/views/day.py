"""The first page: what to do today and why, who runs what, what the last shift left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from wearlog.forecasts.items import DueItem
from wearlog.forecasts.queries import due_items
from wearlog.lockout.isolation_queries import concerning
from wearlog.people.roles import Permission
from wearlog.runs.models import ShiftNote
from wearlog.runs.queries import running_runs
from wearlog.service.queries import open_holds
from wearlog.web import isolations
from wearlog.web.access import SignedInRequest, kept, needs
from wearlog.web.templatetags.due import STATE_WORDS

LAST_SHIFT = timedelta(days=3)
"""A note older than this is history, and stands in the log only."""


MOST = 20
"""Items of one state on a page; the list of what is due has the rest."""


FIRST_COMING = 1
"""So many items that are coming up stand open; the others can wait behind a fold, what is due can't."""


@dataclass(frozen=True)
class Group:
    """The first items of one state, by day, and how many there are."""

    state: str
    heading: str
    items: list[DueItem]
    count: int

    @property
    def more(self) -> int:
        return self.count - len(self.items)

    @property
    def first(self) -> list[DueItem]:
        """Those that stand open on the page."""
        return self.items[:FIRST_COMING] if self.state == "coming" else self.items

    @property
    def then(self) -> list[DueItem]:
        """Those that open by a touch."""
        return self.items[len(self.first) :]


def group_of(items: Sequence[DueItem], state: str) -> Group | None:
    """The items in that state, or None where there are none."""
    members = sorted(
        (item for item in items if item.state == state),
        key=lambda item: (item.due_on or date.max, item.press, item.part),
    )
    if not members:
        return None
    return Group(state, str(STATE_WORDS[state]), members[:MOST], len(members))


def grouped(items: Sequence[DueItem]) -> list[Group]:
    """Overdue, due and coming up, in this order; empty groups are left out."""
    groups = (group_of(items, state) for state in ("overdue", "due", "coming"))
    return [group for group in groups if group is not None]


def next_up(items: list[DueItem]) -> DueItem | None:
    """The item that comes first among those that can still wait."""
    dated = [item for item in items if item.state == "later" and item.due_on]
    return min(dated, key=lambda item: item.due_on or date.max, default=None)


@needs(Permission.VIEW)
@kept
def day(request: SignedInRequest) -> HttpResponse:
    now = timezone.now()
    today = timezone.localdate(now)
    items = due_items(as_of=today)
    stopped, to_tell = concerning(request.user)
    notes = ShiftNote.objects.standing().filter(written_at__gt=now - LAST_SHIFT, written_at__lte=now)
    return render(
        request,
        "web/day.html",
        {
            "today": today,
            "now": now,
            "groups": grouped(items),
            "next_up": next_up(items),
            "unknown": group_of(items, "unknown"),
            "running": running_runs(),
            "notes": notes.select_related("press").order_by("-written_at")[:2],
            "holds": open_holds(),
            "isolations": isolations.shown(stopped, request.user),
            "to_tell": to_tell,
        },
    )
