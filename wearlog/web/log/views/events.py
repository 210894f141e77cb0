"""Incidents, held lots, notes, meter readings and gauges."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import ClassVar

from django.contrib import messages
from django.db.models import Q
from django.http import Http404, HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from wearlog.calc import units
from wearlog.equipment.models import Fitting, Kind, Part, Press
from wearlog.equipment.queries import place_of
from wearlog.lockout.cautions.queries import caution_for_press, cautions_for
from wearlog.logbook import actions
from wearlog.people.roles import Permission
from wearlog.runs.models import Reading, ShiftNote
from wearlog.service.models import Action, Incident, LotHold, Measurement
from wearlog.web.log.forms.events import (
    IncidentForm,
    MeasurementForm,
    NoteForm,
    ReadingForm,
    ReleaseForm,
)
from wearlog.web.log.views.run import choose_press, reading_words
from wearlog.web.site import isolations, known
from wearlog.web.site.pages import EntryPage, Form, FormPage, NothingToShow, Record, number_in
from wearlog.words.records import gauge_words


class AtPress(EntryPage[Form, Record]):
    """An entry about one press: the one in the query, else the person's usual one."""

    heading: ClassVar[str] = ""
    page: ClassVar[str] = ""

    def prepare(self) -> None:
        self.presses = known.presses_at_work()
        requested = self.request.POST.get("press") or self.request.GET.get("press") or ""
        press = known.usual_press(self.request.user, self.presses, requested)
        if press is None:
            raise NothingToShow(choose_press(self.request, _(self.heading), reverse(self.page)))
        self.press: Press = press
        self.places = known.places_of(press)

    def context(self) -> dict[str, object]:
        return {"press": self.press, "presses": self.presses, "page": reverse(self.page)}


class IncidentNew(AtPress[IncidentForm, Incident]):
    template_name = "web/log/incident.html"
    heading = gettext_noop("Report an incident")
    page = "web:incident-new"
    replays = Incident

    def form(self, data: QueryDict | None) -> IncidentForm:
        last = next(iter(known.running(self.press)), None) or known.last_run(self.press)
        return IncidentForm(
            data,
            reader=self.reader,
            places=self.places,
            initial={"press": self.press.pk, "lot": last.lot if last else ""},
        )

    def context(self) -> dict[str, object]:
        return {
            **super().context(),
            "caution": caution_for_press(self.press.pk, Action.INSPECT.value, Kind.SCREW.value),
            "isolations": isolations.open_at(self.request.user, [self.press.pk]),
        }

    def act(self, form: IncidentForm, now: datetime) -> Incident:
        entry = form.entry(press=self.press, now=now)
        return actions.report_incident(by=self.request.user, at=now, entry=entry)

    def done(self, record: Incident) -> HttpResponse:
        self.saved(
            _("Reported: %(kind)s on %(press)s.")
            % {"kind": record.get_kind_display(), "press": record.press},
            record,
        )
        hold = LotHold.objects.filter(incident=record).first()
        if hold is not None:
            messages.warning(
                self.request,
                _("Oil and cake of lot %(lot)s are on hold: use none of it until it is released by name.")
                % {"lot": hold.lot or "?"},
            )
        return self.back()


class LotRelease(FormPage[ReleaseForm, LotHold]):
    template_name = "web/log/release.html"

    def prepare(self) -> None:
        self.hold = get_object_or_404(LotHold.objects.select_related("incident__press"), pk=self.kwargs["pk"])

    def form(self, data: QueryDict | None) -> ReleaseForm:
        return ReleaseForm(data, reader=self.reader, initial={"released_by": str(self.request.user)})

    def context(self) -> dict[str, object]:
        return {"hold": self.hold}

    def act(self, form: ReleaseForm, now: datetime) -> LotHold:
        return actions.release_lot(
            by=self.request.user,
            at=now,
            hold_id=self.hold.pk,
            released_by=form.text_of("released_by"),
            reason=form.text_of("reason"),
        )

    def done(self, record: LotHold) -> HttpResponse:
        messages.success(
            self.request,
            _("Lot %(lot)s is released by %(name)s.")
            % {"lot": record.lot or "?", "name": record.released_by},
        )
        return HttpResponseRedirect(reverse("web:day"))


class NoteNew(EntryPage[NoteForm, ShiftNote]):
    template_name = "web/log/note.html"

    def prepare(self) -> None:
        self.presses = known.presses_at_work()

    def form(self, data: QueryDict | None) -> NoteForm:
        return NoteForm(
            data,
            reader=self.reader,
            presses=self.presses,
            initial={"press": self.request.GET.get("press", ""), "by_name": str(self.request.user)},
        )

    def act(self, form: NoteForm, now: datetime) -> ShiftNote:
        press = form.text_of("press")
        press_id = int(press) if press else None
        # A note has no ref, so a double submit is recognised by the same text.
        twin = ShiftNote.objects.not_voided().filter(
            Q(press_id=press_id),
            entered_by=self.request.user,
            text=form.text_of("text"),
            written_at__gt=now - timedelta(minutes=1),
        )
        return twin.first() or actions.leave_note(
            by=self.request.user,
            at=now,
            text=form.text_of("text"),
            by_name=form.text_of("by_name") or str(self.request.user),
            press_id=press_id,
        )

    def done(self, record: ShiftNote) -> HttpResponse:
        self.saved(_("The note stands on the day page."), record)
        return self.back()


class ReadingNew(AtPress[ReadingForm, Reading]):
    template_name = "web/log/reading.html"
    heading = gettext_noop("Log a meter reading")
    page = "web:reading-new"

    def form(self, data: QueryDict | None) -> ReadingForm:
        form = ReadingForm(data, reader=self.reader, initial={"press": self.press.pk})
        form.fields["meter_h"].help_text = reading_words(known.last_reading(self.press))
        return form

    def act(self, form: ReadingForm, now: datetime) -> Reading:
        read_at = form.at_or("read_at", now)
        twin = Reading.objects.not_voided().filter(
            press=self.press,
            entered_by=self.request.user,
            meter_h=form.cleaned_data["meter_h"],
            read_at__gt=read_at - timedelta(minutes=1),
            read_at__lte=read_at,
        )
        return twin.first() or actions.log_reading(
            by=self.request.user,
            at=now,
            press_id=self.press.pk,
            read_at=read_at,
            meter_h=form.cleaned_data["meter_h"],
            new_meter=bool(form.cleaned_data.get("new_meter")),
            confirmed=form.confirmed,
        )

    def done(self, record: Reading) -> HttpResponse:
        self.saved(
            _("Saved: the meter of %(press)s shows %(hours)s h.")
            % {"press": self.press, "hours": units.plain(record.meter_h)},
            record,
        )
        return self.back()


class MeasurementNew(EntryPage[MeasurementForm, Measurement]):
    template_name = "web/log/measurement.html"
    replays = Measurement

    def prepare(self) -> None:
        pk = number_in(self.request, "part")
        if pk is None:
            raise NothingToShow(HttpResponseRedirect(reverse("web:parts") + "?gauge=1"))
        self.part = Part.objects.select_related("part_type").filter(pk=pk).first()
        if self.part is None:
            raise Http404(_("There is no such part."))
        self.place = place_of(self.part)
        self.edges = known.edges_of(self.part)

    def form(self, data: QueryDict | None) -> MeasurementForm:
        assert self.part is not None
        at_work = self.place.edge if self.place else ""
        return MeasurementForm(
            data,
            reader=self.reader,
            of_part=self.part,
            edges=self.edges,
            at_work=self.request.GET.get("edge") or at_work,
            initial={"part": self.part.pk, "edge": self.request.GET.get("edge") or at_work},
        )

    def context(self) -> dict[str, object]:
        assert self.part is not None
        last = (
            self.place or Fitting.objects.not_voided().filter(part=self.part).order_by("-fitted_at").first()
        )
        press_id = last.position.press_id if last else 0
        return {
            "part": self.part,
            "place": self.place,
            "caution": cautions_for([press_id]).of(
                press_id,
                action=Action.MEASURE.value,
                kind=self.part.part_type.kind,
                on_press=self.place is not None,
            ),
        }

    def act(self, form: MeasurementForm, now: datetime) -> Measurement:
        assert self.part is not None
        return actions.log_measurement(
            by=self.request.user,
            at=now,
            part_id=self.part.pk,
            edge=form.text_of("edge"),
            measured_at=form.at_or("measured_at", now),
            measurement=form.measurement(),
            confirmed=form.confirmed,
        )

    def done(self, record: Measurement) -> HttpResponse:
        self.saved(
            _("Saved: %(gauge)s.") % {"gauge": gauge_words(record, self.reader.system)},
            record,
        )
        return self.back()


incident_new = IncidentNew.as_page(Permission.LOG)
lot_release = LotRelease.as_page(Permission.MAINTAIN)
note_new = NoteNew.as_page(Permission.LOG)
reading_new = ReadingNew.as_page(Permission.LOG)
measurement_new = MeasurementNew.as_page(Permission.LOG)
