"""While the head is off: everything that falls due within the coming campaign of a press, to do in one
stop."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from wearlog.equipment.models import Press
from wearlog.forecasts.campaign import DAYS, MOST_DAYS, Stop, opens_press, stop_at
from wearlog.forecasts.items import DueItem
from wearlog.lockout.cautions.queries import Cautions
from wearlog.people.roles import Permission
from wearlog.web.site import isolations
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.frames import Frame, framed
from wearlog.web.site.pages import reader_of
from wearlog.web.site.tags.due import MOST_CARDS, card_key
from wearlog.words.bring import things_to_bring

CHOICES = (7, 14, 30, 60, 90, 180)
MOST_SLIPS = 40
"""The largest number of tasks in one group, far more than a press has, to limit the size of the page."""


@dataclass(frozen=True)
class Section:
    key: str
    heading: str
    intro: str
    frames: list[Frame]
    count: int

    @property
    def more(self) -> int:
        return self.count - sum(len(frame.jobs) for frame in self.frames)


def days_asked(request: MillRequest) -> int | None:
    """`?days=N`, clamped to the allowed range; None to follow the season plan."""
    text = request.GET.get("days", "")
    if not text.isdecimal() or len(text) > 6:
        return None
    return min(max(int(text), 1), MOST_DAYS)


def for_everything(items: Sequence[DueItem], system: str) -> list[str]:
    """What to bring for the whole stop, each thing once, in the order in which it is first needed."""
    return list(dict.fromkeys(thing for item in items for thing in things_to_bring(item, system)))


def section(
    key: str,
    heading: str,
    intro: str,
    items: Sequence[DueItem],
    common: set[str],
    system: str,
    cautions: Cautions,
) -> Section:
    frames = [
        replace(frame, remarks=tuple(remarks_on(job, common, system) for job in frame.jobs))
        for frame in framed(items[:MOST_SLIPS], cautions)
    ]
    return Section(key, heading, intro, frames, len(items))


def remarks_on(job: DueItem, common: set[str], system: str) -> tuple[str, ...]:
    """What to bring for a job in addition to what every job of the stop needs, and whether the head comes
    off."""
    bring = [thing for thing in things_to_bring(job, system) if thing not in common]
    said = [_("Bring: %(things)s.") % {"things": "; ".join(bring)}] if bring else []
    head_off = opens_press(action=job.action, kind=job.kind)
    said.append(_("Needs the head off.") if head_off else _("The head can stay on; lock out all the same."))
    return tuple(said)


def sections_of(stop: Stop, system: str) -> list[Section]:
    """The groups that are not empty, most urgent first."""
    every = [set(things_to_bring(item, system)) for item in stop.items.listed]
    common = set.intersection(*every) if len(every) > 1 else set()
    cautions = stop.cautions
    found = (
        section("now", _("Now"), _("Due or overdue today."), stop.items.now, common, system, cautions),
        section(
            "before-end",
            _("Before the campaign ends"),
            _("The early end of the range lies within the campaign: with bad luck it would stop you in it."),
            stop.items.before_end,
            common,
            system,
            cautions,
        ),
        section(
            "just-after",
            _("Just after: worth doing while it is open"),
            _("Likely due in the first %(days)s days after the campaign.")
            % {"days": stop.campaign.margin_days},
            stop.items.just_after,
            common,
            system,
            cautions,
        ),
        section(
            "cant-tell",
            _("Can't tell yet: a chance to look"),
            _("Nothing is known to reckon with. A gauge taken while it is open is the beginning."),
            stop.items.cant_tell,
            common,
            system,
            cautions,
        ),
    )
    return [one for one in found if one.frames]


@needs(Permission.VIEW)
def press_open(request: MillRequest, pk: int) -> HttpResponse:
    press = get_object_or_404(Press, pk=pk)
    today = timezone.localdate()
    days = days_asked(request)
    stop = stop_at(press.pk, as_of=today, days=days)
    listed = stop.items.listed
    cards = ""
    if listed:
        keys = urlencode([("item", card_key(item)) for item in listed[:MOST_CARDS]])
        cards = f"{reverse('web:job-card')}?{keys}"
    system = reader_of(request).system
    looked = stop.campaign.days if stop.campaign.why == "days" else None
    return render(
        request,
        "web/today/press_open.html",
        {
            "press": press,
            "today": today,
            "stop": stop,
            "campaign": stop.campaign,
            "sections": sections_of(stop, system),
            "opened": [item for item in listed if opens_press(action=item.action, kind=item.kind)],
            "listed": listed,
            "bring": for_everything(listed, system),
            "cards": cards,
            "days": days,
            "choices": sorted({*CHOICES, *([looked] if looked else [])}),
            "looked": looked or DAYS,
            "crops": ", ".join(stop.crops),
            "caution": stop.caution,
            "isolations": isolations.open_at(request.user, [press.pk]),
        },
    )
