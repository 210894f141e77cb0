"""Makes form fields from model fields, which alone define label, help, unit, choices and limits.

A form's deviations are passed as keyword arguments; `tests/architecture/test_fields.py` lists them all.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.db import models
from django.utils.translation import gettext_lazy as _

from wearlog.people.fields import Celsius, Count, Hours, Kilograms, Millimetres, Quantity, SmallCount
from wearlog.web.site.fields import (
    DayField,
    HoursField,
    InstantField,
    LengthField,
    MassField,
    NumberField,
    TemperatureField,
)

NUMBERS: tuple[tuple[type[Quantity], type[NumberField]], ...] = (
    (Kilograms, MassField),
    (Millimetres, LengthField),
    (Celsius, TemperatureField),
    (Hours, HoursField),
    (Quantity, NumberField),
)
"""Form fields by type of model field; the first match counts. Quantities shown in the reader's units have
their own."""


def of(
    model: type[models.Model],
    name: str,
    kind: Callable[..., forms.Field] | None = None,
    *,
    empty: Any = None,
    **how: Any,
) -> Any:
    """A form field for the model's field: of the matching type, or of `kind`.

    `empty` is the label of the empty choice. `how` are arguments of the form field that are particular to the
    form, such as its widget, or a help text about what an empty field means there.
    """
    field: Any = model._meta.get_field(name)
    if field.choices:
        how.setdefault("choices", choices_of(field, empty))
        kind = kind or forms.ChoiceField
    return form_field(field, kind, **how)


def when(model: type[models.Model], name: str, **how: Any) -> Any:
    """An InstantField for the time of an entry, which is mostly now."""
    return of(model, name, **{"required": False, "help_text": _("Empty: just now."), **how})


def choices_of(field: Any, empty: Any = None) -> list[tuple[Any, Any]]:
    """The model's choices, after an empty one where `empty` gives its label."""
    if empty is None:
        return list(field.flatchoices)
    return [("", empty), *((value, words) for value, words in field.flatchoices if value)]


def form_field(field: Any, kind: Callable[..., forms.Field] | None = None, **how: Any) -> Any:
    if kind is not None:
        return kind(**field_arguments(field, how))
    if isinstance(field, Quantity):
        number = next(form for model, form in NUMBERS if isinstance(field, model))
        return number(unit=field.unit, limits=field.limits, **field_arguments(field, how))
    if isinstance(field, Count | SmallCount):
        return whole_number(field, **field_arguments(field, how))
    if isinstance(field, models.DateTimeField):
        return InstantField(**field_arguments(field, how))
    if isinstance(field, models.DateField):
        return DayField(**field_arguments(field, how))
    if isinstance(field, models.TextField):
        how.setdefault("widget", forms.Textarea(attrs={"rows": 3}))
    return field.formfield(**{"label": field.verbose_name, **how})


def field_arguments(field: Any, how: dict[str, Any]) -> dict[str, Any]:
    return {
        "label": field.verbose_name,
        "help_text": field.help_text,
        "required": not field.blank,
        **how,
    }


def whole_number(field: Count | SmallCount, **how: Any) -> forms.IntegerField:
    number = forms.IntegerField(validators=[field.refuse_beyond], **how)
    number.widget.attrs.update(min=int(field.limits.least), max=int(field.limits.most))
    return number


class Described:
    """The base of a model form's `Meta`: form fields are made as the model describes them."""

    formfield_callback = staticmethod(form_field)
