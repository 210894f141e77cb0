"""From a record's own validation to a refusal that names the field and says what is wrong."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from django.core.exceptions import NON_FIELD_ERRORS, FieldDoesNotExist, ValidationError
from django.db import models
from django.utils.translation import gettext as _

from wearlog.people.refusals import Refused

SIX_PLACES = Decimal("0.000001")


def label(record: models.Model, name: str) -> str:
    try:
        text = str(record._meta.get_field(name).verbose_name)  # type: ignore[union-attr]
    except FieldDoesNotExist:
        text = name
    return text[:1].upper() + text[1:]


def clean_fields(record: models.Model, *, known: Iterable[str]) -> None:
    """Validate the fields alone, but for those whose values the caller has looked up or made.

    For entries at the press: the record's own constraints cost a query each, and the caller has checked
    them in words; the database has the last word anyway.
    """
    skipped = {*known, "entered_by", "voided_by"}
    clean(record, exclude=skipped, validate_unique=False, validate_constraints=False)


def clean(record: models.Model, **how: Any) -> None:
    """Run every validation of the record; raises Refused with all messages and the first field.
    `how` goes to `full_clean`."""
    try:
        record.full_clean(**how)
    except ValidationError as error:
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
    """A number as the log keeps it, rounded to six decimals: a pound in kilograms has more."""
    if value is None or not value.is_finite():
        return value
    exponent = value.as_tuple().exponent
    return value.quantize(SIX_PLACES) if isinstance(exponent, int) and exponent < -6 else value


def not_negative(record: models.Model, names: Iterable[str]) -> None:
    """Round the fields to what is kept and refuse what is no number or below zero."""
    for name in names:
        value = getattr(record, name)
        if value is None:
            continue
        if not value.is_finite():
            raise Refused(_("%(field)s: write a number.") % {"field": label(record, name)}, field=name)
        if value < 0:
            raise Refused(
                _("%(field)s can't be negative. Write 0 or more.") % {"field": label(record, name)},
                field=name,
            )
        setattr(record, name, stored(value))


def per_cent(record: models.Model, names: Iterable[str]) -> None:
    """Like `not_negative`, and at most 100."""
    names = tuple(names)
    not_negative(record, names)
    for name in names:
        value = getattr(record, name)
        if value is not None and value > 100:
            raise Refused(_("%(field)s can't be above 100 %%.") % {"field": label(record, name)}, field=name)
