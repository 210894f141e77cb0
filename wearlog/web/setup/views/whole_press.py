"""Set up a press on one page: first its build, by a picture, then all that is known of it."""

from __future__ import annotations

from datetime import datetime

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.translation import gettext as _

from wearlog.equipment.kinds import Build, Kind
from wearlog.equipment.models import Fitting, Position, Press
from wearlog.logbook.whole_press import record_what_sits, set_up_press
from wearlog.people.roles import Permission
from wearlog.people.words import day_of
from wearlog.web.drawing.builds import numbered_seats, picture_of
from wearlog.web.setup.forms.seats import ONE_EDGE, EmptySeatsForm, keys_of
from wearlog.web.setup.forms.whole_press import WholePressForm
from wearlog.web.site.access import MillRequest
from wearlog.web.site.pages import FormPage, NothingToShow, back_to, number_in, with_query


class WholePressPage(FormPage[WholePressForm, Press]):
    """`?build=` is the build; `?like=` a press whose sizes are taken as a start, `?pace=` its pace.

    A `rebuild` that is sent asks for the sheet of another build with what was typed on this one.
    """

    template_name = "web/setup/whole_press.html"

    def prepare(self) -> None:
        sent = self.request.POST
        requested = sent.get("rebuild") or sent.get("build") or self.request.GET.get("build") or ""
        if requested not in Build.values:
            raise NothingToShow(
                render(
                    self.request,
                    "web/setup/which_build.html",
                    {"pictures": [picture_of(build) for build in Build]},
                )
            )
        self.build = Build(requested)
        self.numbered = numbered_seats(self.build)

    def post(self, request: MillRequest, **kwargs: object) -> HttpResponse:
        if "rebuild" not in request.POST:
            return super().post(request, **kwargs)
        try:
            self.prepare()
        except NothingToShow as nothing:
            return nothing.answer
        form = self.form(None)
        before = request.POST.get("build")
        form.for_another_build(request.POST, Build(before) if before in Build.values else self.build)
        return self.show(form)

    def form(self, data: QueryDict | None) -> WholePressForm:
        form = WholePressForm(
            data,
            reader=self.reader,
            build=self.build,
            numbered=self.numbered,
            initial={**self.sizes_of_like(), "pace": self.request.GET.get("pace", "")},
        )
        if data is not None:
            form.carry(data)
        return form

    def sizes_of_like(self) -> dict[str, object]:
        """Size, edges and limit of what sits on the press `like`, by the names of the form's fields."""
        like = number_in(self.request, "like")
        if like is None:
            return {}
        fittings = Fitting.objects.open().filter(position__press=like)
        types = {
            fitting.position.name: fitting.part.part_type
            for fitting in fittings.select_related("part__part_type", "position")
        }
        found: dict[str, object] = {}
        for key, (_number, seat) in zip(keys_of(self.numbered), self.numbered, strict=True):
            if seat.name in types:
                part_type = types[seat.name]
                found[f"{key}-size"] = part_type.size_mm
                found[f"{key}-limit"] = part_type.limit_mm
                found[f"{key}-edges"] = "A" if part_type.edges > 1 else ONE_EDGE
        return found

    def context(self) -> dict[str, object]:
        like = Press.objects.filter(pk=number_in(self.request, "like") or 0).first()
        return {
            "build": self.build,
            "builds": list(Build),
            "machine": picture_of(self.build).machine,
            "like": like,
        }

    def act(self, form: WholePressForm, now: datetime) -> Press:
        self.pace = form["pace"].value() or ""
        return set_up_press(by=self.request.user, at=now, whole=form.whole(day_of(now)))

    def done(self, record: Press) -> HttpResponse:
        messages.success(self.request, _("Saved: %s.") % record)
        if "another" in self.request.POST:
            return HttpResponseRedirect(
                with_query("web:press-new", build=self.build.value, like=record.pk, pace=self.pace)
            )
        return HttpResponseRedirect(reverse("web:day"))


class WhatSits(FormPage[EmptySeatsForm, list[Fitting]]):
    """What sits on the places of a press where nothing is recorded yet."""

    template_name = "web/setup/what_sits.html"

    def prepare(self) -> None:
        self.press = get_object_or_404(Press, pk=self.kwargs["pk"])
        order = {kind: number for number, kind in enumerate(Kind.values)}
        empty = Position.objects.filter(press=self.press).exclude(fittings__in=Fitting.objects.open())
        if not empty:
            messages.info(self.request, _("What sits on %s is recorded at every place.") % self.press)
            page = reverse("web:press", kwargs={"pk": self.press.pk})
            raise NothingToShow(HttpResponseRedirect(page))
        self.positions = sorted(empty, key=lambda place: (order[place.kind], place.name))

    def form(self, data: QueryDict | None) -> EmptySeatsForm:
        return EmptySeatsForm(data, reader=self.reader, press=self.press, positions=self.positions)

    def context(self) -> dict[str, object]:
        return {"press": self.press}

    def act(self, form: EmptySeatsForm, now: datetime) -> list[Fitting]:
        return record_what_sits(
            by=self.request.user,
            at=now,
            press=self.press,
            seats=form.seats_now(day_of(now)),
            confirmed=form.confirmed,
        )

    def done(self, record: list[Fitting]) -> HttpResponse:
        for fitting in record:
            messages.success(self.request, _("Saved: %s.") % fitting)
        return back_to(self.request, reverse("web:press", kwargs={"pk": self.press.pk}))


what_sits = WhatSits.as_page(Permission.MAINTAIN)
press_new = WholePressPage.as_page(Permission.MAINTAIN)
