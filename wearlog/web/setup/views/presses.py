"""Presses, their positions and energy sources, and crops."""

from __future__ import annotations

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from wearlog.calc import units
from wearlog.equipment.models import Position, Press
from wearlog.lockout.cautions.queries import caution_for_press
from wearlog.lockout.models import EnergySource
from wearlog.people.roles import Permission
from wearlog.runs.models import Crop
from wearlog.web.setup.forms.things import CropForm, EnergyForm, PositionForm, PressForm
from wearlog.web.setup.things import Row, Saving, Thing, ThingPage, present_words
from wearlog.web.site.access import MillRequest, needs
from wearlog.web.site.pages import reader_of


class PressPage(ThingPage[PressForm, Press]):
    model = Press
    form_class = PressForm
    list_page = "web:presses"
    add_words = gettext_lazy("Add a press")

    def heading(self) -> str:
        return str(self.add_words) if self.is_new else _("Set up %s") % self.thing

    def back_url(self) -> str:
        if self.is_new:
            return reverse("web:presses")
        return reverse("web:press", kwargs={"pk": self.thing.pk})

    def context(self) -> dict[str, object]:
        context = super().context()
        if self.is_new:
            return context
        pk = self.thing.pk
        rows = [
            Row(
                title=position.name,
                url=reverse("web:position-edit", kwargs={"pk": position.pk}),
                words=present_words(
                    position.get_kind_display(),
                    _("barrel %s") % position.barrel if position.barrel else "",
                    _("takes %s of the seed") % units.plain(position.share)
                    if position.share is not None
                    else "",
                ),
            )
            for position in Position.objects.filter(press=pk)
        ]
        return {
            **context,
            "below": _("Positions"),
            "rows": rows,
            "adds": [
                (reverse("web:position-new", kwargs={"press": pk}), _("Add a position")),
                (reverse("web:energy", kwargs={"pk": pk}), _("Energy sources")),
            ],
        }

    def done(self, record: Press) -> HttpResponse:
        self.thing = record
        return super().done(record)


class OnPress(ThingPage[Saving, Thing]):
    """A record of the press in the URL (`press`), or one given by its own primary key (`pk`)."""

    removable = True

    def new_thing(self) -> Thing:
        press = Press.objects.filter(pk=self.kwargs["press"]).first()
        if press is None:
            raise Http404(_("There is no such press."))
        return self.model(press=press)


class PositionPage(OnPress[PositionForm, Position]):
    model = Position
    form_class = PositionForm

    def heading(self) -> str:
        return _("Add a position to %s") % self.thing.press if self.is_new else str(self.thing)

    def back_url(self) -> str:
        return reverse("web:press-edit", kwargs={"pk": self.thing.press_id})


class EnergyPage(OnPress[EnergyForm, EnergySource]):
    model = EnergySource
    form_class = EnergyForm

    def heading(self) -> str:
        return _("Add an energy source to %s") % self.thing.press if self.is_new else str(self.thing)

    def back_url(self) -> str:
        return reverse("web:energy", kwargs={"pk": self.thing.press_id})


@needs(Permission.VIEW)
def energy(request: MillRequest, pk: int) -> HttpResponse:
    """The press's energy sources, and the caution that results from them."""
    press = get_object_or_404(Press, pk=pk)
    rows = [
        Row(
            title=source.source,
            url=reverse("web:energy-edit", kwargs={"pk": source.pk}),
            words=present_words(
                source.get_kind_display(),
                _("isolated at %s") % source.isolate_at
                if source.isolate_at
                else _("where it is isolated is not recorded"),
                _("released by %s") % source.release_by if source.release_by else "",
                _("verified by %s") % source.verify_by if source.verify_by else "",
            ),
        )
        for source in EnergySource.objects.filter(press=press)
    ]
    return render(
        request,
        "web/setup/energy.html",
        {
            "heading": _("Energy sources"),
            "press": press,
            "rows": rows,
            "adds": [
                (reverse("web:energy-start", kwargs={"pk": pk}), _("Start from a list for its build")),
                (reverse("web:energy-new", kwargs={"press": pk}), _("Add an energy source")),
            ],
            "empty": _(
                "None is recorded. Walk round the press and record every one: motor, heater circuit, augers "
                "and conveyors started elsewhere, trapped pressure, stored heat, drive, automatic restart, "
                "hopper and heavy parts. A list for its build helps to forget none."
            ),
            "needed": "maintain",
            "caution": caution_for_press(press.pk, "", ""),
        },
    )


@needs(Permission.VIEW)
def crops(request: MillRequest) -> HttpResponse:
    system = reader_of(request).system
    rows = [
        Row(
            title=crop.code,
            url=reverse("web:crop-edit", kwargs={"pk": crop.pk}),
            words=present_words(
                _("bushel of %s") % units.show_mass(crop.bushel_kg, system) if crop.bushel_kg else "",
                crop.note,
            ),
        )
        for crop in Crop.objects.all()
    ]
    return render(
        request,
        "web/setup/list.html",
        {
            "heading": _("Crops"),
            "rows": rows,
            "adds": [
                (reverse("web:crops-pick"), _("Pick the crops")),
                (reverse("web:crop-new"), _("Add a crop")),
            ],
            "empty": _("No crop is recorded yet."),
            "needed": "maintain",
        },
    )


class CropPage(ThingPage[CropForm, Crop]):
    model = Crop
    form_class = CropForm
    list_page = "web:crops"
    add_words = gettext_lazy("Add a crop")
    removable = True


press_new = PressPage.as_page(Permission.MAINTAIN)
press_edit = PressPage.as_page(Permission.MAINTAIN)
position_new = PositionPage.as_page(Permission.MAINTAIN)
position_edit = PositionPage.as_page(Permission.MAINTAIN)
energy_new = EnergyPage.as_page(Permission.MAINTAIN)
energy_edit = EnergyPage.as_page(Permission.MAINTAIN)
crop_new = CropPage.as_page(Permission.MAINTAIN)
crop_edit = CropPage.as_page(Permission.MAINTAIN)
