"""Everything that is due, and the job cards that go to the press with a person."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _

from wearlog.equipment.models import Part, Press
from wearlog.equipment.queries import presses_in_service, spares
from wearlog.forecasts.items import STATES, DueItem
from wearlog.forecasts.queries import due_items
from wearlog.lockout.steps import RELEASE
from wearlog.people.roles import Permission
from wearlog.service.models import Action
from wearlog.web.access import SignedInRequest, needs
from wearlog.web.jobcards import things_to_bring
from wearlog.web.templatetags.due import STATE_WORDS, card_key

PER_PAGE = 30
NOW = ("overdue", "due", "coming")
MOST_CARDS = 40


@dataclass(frozen=True)
class Choice:
    value: str
    word: str
    count: int


def state_choices(items: Sequence[DueItem]) -> list[Choice]:
    counts = Counter(item.state for item in items)
    return [
        Choice("", _("Due and coming up"), sum(counts[state] for state in NOW)),
        *(Choice(state, str(STATE_WORDS[state]), counts[state]) for state in STATES),
        Choice("all", _("All"), len(items)),
    ]


@needs(Permission.VIEW)
def forecast(request: SignedInRequest) -> HttpResponse:
    today = timezone.localdate()
    items = due_items(as_of=today)
    state = request.GET.get("state", "")
    press, action = request.GET.get("press", ""), request.GET.get("action", "")
    if press.isdecimal():
        items = [item for item in items if item.press_id == int(press)]
    if action in Action.values:
        items = [item for item in items if item.action == action]
    choices = state_choices(items)
    if state in STATES:
        items = [item for item in items if item.state == state]
    elif state != "all":
        items = [item for item in items if item.state in NOW]
    items = sorted(items, key=lambda item: (STATES.index(item.state), item.due_on or date.max, item.press))
    page = Paginator(items, PER_PAGE).get_page(request.GET.get("page"))
    return render(
        request,
        "web/due.html",
        {
            "today": today,
            "page": page,
            "states": choices,
            "state": state,
            "presses": presses_in_service(on=today),
            "press": press,
            "actions": Action.choices,
            "action": action,
        },
    )


@dataclass(frozen=True)
class Card:
    """One printed sheet: the task, the press it is on, what to bring, and spares that could go on."""

    item: DueItem
    press: Press
    bring: tuple[str, ...]
    spares: list[Part]


def cards_of(items: Sequence[DueItem]) -> list[Card]:
    presses = Press.objects.in_bulk({item.press_id for item in items})
    on_shelf = list(spares()) if any(item.action in ("replace", "flip") for item in items) else []
    types = dict(
        Part.objects.filter(pk__in=[item.part_id for item in items if item.part_id]).values_list(
            "pk", "part_type_id"
        )
    )
    return [
        Card(
            item=item,
            press=presses[item.press_id],
            bring=things_to_bring(item),
            spares=[
                part
                for part in on_shelf
                if item.part_id is not None
                and part.part_type_id == types[item.part_id]
                and item.action == "replace"
                and part.pk != item.part_id
            ],
        )
        for item in items
    ]


@needs(Permission.VIEW)
def job_card(request: SignedInRequest) -> HttpResponse:
    """`?item=KEY`, once for each sheet; a task that has been done in the meantime is named, not printed."""
    keys = request.GET.getlist("item")
    if not keys or len(keys) > MOST_CARDS:
        raise Http404(_("A job card needs the task that it is for."))
    now = timezone.now()
    found = {card_key(item): item for item in due_items(as_of=timezone.localdate(now))}
    items = [found[key] for key in dict.fromkeys(keys) if key in found]
    return render(
        request,
        "web/card.html",
        {
            "today": timezone.localdate(now),
            "printed_at": now,
            "cards": cards_of(items),
            "gone": len(set(keys)) - len(items),
            "release": [str(step.clause) for step in RELEASE],
        },
    )
