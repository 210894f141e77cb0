"""What is still to be done in an empty mill until the first date of a part stands; nothing afterwards."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.kinds import GROUND_BY_SEED, Build
from wearlog.equipment.models import Fitting, Press
from wearlog.forecasts.items import DueItem
from wearlog.people.models import User
from wearlog.people.roles import Permission, allows
from wearlog.runs.models import Crop
from wearlog.service.models import Rule
from wearlog.web.drawing.builds import BuildPicture, picture_of

if TYPE_CHECKING:
    from wearlog.people.fields import Words


@dataclass(frozen=True)
class FirstStep:
    """One line of the list; `words` says what it is about, `act` what its link does."""

    title: Words
    words: Words
    act: Words
    url: str
    done: bool


@dataclass(frozen=True)
class FirstSteps:
    """The steps in order, and the first that is not done. `pictures`: the builds, where that is a press."""

    steps: Sequence[FirstStep]
    next: FirstStep
    pictures: Sequence[BuildPicture]

    @property
    def number(self) -> int:
        return self.steps.index(self.next) + 1


def has_first_date(items: Sequence[DueItem]) -> bool:
    """Whether a date of a part's own stands: by its hours, its seed or its wear."""
    return any(
        item.part_id is not None and item.due_on is not None and item.trigger in ("hours", "tonnes", "limit")
        for item in items
    )


def first_steps(items: Sequence[DueItem], reader: User) -> FirstSteps | None:
    """None where a first date stands, all steps are done, or the reader may not do them."""
    if has_first_date(items) or not allows(reader, Permission.MAINTAIN):
        return None
    press = Press.objects.filter(retired_on__isnull=True).order_by("code").first()
    fitted = Fitting.objects.open().filter(position__kind__in=GROUND_BY_SEED)
    steps = (
        FirstStep(
            _("A press"),
            _("its build, what sits on it, where it is locked"),
            _("Describe another"),
            reverse("web:press-new"),
            press is not None,
        ),
        FirstStep(
            _("The crops"),
            _("ticked in a list"),
            _("Pick the crops"),
            reverse("web:crops-pick"),
            Crop.objects.exists(),
        ),
        FirstStep(
            _("What sits on it"),
            _("a screw or a die at least, with the hours that it has worked"),
            _("Say what sits where"),
            reverse("web:presses") if press is None else reverse("web:what-sits", kwargs={"pk": press.pk}),
            fitted.exists(),
        ),
        FirstStep(
            _("What to be reminded of"),
            _("after hours, tonnes, days, or at the wear limit"),
            _("Add a rule"),
            reverse("web:rules"),
            Rule.objects.exists(),
        ),
        FirstStep(
            _("The first run"),
            _("two numbers"),
            _("Log a run"),
            reverse("web:run-new"),
            Press.objects.filter(runs__isnull=False, runs__voided_at__isnull=True).exists(),
        ),
    )
    following = next((step for step in steps if not step.done), None)
    if following is None:
        return None
    pictures = [picture_of(build) for build in Build] if following is steps[0] else []
    return FirstSteps(steps, following, pictures)
