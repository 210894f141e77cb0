"""The page of a press's isolation: whose locks are on, since when, how verified, and past isolations."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.translation import gettext as _

from wearlog.equipment.models import Press
from wearlog.lockout.cautions import steps
from wearlog.lockout.cautions.queries import caution_for_press, warm_head
from wearlog.lockout.isolation.queries import bare_sources, past_isolations, to_be_told
from wearlog.lockout.models import Isolation
from wearlog.people.roles import Permission, allows
from wearlog.web.site import isolations
from wearlog.web.site.access import MillRequest, needs


@dataclass(frozen=True)
class StepList:
    heading: str
    steps: Sequence[steps.Step]


def step_lists() -> list[StepList]:
    """The lists of steps, in the order in which they are needed."""
    return [
        StepList(_("Before work"), steps.APPLY),
        StepList(_("Where several work"), steps.TOGETHER),
        StepList(_("A test under power"), steps.TEST),
        StepList(_("Handing over"), steps.HAND_OVER),
        StepList(_("With contractors"), steps.CONTRACTORS),
        StepList(_("Before the press may run again"), steps.RELEASE),
        StepList(_("The lock of somebody who is not there"), steps.FOR_ANOTHER),
    ]


@needs(Permission.VIEW)
def isolation(request: MillRequest, pk: int) -> HttpResponse:
    press = get_object_or_404(Press, pk=pk)
    current = next(iter(isolations.open_at(request.user, [press.pk])), None)
    past: list[Isolation] = past_isolations(press.pk)
    return render(
        request,
        "web/lockout/isolation.html",
        {
            "press": press,
            "now": current,
            "may_take_off": isolations.locks_acted_for(request.user, current.locks) if current else [],
            "owns": allows(request.user, Permission.OWN),
            "bare": bare_sources(current.isolation) if current else [],
            "to_tell": to_be_told(press.pk),
            "past": past,
            "step_lists": step_lists(),
            "warm_head": warm_head(),
            "caution": caution_for_press(press.pk, "", ""),
        },
    )
