"""Start a press's energy sources from proposals for its build."""

from __future__ import annotations

from datetime import datetime

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from wearlog.equipment.models import Press
from wearlog.lockout.cautions.queries import caution_for_press
from wearlog.lockout.models import EnergySource
from wearlog.lockout.starting import Build, proposals_for
from wearlog.logbook import lockouts
from wearlog.people.roles import Permission
from wearlog.web.lockout.forms.energy import EnergyStartForm
from wearlog.web.site.pages import FormPage, NothingToShow


class EnergyStart(FormPage[EnergyStartForm, list[EnergySource]]):
    """First the build of the press, then its proposals: tick, say where, save all at once."""

    template_name = "web/lockout/energy_start.html"

    def prepare(self) -> None:
        self.press = get_object_or_404(Press, pk=self.kwargs["pk"])
        requested = self.request.POST.get("build") or self.request.GET.get("build") or ""
        if requested not in Build.values:
            raise NothingToShow(
                render(self.request, "web/lockout/energy_build.html", {"press": self.press, "builds": Build})
            )
        self.build = Build(requested)
        self.taken = list(EnergySource.objects.filter(press=self.press).values_list("source", flat=True))

    def form(self, data: QueryDict | None) -> EnergyStartForm:
        return EnergyStartForm(
            data,
            reader=self.reader,
            proposals=proposals_for(self.build, recorded=self.taken),
            taken=self.taken,
        )

    def context(self) -> dict[str, object]:
        return {
            "press": self.press,
            "build": self.build,
            "taken": self.taken,
            "caution": caution_for_press(self.press.pk, "", ""),
        }

    def act(self, form: EnergyStartForm, now: datetime) -> list[EnergySource]:
        return lockouts.record_sources(by=self.request.user, at=now, sources=form.sources(self.press))

    def done(self, record: list[EnergySource]) -> HttpResponse:
        messages.success(
            self.request,
            ngettext("Recorded: %(n)s energy source.", "Recorded: %(n)s energy sources.", len(record))
            % {"n": len(record)},
        )
        messages.info(self.request, _("Walk round the press once more with the list in hand."))
        return HttpResponseRedirect(reverse("web:energy", kwargs={"pk": self.press.pk}))


energy_start = EnergyStart.as_page(Permission.MAINTAIN)
