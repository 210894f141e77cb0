"""What if a campaign of the plan were another: side by side, the log and the plan untouched."""

from __future__ import annotations

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from wearlog.forecasts.memory.queries import forecast_of_day
from wearlog.people.roles import Permission
from wearlog.runs.models import PlanEntry
from wearlog.web.setup.forms.rules import PlanForm
from wearlog.web.setup.what_if import campaign_words, what_if
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.frames import framed
from wearlog.web.site.pages import reader_of


@needs(Permission.VIEW)
def plan_what_if(request: MillRequest, pk: int) -> HttpResponse:
    """The question stands in the address, so that it can be sent to somebody; taking the changed plan over is
    the page that changes the entry."""
    reader = reader_of(request)
    today = timezone.localdate(timezone=reader.zone)
    entry = get_object_or_404(PlanEntry.objects.select_related("press", "crop"), pk=pk)
    if entry.end_on < today:
        raise Http404
    asked = {key: value for key, value in request.GET.items() if key in PlanForm.Meta.fields}
    changed = PlanEntry.objects.get(pk=pk)  # the form changes a copy, which is never saved
    form = PlanForm(request.GET if asked else None, instance=changed, reader=reader)
    found = None
    if form.is_bound and form.is_valid():
        found = what_if(forecast_of_day(as_of=today), entry, changed, reader.system)
    frames = framed(found.items) if found is not None else []
    return render(
        request,
        "web/setup/what_if.html",
        {
            "heading": _("What if: %(campaign)s") % {"campaign": campaign_words(entry)},
            "form": form,
            "found": found,
            "frames": frames,
            "asked": request.GET.items() if found is not None else [],
            "take_over": reverse("web:plan-edit", kwargs={"pk": pk}),
        },
    )
