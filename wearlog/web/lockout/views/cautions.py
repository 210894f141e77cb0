"""The wording of this mill's cautions, with all versions."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.contrib import messages
from django.http import Http404, HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from wearlog.equipment.models import Press
from wearlog.lockout.cautions.hazards import ALL, Hazard, hazard_of
from wearlog.lockout.cautions.queries import cautions_for
from wearlog.lockout.cautions.wordings import HazardWording, of_rows
from wearlog.lockout.models import CautionWording
from wearlog.lockout.models.wording import EVERY_TASK
from wearlog.logbook import lockouts
from wearlog.people.roles import Permission
from wearlog.web.lockout.forms.cautions import WordingForm
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.pages import FormPage, number_in


@dataclass(frozen=True)
class HazardLine:
    """One hazard with its wording for every press, and the wordings of presses that differ."""

    key: str
    wording: HazardWording
    at_presses: list[tuple[Press, HazardWording]]


@dataclass(frozen=True)
class Version:
    row: CautionWording
    about: str


def about(key: str) -> str:
    """The title of a wording: the `least` of the shipped sentence."""
    hazard = hazard_of(key)
    return str(hazard.least) if hazard else _("Every task")


@needs(Permission.VIEW)
def cautions(request: MillRequest) -> HttpResponse:
    rows = list(CautionWording.objects.select_related("press"))
    wordings = of_rows(rows)
    presses = list(Press.objects.order_by("code"))
    lines = [
        HazardLine(
            key=hazard.key,
            wording=wordings.of(hazard, None),
            at_presses=[
                (press, wordings.of(hazard, press.pk))
                for press in presses
                if wordings.of(hazard, press.pk) != wordings.of(hazard, None)
            ],
        )
        for hazard in ALL
    ]
    everywhere, _number = wordings.for_every_task(None)
    return render(
        request,
        "web/lockout/cautions.html",
        {
            "lines": lines,
            "every_task": EVERY_TASK,
            "everywhere": everywhere,
            "everywhere_at": [
                (press, added)
                for press in presses
                if (added := wordings.for_every_task(press.pk)[0]) != everywhere
            ],
            "versions": [Version(row, about(row.hazard)) for row in reversed(rows)],
            "caution": cautions_for([]).of(None, action="", kind=""),
        },
    )


class WordingPage(FormPage[WordingForm, CautionWording]):
    """Change the words for one hazard, at one press (`press` in the query) or at all."""

    template_name = "web/lockout/wording.html"

    def prepare(self) -> None:
        self.key = self.kwargs["hazard"]
        self.hazard: Hazard | None = hazard_of(self.key)
        if self.hazard is None and self.key != EVERY_TASK:
            raise Http404(_("There is no such hazard."))
        self.presses = list(Press.objects.order_by("code"))
        wanted = number_in(self.request, "press")
        self.press = next((press for press in self.presses if press.pk == wanted), None)
        if wanted is not None and self.press is None:
            raise Http404(_("There is no such press."))
        versions = CautionWording.objects.filter(hazard=self.key, press=self.press)
        self.rows = versions.select_related("press").order_by("-number")

    def form(self, data: QueryDict | None) -> WordingForm:
        return WordingForm(
            data, reader=self.reader, hazard=self.hazard, press=self.press, latest=self.rows.first()
        )

    def context(self) -> dict[str, object]:
        press_id = self.press.pk if self.press else None
        return {
            "hazard": self.hazard,
            "about": about(self.key),
            "press": self.press,
            "presses": self.presses,
            "versions": [Version(row, about(row.hazard)) for row in self.rows],
            "caution": cautions_for([press_id] if press_id else []).of(press_id, action="", kind=""),
        }

    def act(self, form: WordingForm, now: datetime) -> CautionWording:
        return lockouts.set_wording(
            by=self.request.user,
            at=now,
            hazard=self.key,
            press_id=self.press.pk if self.press else None,
            instead=form.text_of("instead"),
            added=form.text_of("added"),
            word=form.text_of("word"),
            reason=form.text_of("reason"),
            seen=form.cleaned_data["seen"],
        )

    def done(self, record: CautionWording) -> HttpResponse:
        messages.success(
            self.request,
            _("Saved as version %(number)s. Every caution from now on says so; cards on the wall do not.")
            % {"number": record.number},
        )
        return HttpResponseRedirect(reverse("web:cautions"))


wording = WordingPage.as_page(Permission.OWN)
