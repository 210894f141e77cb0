"""Everything that is due."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _

from wearlog.equipment.queries import presses_in_service
from wearlog.forecasts.items import STATES, DueItem
from wearlog.forecasts.memory.queries import items_of_fleet
from wearlog.people.roles import Permission
from wearlog.reminders.outbox.calls import order_days
from wearlog.reminders.outbox.keys import item_key
from wearlog.service.models import Action
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.frames import framed
from wearlog.words.tasks import state_word

PER_PAGE = 30
NOW = ("overdue", "due", "coming")
ORDER = "order"


@dataclass(frozen=True)
class Choice:
    value: str
    word: str
    count: int


def orders_of(items: Sequence[DueItem], today: date, *, behind: bool = False) -> dict[str, date]:
    """By item key, the last day to order the part, for items that are due or coming up, and for those that
    can wait although their part can't."""
    days = order_days(items, today=today, behind=behind)
    keys = {item_key(item): item for item in items} if days else {}
    return {key: day for key, day in days.items() if keys[key].state in NOW or day <= today}


def is_now(item: DueItem, orders: Collection[str]) -> bool:
    return item.state in NOW or (bool(orders) and item_key(item) in orders)


def state_choices(items: Sequence[DueItem], orders: Collection[str]) -> list[Choice]:
    counts = Counter(item.state for item in items)
    return [
        Choice("", _("Due and coming up"), sum(is_now(item, orders) for item in items)),
        Choice(ORDER, _("Order the part"), sum(item_key(item) in orders for item in items)),
        *(Choice(state, state_word(state), counts[state]) for state in STATES),
        Choice("all", _("All"), len(items)),
    ]


@needs(Permission.VIEW)
def forecast(request: MillRequest) -> HttpResponse:
    today = timezone.localdate()
    fleet = items_of_fleet(as_of=today)
    items = fleet.items
    orders = orders_of(items, today, behind=fleet.behind > 0)
    state = request.GET.get("state", "")
    press, action = request.GET.get("press", ""), request.GET.get("action", "")
    if press.isdecimal():
        items = [item for item in items if item.press_id == int(press)]
    if action in Action.values:
        items = [item for item in items if item.action == action]
    choices = state_choices(items, orders)
    if state in STATES:
        items = [item for item in items if item.state == state]
    elif state == ORDER:
        items = [item for item in items if item_key(item) in orders]
    elif state != "all":
        items = [item for item in items if is_now(item, orders)]
    items = sorted(items, key=lambda item: (STATES.index(item.state), item.due_on or date.max, item.press))
    page = Paginator(items, PER_PAGE).get_page(request.GET.get("page"))
    return render(
        request,
        "web/today/forecast.html",
        {
            "today": today,
            "behind": fleet.behind,
            "page": page,
            "frames": framed(page.object_list),
            "orders": orders,
            "states": choices,
            "state": state,
            "presses": presses_in_service(on=today),
            "press": press,
            "actions": Action.choices,
            "action": action,
        },
    )
