"""The plan for the next year, as the last one went: looked at first, then written down as a whole."""

from __future__ import annotations

from decimal import Decimal
from itertools import groupby

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from wearlog.calc import units
from wearlog.compare.last_year import Campaign, as_last_year
from wearlog.forecasts.memory.queries import forecast_of_day
from wearlog.history.record import Record
from wearlog.logbook.planning import plan_entries
from wearlog.people.refusals import Refused
from wearlog.people.roles import Permission
from wearlog.people.words import day as in_figures
from wearlog.runs.models import Crop, PlanEntry
from wearlog.web.setup.forms.last_year import CampaignsForm
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.pages import reader_of


@needs(Permission.OWN)
def plan_as_last_year(request: MillRequest) -> HttpResponse:
    """The campaigns of the last year, a year later; those that are chosen become entries of the plan."""
    reader = reader_of(request)
    today = timezone.localdate(timezone=reader.zone)
    record = forecast_of_day(as_of=today).edges.record
    found = {key_of(one): one for one in as_last_year(record)}
    names = {key: _words(record, one, reader.system) for key, one in found.items()}
    form = CampaignsForm(request.POST if request.method == "POST" else None, names=names)
    if form.is_valid():
        chosen = [_entry(record, found[key]) for key in form.cleaned_data["campaigns"]]
        try:
            plan_entries(by=request.user, at=timezone.now(), entries=chosen)
        except Refused as refused:
            form.add_error(None, str(refused))
        else:
            words = ngettext("%(count)d campaign planned.", "%(count)d campaigns planned.", len(chosen))
            messages.success(request, words % {"count": len(chosen)})
            return HttpResponseRedirect(reverse("web:plan"))
    groups = [
        (record.presses[press_id].label, [(key, names[key]) for key in keys])
        for press_id, keys in groupby(found, key=lambda key: found[key].press_id)
    ]
    chosen_keys = set(request.POST.getlist("campaigns")) if form.is_bound else set(found)
    context = {"form": form, "groups": groups, "chosen": chosen_keys}
    return render(request, "web/setup/last_year.html", context)


def key_of(campaign: Campaign) -> str:
    """What the form calls a campaign."""
    return f"{campaign.press_id}.{campaign.crop}.{campaign.start_on.isoformat()}"


def _words(record: Record, campaign: Campaign, system: str) -> str:
    return _("%(crop)s, %(seed)s, %(start)s to %(end)s") % {
        "crop": record.crops[campaign.crop],
        "seed": units.show_mass(campaign.seed_kg, system),
        "start": in_figures(campaign.start_on),
        "end": in_figures(campaign.end_on),
    }


def _entry(record: Record, campaign: Campaign) -> PlanEntry:
    return PlanEntry(
        press_id=campaign.press_id,
        crop=Crop.objects.get(code=record.crops[campaign.crop]),
        start_on=campaign.start_on,
        end_on=campaign.end_on,
        seed_kg=Decimal(str(round(campaign.seed_kg, 1))),
        planned_on=record.as_of,
    )
