"""Makes form fields from model fields, which alone define label, help, unit, choices and limits.

A form's deviations are passed as keyword arguments; `tests/architecture/test_fields.py` lists them all.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Never, TypeAlias, Unpack

from django import forms
from django.db import models
from django.db.models import QuerySet
from django.utils.translation import gettext_lazy as _

from wearlog.people.fields import (
    AnyQuantity,
    Celsius,
    Count,
    Hours,
    Kilograms,
    Limits,
    Millimetres,
    Quantity,
    SmallCount,
)
from wearlog.web.site.fields import (
    DayField,
    FieldArguments,
    HoursField,
    InstantField,
    LengthField,
    MassField,
    NumberField,
    TemperatureField,
    TextArguments,
)

if TYPE_CHECKING:
    from wearlog.people.fields import Words

    Field: TypeAlias = models.Field[Never, object]
    """A model's field, whatever its values are."""

NUMBERS: tuple[tuple[type[AnyQuantity], type[NumberField]], ...] = (
    (Kilograms, MassField),
    (Millimetres, LengthField),
    (Celsius, TemperatureField),
    (Hours, HoursField),
    (Quantity, NumberField),
)
"""Form fields by type of model field; the first match counts. Quantities shown in the reader's units have
their own."""


class Deviations(TextArguments, total=False):
    """Arguments of the form field that are particular to a form, and of some kinds of fields alone."""

    choices: Sequence[tuple[object, Words]]
    limits: Limits
    empty_label: Words | None
    queryset: QuerySet[models.Model]


def of(
    model: type[models.Model],
    name: str,
    kind: Callable[..., forms.Field] | None = None,
    *,
    empty: Words | None = None,
    **how: Unpack[Deviations],
) -> forms.Field:
    """A form field for the model's field: of the matching type, or of `kind`.

    `empty` is the label of the empty choice. `how` are arguments of the form field that are particular to the
    form, such as its widget, or a help text about what an empty field means there.
    """
    field = model._meta.get_field(name)
    assert isinstance(field, models.Field), f"{name} is a relation of another table"
    if field.choices:
        how.setdefault("choices", choices_of(field, empty))
        kind = kind or forms.ChoiceField
    made = form_field(field, kind, **how)
    assert made is not None, f"{name} is never asked for"
    return made


def when(model: type[models.Model], name: str, **how: Unpack[Deviations]) -> forms.Field:
    """An InstantField for the time of an entry, which is mostly now."""
    how.setdefault("required", False)
    how.setdefault("help_text", _("Empty: just now."))
    return of(model, name, **how)


def choices_of(field: Field, empty: Words | None = None) -> Sequence[tuple[object, Words]]:
    """The model's choices, after an empty one where `empty` gives its label."""
    if empty is None:
        return list(field.flatchoices)
    return [("", empty), *((value, words) for value, words in field.flatchoices if value)]


def form_field(
    field: Field, kind: Callable[..., forms.Field] | None = None, **how: Unpack[Deviations]
) -> forms.Field | None:
    """None for a field that Django never asks for, such as an automatic key."""
    given = field_arguments(field, how)
    if kind is not None:
        return kind(**given)
    text: TextArguments = given
    plain: FieldArguments = given
    if isinstance(field, Quantity):
        number = next(form for model, form in NUMBERS if isinstance(field, model))
        return number(unit=field.unit, limits=field.limits, **text)
    if isinstance(field, Count | SmallCount):
        return whole_number(field, **plain)
    if isinstance(field, models.DateTimeField):
        return InstantField(**text)
    if isinstance(field, models.DateField):
        return DayField(**plain)
    if isinstance(field, models.TextField):
        how.setdefault("widget", forms.Textarea(attrs={"rows": 3}))
    how.setdefault("label", field.verbose_name)
    return field.formfield(**how)


def field_arguments(field: Field, how: Deviations) -> Deviations:
    return {
        "label": field.verbose_name,
        "help_text": field.help_text,
        "required": not field.blank,
        **how,
    }


def whole_number(
    field: Count[Never, object] | SmallCount[Never, object], **how: Unpack[FieldArguments]
) -> forms.IntegerField:
    number = forms.IntegerField(validators=[field.refuse_beyond], **how)
    number.widget.attrs.update(min=int(field.limits.least), max=int(field.limits.most))
    return number


class Described:
    """The base of a model form's `Meta`: form fields are made as the model describes them."""

    formfield_callback = staticmethod(form_field)
