"""Correcting a record: its old values to change, and why."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from wearlog.equipment.models import EDGES, Part, Position, Press
from wearlog.people.models import LogRecord
from wearlog.runs.models import Crop, Dirt, ReadingKind, SeedHow
from wearlog.service.models import Action, Bound, IncidentKind, Phase, Rule
from wearlog.web.site.fields import (
    HoursField,
    InstantField,
    LengthField,
    MassField,
    NumberField,
    Reader,
    TemperatureField,
)
from wearlog.web.site.forms import EntryForm
from wearlog.web.site.records import kind_of


def words(label: Any, length: int = 120) -> forms.CharField:
    return forms.CharField(label=label, max_length=length, required=False)


def long_words(label: Any) -> forms.CharField:
    return forms.CharField(label=label, required=False, widget=forms.Textarea(attrs={"rows": 3}))


def one_of(label: Any, choices: Any, *, may_be_empty: bool = False) -> forms.ChoiceField:
    return forms.ChoiceField(
        label=label,
        required=not may_be_empty,
        choices=[("", "–"), *choices] if may_be_empty else list(choices),
    )


def press() -> forms.Field:
    return forms.ModelChoiceField(label=_("Press"), queryset=Press.objects.all(), empty_label=None)


def edge() -> forms.Field:
    return one_of(_("Edge"), [(name, name) for name in EDGES], may_be_empty=True)


def fields_of(record: LogRecord) -> dict[str, forms.Field]:
    """The fields that a correction of this kind of record may change, by the model's names."""
    return MAKERS[kind_of(record)](record)


def _run(record: Any) -> dict[str, forms.Field]:
    return {
        "press": press(),
        "crop": forms.ModelChoiceField(label=_("Crop"), queryset=Crop.objects.all(), empty_label=None),
        "seed_kg": MassField(label=_("Seed pressed"), required=True),
        "seed_how": forms.ChoiceField(label=_("The seed was"), required=False, choices=SeedHow.choices),
        "hours_h": HoursField(label=_("Hours pressed"), help_text=_("Empty: from the meter, or the clock.")),
        "started_at": InstantField(label=_("Started"), required=True),
        "ended_at": InstantField(label=_("Ended"), help_text=_("Empty: from the hours, or still running.")),
        "lot": words(_("Lot"), 60),
        "through": words(_("Barrels that pressed"), 80),
        "oil_kg": MassField(label=_("Oil")),
        "cake_kg": MassField(label=_("Cake")),
        "foots_kg": MassField(label=_("Foots")),
        "moisture_pct": NumberField(label=_("Seed moisture"), unit="%", most=100),
        "seed_oil_pct": NumberField(label=_("Oil in the seed"), unit="%", most=100),
        "cake_oil_pct": NumberField(label=_("Oil left in the cake"), unit="%", most=100),
        "head_c": TemperatureField(label=_("Head temperature"), least=-50, most=400),
        "drive_hz": NumberField(label=_("Drive"), unit="Hz", most=1000),
        "motor_a": NumberField(label=_("Motor"), unit="A", most=10_000),
        "energy_kwh": NumberField(label=_("Energy"), unit="kWh"),
        "dirt": one_of(_("How clean was the seed?"), Dirt.choices, may_be_empty=True),
        "purge": forms.BooleanField(label=_("Purge seed, off-grade"), required=False),
        "done_by": words(_("Done by")),
        "note": long_words(_("Note")),
    }


def _reading(record: Any) -> dict[str, forms.Field]:
    return {
        "press": press(),
        "meter_h": HoursField(label=_("Hour meter shows"), required=True),
        "read_at": InstantField(label=_("When"), required=True),
        "kind": one_of(_("Kind"), ReadingKind.choices),
    }


def _work(record: Any) -> dict[str, forms.Field]:
    return {
        "action": one_of(_("Work"), Action.choices),
        "press": press(),
        "position": forms.ModelChoiceField(
            label=_("Position"),
            required=False,
            queryset=Position.objects.filter(press=record.press_id),
        ),
        "part": forms.ModelChoiceField(label=_("Part"), required=False, queryset=Part.objects.all()),
        "edge": edge(),
        "done_at": InstantField(label=_("When"), required=True),
        "finding": long_words(_("What was found")),
        "rule": forms.ModelChoiceField(
            label=_("Counts for the rule"), required=False, queryset=Rule.objects.all()
        ),
        "downtime_h": HoursField(label=_("The press stood")),
        "labour_h": HoursField(label=_("Hours of work")),
        "cost": NumberField(label=_("Paid for it")),
        "done_by": words(_("Done by")),
        "note": long_words(_("Note")),
    }


def _measurement(record: Any) -> dict[str, forms.Field]:
    return {
        "part": forms.ModelChoiceField(label=_("Part"), queryset=Part.objects.all(), empty_label=None),
        "edge": edge(),
        "value_mm": LengthField(label=_("Measured"), required=True),
        "place": words(_("Place"), 60),
        "bound": one_of(_("The gauge gave"), Bound.choices, may_be_empty=True),
        "phase": one_of(_("Before or after work"), Phase.choices, may_be_empty=True),
        "measured_at": InstantField(label=_("When"), required=True),
        "gauge": words(_("Gauge used"), 60),
        "note": long_words(_("Note")),
    }


def _incident(record: Any) -> dict[str, forms.Field]:
    return {
        "press": press(),
        "kind": one_of(_("What happened?"), IncidentKind.choices),
        "position": forms.ModelChoiceField(
            label=_("Where?"), required=False, queryset=Position.objects.filter(press=record.press_id)
        ),
        "happened_at": InstantField(label=_("When"), required=True),
        "note": long_words(_("What was seen")),
    }


def _fitting(record: Any) -> dict[str, forms.Field]:
    return {
        "part": forms.ModelChoiceField(label=_("Part"), queryset=Part.objects.all(), empty_label=None),
        "edge": edge(),
        "position": forms.ModelChoiceField(
            label=_("Position"),
            queryset=Position.objects.filter(kind=record.position.kind).select_related("press"),
            empty_label=None,
        ),
        "fitted_at": InstantField(label=_("Fitted"), required=True),
        "removed_at": InstantField(label=_("Taken off"), help_text=_("Empty: it still sits there.")),
    }


def _note(record: Any) -> dict[str, forms.Field]:
    return {
        "text": forms.CharField(label=_("Text"), widget=forms.Textarea(attrs={"rows": 4})),
        "press": forms.ModelChoiceField(label=_("About"), queryset=Press.objects.all(), required=False),
        "by_name": forms.CharField(label=_("Signed"), max_length=120),
    }


MAKERS = {
    "run": _run,
    "reading": _reading,
    "work": _work,
    "measurement": _measurement,
    "incident": _incident,
    "fitting": _fitting,
    "note": _note,
}


class CorrectionForm(EntryForm):
    """The record's fields with their old values. `seen` counts what had happened to it when it was shown."""

    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)
    reason = forms.CharField(
        label=_("Why is it corrected?"),
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=_("Kept with the record, beside the old values."),
        error_messages={"required": _("Write why; the reason is kept with the record.")},
    )

    def __init__(self, *args: Any, reader: Reader, record: LogRecord, seen: int, **kwargs: Any) -> None:
        old = fields_of(record)
        initial = {name: self._value(record, name) for name in old}
        super().__init__(*args, reader=reader, initial={**initial, "seen": seen}, **kwargs)
        self.names = tuple(old)
        self.fields = {**old, "seen": self.fields["seen"], "reason": self.fields["reason"]}
        self.take_reader(reader)

    @staticmethod
    def _value(record: LogRecord, name: str) -> Any:
        field = record._meta.get_field(name)
        return getattr(record, field.attname if field.is_relation else name)  # type: ignore[union-attr]

    @property
    def old_fields(self) -> list[Any]:
        return [self[name] for name in self.names]

    def changes(self) -> dict[str, object]:
        """What was changed, by the model's field names, as values that the model takes."""
        return {name: self.cleaned_data[name] for name in self.names if name in self.changed_data}

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.errors and not self.changes():
            self.add_error(None, _("Nothing is changed yet. Change what is wrong, or go back."))
        return cleaned


class VoidForm(EntryForm):
    reason = forms.CharField(
        label=_("Why is it struck out?"),
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=_("The record stays readable, struck through, and counts no more."),
        error_messages={"required": _("Write why; the reason is kept with the record.")},
    )
