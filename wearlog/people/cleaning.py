"""Runs a record's own validation and turns its errors into `Refused`, which names the field and the error."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from django.core.exceptions import NON_FIELD_ERRORS, FieldDoesNotExist, ValidationError
from django.db import models
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from wearlog.people.fields import AnyQuantity, Quantity
from wearlog.people.refusals import Refused

SIX_PLACES = Decimal("0.000001")


def label(record: models.Model, name: str) -> str:
    try:
        field = record._meta.get_field(name)
    except FieldDoesNotExist:
        text = name
    else:
        text = str(field.verbose_name) if isinstance(field, models.Field) else name
    return text[:1].upper() + text[1:]


def clean_fields(record: models.Model, *, known: Iterable[str]) -> None:
    """Validate the fields only, except the `known` ones, whose values the caller has looked up or made.

    For entries at the press: each constraint of the model would cost a query, and the caller has already
    checked them with clearer messages. The database enforces them in any case.
    """
    skipped = {*known, "entered_by", "voided_by"}
    clean(record, exclude=skipped, validate_unique=False, validate_constraints=False)


def clean(
    record: models.Model,
    *,
    exclude: Iterable[str] | None = None,
    validate_unique: bool = True,
    validate_constraints: bool = True,
) -> None:
    """Run every validation of the record; raises Refused with all messages and the first field. The arguments
    are those of `full_clean`."""
    try:
        record.full_clean(
            exclude=exclude, validate_unique=validate_unique, validate_constraints=validate_constraints
        )
    except ValidationError as error:
        say_taken(error)
        messages = []
        field = ""
        for name, texts in error.message_dict.items():
            words = " ".join(texts)
            if name == NON_FIELD_ERRORS:
                messages.append(words)
            else:
                field = field or name
                messages.append(f"{label(record, name)}: {words}")
        raise Refused(" ".join(messages), field=field) from error


def stored(value: Decimal | None) -> Decimal | None:
    """A number as it is stored, rounded to six decimals; pounds converted to kilograms have more."""
    if value is None or not value.is_finite():
        return value
    exponent = value.as_tuple().exponent
    return value.quantize(SIX_PLACES) if isinstance(exponent, int) and exponent < -6 else value


def within(field: AnyQuantity, value: Decimal | None) -> Decimal | None:
    """The number as it is stored. Raises Refused where it is not finite or outside the field's limits."""
    if value is None:
        return None
    if not value.is_finite():
        raise Refused(_("%(field)s: write a number.") % {"field": field.verbose_name}, field=field.name)
    if not field.limits.hold(value):
        raise Refused(f"{field.verbose_name}: {field.limits.refusal(field.unit)}", field=field.name)
    return stored(value)


def check_numbers(record: models.Model) -> None:
    """Round the record's numbers to the stored precision. Raises Refused for one that is not finite or
    outside its limits."""
    for field in record._meta.concrete_fields:
        if isinstance(field, Quantity):
            setattr(record, field.attname, within(field, getattr(record, field.attname)))


TAKEN = gettext_lazy("This is taken. Choose another, or change the one that has it.")
TAKEN_TOGETHER = gettext_lazy(
    "There is one with the same %(field_labels)s. Choose another, or change that one."
)


def say_taken(error: ValidationError) -> None:
    """Give Django's errors about what must be unique words that say what to do."""
    if hasattr(error, "error_dict"):
        for errors in error.error_dict.values():
            for each in errors:
                say_taken(each)
    elif error.code == "unique":
        error.message = TAKEN
    elif error.code == "unique_together" and error.params and "field_labels" in error.params:
        error.message = TAKEN_TOGETHER
    elif hasattr(error, "error_list") and error.error_list != [error]:
        for each in error.error_list:
            say_taken(each)
