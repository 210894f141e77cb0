"""Pick the crops of a mill from a list of usual ones."""

from __future__ import annotations

from datetime import datetime

from django.contrib import messages
from django.db import transaction
from django.http import HttpResponse, QueryDict
from django.urls import reverse
from django.utils.translation import gettext as _

from wearlog.logbook import actions
from wearlog.people.roles import Permission
from wearlog.runs.models import Crop
from wearlog.web.setup.forms.crops import CropPicksForm
from wearlog.web.site.pages import FormPage, back_to


class CropPicks(FormPage[CropPicksForm, list[Crop]]):
    template_name = "web/setup/form.html"

    def form(self, data: QueryDict | None) -> CropPicksForm:
        return CropPicksForm(data, reader=self.reader)

    def context(self) -> dict[str, object]:
        return {
            "heading": _("Pick the crops"),
            "back": reverse("web:crops"),
            "lead": [(reverse("web:crop-new"), _("Another crop, by its name"))],
        }

    def act(self, form: CropPicksForm, now: datetime) -> list[Crop]:
        with transaction.atomic():
            return [actions.save_thing(by=self.request.user, at=now, thing=crop) for crop in form.picked()]

    def done(self, record: list[Crop]) -> HttpResponse:
        names = ", ".join(crop.code for crop in record)
        messages.success(self.request, _("Saved: %s.") % names)
        return back_to(self.request, reverse("web:day"))


crops_pick = CropPicks.as_page(Permission.MAINTAIN)
