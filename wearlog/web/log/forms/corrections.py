"""Correcting a record: its old values to change, and why."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal

from django import forms
from django.db.models import Field, QuerySet
from django.forms import BoundField
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.models import Fitting, Position
from wearlog.people.fields import stated
from wearlog.people.models import LogRecord
from wearlog.runs.models import Reading, Run, ShiftNote
from wearlog.service.models import Incident, Measurement, Service
from wearlog.web.site.fields import Reader
from wearlog.web.site.forms import DECIMAL, EntryForm, ReasonedForm
from wearlog.web.site.model_fields import Deviations, of

IN_ORDER: dict[type[LogRecord], tuple[str, ...]] = {
    Run: (
        "press",
        "crop",
        "seed_kg",
        "seed_how",
        "hours_h",
        "started_at",
        "ended_at",
        "lot",
        "through",
        "oil_kg",
        "cake_kg",
        "foots_kg",
        "moisture_pct",
        "seed_oil_pct",
        "cake_oil_pct",
        "head_c",
        "drive_hz",
        "gap_mm",
        "motor_a",
        "energy_kwh",
        "dirt",
        "purge",
        "done_by",
        "note",
    ),
    Reading: ("press", "meter_h", "read_at", "kind"),
    Service: (
        "action",
        "press",
        "position",
        "part",
        "edge",
        "done_at",
        "finding",
        "rule",
        "downtime_h",
        "labour_h",
        "cost",
        "done_by",
        "note",
    ),
    Measurement: ("part", "edge", "value_mm", "place", "bound", "phase", "measured_at", "gauge", "note"),
    Incident: ("press", "kind", "position", "happened_at", "note"),
    Fitting: ("part", "edge", "position", "fitted_at", "removed_at"),
    ShiftNote: ("text", "press", "by_name"),
}
"""The fields of each kind of record in the order on the page. Those that are not named here come last."""
LEFT_ALONE = {"ref", "service", "written_at"}
"""The reference of a record, the work that a gauge belongs to, and when a note was written."""
CORRECTED: dict[type[LogRecord], tuple[str, ...]] = {
    model: (*names, *(name for name in stated(model) if name not in {*names, *LEFT_ALONE}))
    for model, names in IN_ORDER.items()
}
"""The fields of each kind of record that may be corrected, in the order on the page."""
WHAT_EMPTY_MEANS = {
    (Run, "hours_h"): _("Empty: from the meter, or the clock."),
    (Run, "ended_at"): _("Empty: from the hours, or still running."),
    (Fitting, "removed_at"): _("Empty: it still sits there."),
}


def fields_of(record: LogRecord) -> dict[str, forms.Field]:
    """The fields that a correction of this kind of record may change, by the model's names."""
    return {name: field_of(record, name) for name in CORRECTED[type(record)]}


def field_of(record: LogRecord, name: str) -> forms.Field:
    model = type(record)
    field = model._meta.get_field(name)
    assert isinstance(field, Field)
    how: Deviations = {}
    if (model, name) in WHAT_EMPTY_MEANS:
        how["help_text"] = WHAT_EMPTY_MEANS[model, name]
    if field.is_relation and not field.null:
        how["empty_label"] = None
    if name == "position":
        how["queryset"] = places_of(record)
    can_be_empty = field.choices and field.blank and "" not in dict(field.flatchoices)
    return of(model, name, empty="–" if can_be_empty else None, **how)


def places_of(record: LogRecord) -> QuerySet[Position]:
    """The positions to choose from: for a fitting, those for the part's kind on any press; for work and
    incidents, those of their press."""
    places = Position.objects.select_related("press")
    if isinstance(record, Fitting):
        return places.filter(kind=record.position.kind)
    assert isinstance(record, Service | Incident)
    return places.filter(press=record.press_id)


class CorrectionForm(ReasonedForm):
    """The record's fields with their present values."""

    def __init__(
        self, data: Mapping[str, object] | None, *, reader: Reader, record: LogRecord, seen: int
    ) -> None:
        old = fields_of(record)
        initial = {name: self._value(record, name) for name in old}
        super().__init__(data, reader=reader, initial={**initial, "seen": seen})
        self.names = tuple(old)
        self.fields = {**old, "seen": self.fields["seen"], "reason": self.fields["reason"]}
        self.take_reader(reader)

    @staticmethod
    def _value(record: LogRecord, name: str) -> object:
        field = record._meta.get_field(name)
        assert isinstance(field, Field)
        return getattr(record, field.attname if field.is_relation else name)

    def propose(self, name: str, number: str) -> None:
        """Show a field with another number, in the unit of the record, that a link proposes for it."""
        if name in self.names and re.fullmatch(DECIMAL, number):
            self.initial[name] = Decimal(number)

    @property
    def old_fields(self) -> list[BoundField]:
        return [self[name] for name in self.names]

    def changes(self) -> dict[str, object]:
        """The changed values for the model, by field name."""
        return {name: self.cleaned_data[name] for name in self.names if name in self.changed_data}

    def clean(self) -> dict[str, object]:
        cleaned = super().clean() or {}
        if not self.errors and not self.changes():
            self.add_error(None, _("Nothing is changed yet. Change what is wrong, or go back."))
        return cleaned


class PhotoDeleteForm(EntryForm):
    reason = forms.CharField(
        label=_("Why is it deleted?"),
        max_length=500,
        error_messages={"required": _("Write why the photo is deleted; the reason is kept.")},
    )


class VoidForm(EntryForm):
    reason = forms.CharField(
        label=_("Why is it crossed out?"),
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=_("The record stays readable, struck through, and counts no more."),
        error_messages={"required": _("Write why; the reason is kept with the record.")},
    )
