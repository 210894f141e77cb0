"""Incidents, the release of a lot, notes, readings, gauges and moves of parts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Unpack

from django import forms
from django.forms import BoundField
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.models import Fitting, Part, Press
from wearlog.logbook.entries import NewIncident, NewMeasurement
from wearlog.runs.models import Reading, ShiftNote
from wearlog.service.models import Incident, LotHold, Measurement
from wearlog.web.log.forms.photos import photos
from wearlog.web.log.forms.spares import SpareForm
from wearlog.web.log.forms.work import edge_label, gauge_words
from wearlog.web.site.fields import InstantField, Reader, pills
from wearlog.web.site.forms import EntryForm, FormArguments, new_ref
from wearlog.web.site.known import EdgeUse, PlaceNow, Spare
from wearlog.web.site.model_fields import of, when


def number_field() -> forms.TextInput:
    return forms.TextInput(attrs={"class": "number"})


class IncidentForm(EntryForm):
    ref = of(Incident, "ref", widget=forms.HiddenInput)
    press = forms.IntegerField(widget=forms.HiddenInput)
    kind = of(Incident, "kind", widget=pills(), error_messages={"required": _("Choose what happened.")})
    position = of(Incident, "position", forms.ChoiceField, widget=pills())
    lot = of(LotHold, "lot")
    note = of(Incident, "note")
    photo = photos()
    happened_at = when(Incident, "happened_at")

    def __init__(
        self,
        data: Mapping[str, object] | None,
        *,
        reader: Reader,
        places: Sequence[PlaceNow],
        **more: Unpack[FormArguments],
    ) -> None:
        super().__init__(data, reader=reader, **more)
        self.fields["ref"].initial = new_ref()
        self.field("position", forms.ChoiceField).choices = [
            ("", _("not said")),
            *((str(place.position.pk), place.position.name) for place in places),
        ]

    def entry(self, *, press: Press, now: datetime) -> NewIncident:
        position = self.text_of("position")
        return NewIncident(
            press_id=press.pk,
            kind=self.text_of("kind"),
            happened_at=self.at_or("happened_at", now),
            position_id=int(position) if position else None,
            lot=self.text_of("lot"),
            note=self.text_of("note"),
            ref=self.text_of("ref"),
        )


class ReleaseForm(EntryForm):
    released_by = of(
        LotHold,
        "released_by",
        required=True,
        error_messages={"required": _("Write the name of the person who releases the lot.")},
    )
    reason = of(
        LotHold,
        "reason",
        required=True,
        error_messages={"required": _("Write what was found and looked at.")},
    )


class NoteForm(EntryForm):
    text = of(
        ShiftNote,
        "text",
        forms.CharField,
        label=_("For whoever comes next"),
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 4}),
        error_messages={"required": _("Write a line, or go back.")},
    )
    photo = photos()
    press = of(ShiftNote, "press", forms.ChoiceField, widget=pills())
    by_name = of(ShiftNote, "by_name", required=False)

    def __init__(
        self,
        data: Mapping[str, object] | None,
        *,
        reader: Reader,
        presses: Sequence[Press],
        **more: Unpack[FormArguments],
    ) -> None:
        super().__init__(data, reader=reader, **more)
        self.field("press", forms.ChoiceField).choices = [
            ("", _("the whole mill")),
            *((str(press.pk), str(press)) for press in presses),
        ]


class ReadingForm(EntryForm):
    press = forms.IntegerField(widget=forms.HiddenInput)
    meter_h = of(
        Reading,
        "meter_h",
        widget=number_field(),
        error_messages={"required": _("Write what the hour meter shows.")},
    )
    new_meter = forms.BooleanField(
        label=_("This is a new hour meter; the count goes on from here"), required=False
    )
    read_at = when(Reading, "read_at")


class MeasurementForm(EntryForm):
    """A gauge on a part, on the press or on the bench."""

    part = forms.IntegerField(widget=forms.HiddenInput)
    ref = of(Measurement, "ref", widget=forms.HiddenInput)
    edge = of(Measurement, "edge", widget=pills())
    value_mm = of(
        Measurement,
        "value_mm",
        widget=number_field(),
        error_messages={"required": _("Write what you measured.")},
    )
    place = of(Measurement, "place")
    bound = of(Measurement, "bound", empty=_("the value itself"), widget=pills())
    gauge = of(Measurement, "gauge")
    measured_at = when(Measurement, "measured_at")
    note = of(Measurement, "note")

    def __init__(
        self,
        data: Mapping[str, object] | None,
        *,
        reader: Reader,
        of_part: Part,
        edges: Sequence[EdgeUse],
        at_work: str,
        **more: Unpack[FormArguments],
    ) -> None:
        super().__init__(data, reader=reader, **more)
        self.fields["ref"].initial = new_ref()
        if len(edges) > 1:
            self.field("edge", forms.ChoiceField).choices = [
                (edge.edge, edge_label(edge, reader)) for edge in edges
            ]
            self.fields["edge"].required = True
            self.fields["edge"].error_messages["required"] = _("Choose the edge that you measured.")
        else:
            del self.fields["edge"]
        self.fields["value_mm"].help_text = gauge_words(of_part, edges, at_work, reader)

    def measurement(self) -> NewMeasurement:
        return NewMeasurement(
            value_mm=self.cleaned_data["value_mm"],
            **{name: self.text_of(name) for name in ("place", "bound", "gauge", "note", "ref")},
        )

    def folded(self) -> list[BoundField]:
        return [self[name] for name in ("place", "bound", "gauge", "measured_at", "note")]


class FitForm(SpareForm):
    """A part from the shelf onto an empty position."""

    position = forms.IntegerField(widget=forms.HiddenInput)
    fitted_at = when(Fitting, "fitted_at", label=_("When"))

    aliases = {"part": "new", "edge": "new", "moved_at": "fitted_at"}

    def __init__(
        self,
        data: Mapping[str, object] | None,
        *,
        reader: Reader,
        spares: Sequence[Spare],
        **more: Unpack[FormArguments],
    ) -> None:
        super().__init__(data, reader=reader, **more)
        self.offer(spares)


class TakeOffForm(EntryForm):
    fitting = forms.IntegerField(widget=forms.HiddenInput)
    retired_because = of(
        Part,
        "retired_because",
        label=_("What becomes of it"),
        empty=_("goes on the shelf"),
        widget=pills(),
    )
    removed_at = when(Fitting, "removed_at", label=_("When"))

    aliases = {"moved_at": "removed_at"}


class SwapForm(EntryForm):
    fitting = forms.IntegerField(widget=forms.HiddenInput)
    second = forms.ChoiceField(
        label=_("Changes places with"),
        widget=pills(),
        error_messages={"required": _("Choose the part that it changes places with.")},
    )
    moved_at = InstantField(label=_("When"), help_text=_("Empty: just now."))

    aliases = {"part": "second", "position": "second"}

    def __init__(
        self,
        data: Mapping[str, object] | None,
        *,
        reader: Reader,
        others: Sequence[Fitting],
        **more: Unpack[FormArguments],
    ) -> None:
        super().__init__(data, reader=reader, **more)
        self.field("second", forms.ChoiceField).choices = [(str(other.pk), str(other)) for other in others]


def others_like(fitting: Fitting) -> list[Fitting]:
    """Fitted parts of the same kind elsewhere: what this one could change places with."""
    return list(
        Fitting.objects.open()
        .filter(position__kind=fitting.position.kind)
        .exclude(pk=fitting.pk)
        .select_related("part", "position__press")
    )
