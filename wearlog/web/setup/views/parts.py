"""Part types and parts, singly or several at once."""

from __future__ import annotations

from datetime import datetime
from typing import cast

from django.contrib import messages
from django.db import transaction
from django.http import HttpResponse, QueryDict
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from wearlog.calc import units
from wearlog.equipment.models import Part, PartType
from wearlog.logbook import actions
from wearlog.people.roles import Permission
from wearlog.web.setup.forms.things import NewPartsForm, PartForm, PartTypeForm
from wearlog.web.setup.things import Row, ThingPage, present_words
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.fields import NumberField
from wearlog.web.site.pages import FormPage, back_to, reader_of


@needs(Permission.VIEW)
def part_types(request: MillRequest) -> HttpResponse:
    system = reader_of(request).system
    rows = [
        Row(
            title=kind.code,
            url=reverse("web:part-type-edit", kwargs={"pk": kind.pk}),
            words=present_words(
                kind.get_kind_display(),
                units.show_length(kind.size_mm, system) if kind.size_mm else "",
                _("%s edges") % kind.edges if kind.edges > 1 else "",
                _("for %s") % ", ".join(kind.for_crops.split()) if kind.for_crops else "",
                _("limit %s") % units.show_length(kind.limit_mm, system) if kind.limit_mm else "",
            ),
        )
        for kind in PartType.objects.all()
    ]
    return render(
        request,
        "web/setup/list.html",
        {
            "heading": _("Part types"),
            "rows": rows,
            "adds": [(reverse("web:part-type-new"), _("Add a type"))],
            "empty": _("No part type is recorded yet."),
            "needed": "maintain",
        },
    )


class PartTypePage(ThingPage[PartTypeForm, PartType]):
    model = PartType
    form_class = PartTypeForm
    list_page = "web:part-types"
    add_words = gettext_lazy("Add a part type")
    removable = True

    def form(self, data: QueryDict | None) -> PartTypeForm:
        form = super().form(data)
        cast("NumberField", form.fields["unit_cost"]).unit = self.request.mill.currency
        return form


class PartPage(ThingPage[PartForm, Part]):
    model = Part
    form_class = PartForm
    list_page = "web:parts"
    removable = True

    def back_url(self) -> str:
        if self.thing.pk is None:  # just removed
            return reverse("web:parts")
        return reverse("web:part", kwargs={"pk": self.thing.pk})


class PartsNew(FormPage[NewPartsForm, list[Part]]):
    """Add several parts at once, such as dies cut from one bar."""

    template_name = "web/setup/form.html"

    def form(self, data: QueryDict | None) -> NewPartsForm:
        made_from = self.request.GET.get("made_from", "")
        part_type = self.request.GET.get("part_type", "")
        return NewPartsForm(
            data,
            reader=self.reader,
            initial={
                "part_type": part_type if part_type.isdecimal() else None,
                "made_from": made_from if made_from.isdecimal() else None,
                "acquired_on": timezone.localdate(timezone=self.reader.zone),
            },
        )

    def context(self) -> dict[str, object]:
        return {
            "heading": _("Add parts"),
            "is_new": True,
            "back": reverse("web:parts"),
            "lead": [
                (reverse("web:part-type-new"), _("Add a type first")),
            ],
        }

    def act(self, form: NewPartsForm, now: datetime) -> list[Part]:
        with transaction.atomic():
            return [actions.save_thing(by=self.request.user, at=now, thing=part) for part in form.parts()]

    def done(self, record: list[Part]) -> HttpResponse:
        messages.success(
            self.request,
            ngettext("Added: %(codes)s.", "Added %(number)s parts: %(codes)s.", len(record))
            % {"number": len(record), "codes": ", ".join(part.code for part in record)},
        )
        return back_to(self.request, reverse("web:parts"))


part_type_new = PartTypePage.as_page(Permission.MAINTAIN)
part_type_edit = PartTypePage.as_page(Permission.MAINTAIN)
part_edit = PartPage.as_page(Permission.MAINTAIN)
parts_new = PartsNew.as_page(Permission.MAINTAIN)
