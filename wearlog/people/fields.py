"""Model fields that also know the unit and the limits of their values.

A model states each of these once; forms, corrections, a record's history, import and export read them from
its fields. Migrations see Django's own fields, since unit and limits do not affect the tables.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

if TYPE_CHECKING:
    from django.utils.functional import _StrPromise

    Words = str | _StrPromise
    """A text, or one that is put into the reader's language when it is shown."""
    Field = models.Field[Any, Any]
    DecimalField = models.DecimalField[Any, Any]
    PositiveIntegerField = models.PositiveIntegerField[Any, Any]
    PositiveSmallIntegerField = models.PositiveSmallIntegerField[Any, Any]
    CharField = models.CharField[Any, Any]
    TextField = models.TextField[Any, Any]
else:  # only the stubs make these classes generic
    from django.db.models import (
        CharField,
        DecimalField,
        Field,
        PositiveIntegerField,
        PositiveSmallIntegerField,
        TextField,
    )

MOST = 999_999_999
"""Nine digits before the point, which is what the database takes."""


def plain(value: Decimal) -> str:
    """The shortest decimal text with a point: `1000`, `0.25`."""
    return f"{value.normalize():f}"


@dataclass(frozen=True)
class Limits:
    """The range from `least` to `most`, both included; where `above` is given, values must be greater than
    it."""

    least: Decimal
    most: Decimal
    above: Decimal | None = None

    @classmethod
    def of(cls, least: int | Decimal, most: int | Decimal, above: int | Decimal | None = None) -> Limits:
        return cls(Decimal(least), Decimal(most), None if above is None else Decimal(above))

    def hold(self, value: Decimal | int) -> bool:
        return self.least <= value <= self.most and (self.above is None or value > self.above)

    def refusal(self, unit: Words = "", say: Callable[[Decimal], str] = plain) -> str:
        """The message for a value out of range. `say` formats a limit; `unit` follows the last number."""
        more = {"most": say(self.most), "unit": f" {unit}" if unit else ""}
        if self.above is not None:
            return _("Write a number above %(above)s, up to %(most)s%(unit)s.") % {
                "above": say(self.above),
                **more,
            }
        return _("Write a number from %(least)s to %(most)s%(unit)s.") % {"least": say(self.least), **more}


class Described(Field):
    """A mixin for a field that knows more than its column. It goes before one of Django's own field classes,
    which is what migrations see, so that its extra arguments cause no migrations."""

    django_class: type[Field]

    def deconstruct(self) -> Any:
        name, _path, args, how = super().deconstruct()
        return name, f"django.db.models.{self.django_class.__name__}", args, how

    def clone(self) -> Any:
        _name, _path, args, how = self.deconstruct()
        return self.django_class(*args, **how)


class Limited(Described):
    """A field that refuses values outside its limits. `unit` is that of the stored value, `unit_ends_name`
    the suffix by which a field's name tells the unit."""

    limits: Limits
    unit: Words = ""
    unit_ends_name = ""

    @cached_property
    def validators(self) -> list[Any]:
        return [*super().validators, self.refuse_beyond]

    def refuse_beyond(self, value: Any) -> None:
        if not self.limits.hold(value):
            raise ValidationError(self.limits.refusal(self.unit), code="range")


class Quantity(Limited, DecimalField):
    """A recorded number with at most six decimals; null where it is not known."""

    django_class = models.DecimalField

    def __init__(
        self,
        verbose_name: Words | None = None,
        *,
        least: int | Decimal = 0,
        above: int | Decimal | None = None,
        most: int | Decimal = MOST,
        **more: Any,
    ) -> None:
        self.limits = Limits.of(least, most, above)
        more = {"max_digits": 15, "decimal_places": 6, **more}
        super().__init__(verbose_name, **more)


class Kilograms(Quantity):
    unit, unit_ends_name = "kg", "kg"


class Hours(Quantity):
    unit, unit_ends_name = "h", "h"


class Millimetres(Quantity):
    unit, unit_ends_name = "mm", "mm"


class Celsius(Quantity):
    unit, unit_ends_name = "°C", "c"


class Percent(Quantity):
    unit, unit_ends_name = "%", "pct"

    def __init__(self, verbose_name: Words | None = None, **more: Any) -> None:
        super().__init__(verbose_name, **{"most": 100, **more})


class Hertz(Quantity):
    unit, unit_ends_name = "Hz", "hz"


class Amperes(Quantity):
    unit, unit_ends_name = "A", "a"


class KilowattHours(Quantity):
    unit, unit_ends_name = "kWh", "kwh"


class Days(Quantity):
    unit, unit_ends_name = gettext_lazy("days"), "days"


class Money(Quantity):
    """An amount in the mill's currency, which the mill's settings name."""


class Share(Quantity):
    """A fraction of a whole, from 0 to 1."""

    def __init__(self, verbose_name: Words | None = None, **more: Any) -> None:
        super().__init__(verbose_name, **{"most": 1, **more})


class Count(Limited, PositiveIntegerField):
    """A whole number."""

    django_class: type[Field] = models.PositiveIntegerField

    def __init__(
        self,
        verbose_name: Words | None = None,
        *,
        least: int = 0,
        most: int = 2_000_000_000,
        **more: Any,
    ) -> None:
        self.limits = Limits.of(least, most)
        super().__init__(verbose_name, **more)


class SmallCount(Limited, PositiveSmallIntegerField):
    """A small whole number."""

    django_class = models.PositiveSmallIntegerField

    def __init__(
        self, verbose_name: Words | None = None, *, least: int = 0, most: int = 32_767, **more: Any
    ) -> None:
        self.limits = Limits.of(least, most)
        super().__init__(verbose_name, **more)


class Tags(Described, CharField):
    """Words separated by spaces. `known` lists the allowed ones; empty: any word."""

    django_class = models.CharField

    def __init__(self, verbose_name: Words | None = None, *, known: Sequence[str] = (), **more: Any) -> None:
        self.known = tuple(known)
        super().__init__(verbose_name, **more)


class Text(Described, TextField):
    """Words of any length up to `longest` letters; the column itself takes more."""

    django_class = models.TextField

    def __init__(self, verbose_name: Words | None = None, *, longest: int, **more: Any) -> None:
        self.longest = longest
        super().__init__(verbose_name, **more)

    def formfield(self, **how: Any) -> Any:
        return super().formfield(**{"max_length": self.longest, **how})


def stated(model: type[models.Model]) -> list[str]:
    """The names of the model's fields whose values people state, in the order in which the model has them.
    Others are made by the program: the primary key, who entered a record and when, what is derived."""
    return [field.name for field in model._meta.concrete_fields if field.editable and not field.auto_created]


def quantity_of(model: type[models.Model], name: str) -> Quantity:
    """The model's field of that name. Raises TypeError where it is no Quantity."""
    field = model._meta.get_field(name)
    if not isinstance(field, Quantity):
        raise TypeError(f"{model.__name__}.{name} holds no quantity.")
    return field


def unit_of(field: Field) -> str:
    """The unit of the stored value; empty for a field without one."""
    return str(getattr(field, "unit", ""))
