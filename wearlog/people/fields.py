"""Model fields that also know the unit and the limits of their values.

A model states each of these once; forms, corrections, a record's history, import and export read them from
its fields. Migrations see Django's own fields, since unit and limits do not affect the tables.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import TYPE_CHECKING, Any, Never, TypeVar

from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

if TYPE_CHECKING:
    from django import forms
    from django.utils.functional import _StrPromise

    Words = str | _StrPromise
    """A text, or one that is put into the reader's language when it is shown."""
    Field = models.Field
    DecimalField = models.DecimalField
    PositiveIntegerField = models.PositiveIntegerField
    PositiveSmallIntegerField = models.PositiveSmallIntegerField
    CharField = models.CharField
    TextField = models.TextField
else:  # only the stubs make Django's fields generic

    class Subscriptable:
        def __class_getitem__(cls, _types):
            return cls

    class Field(Subscriptable, models.Field): ...

    class DecimalField(Subscriptable, models.DecimalField): ...

    class PositiveIntegerField(Subscriptable, models.PositiveIntegerField): ...

    class PositiveSmallIntegerField(Subscriptable, models.PositiveSmallIntegerField): ...

    class CharField(Subscriptable, models.CharField): ...

    class TextField(Subscriptable, models.TextField): ...


_ST = TypeVar("_ST", contravariant=True)
"""What a record's attribute may be set to. These two names are those that the stubs look for."""
_GT = TypeVar("_GT", covariant=True)
"""What a record's attribute gives: Decimal, or Decimal | None where the field may be null."""

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


class Described(Field[_ST, _GT]):
    """A mixin for a field that knows more than its column. It goes before one of Django's own field classes,
    which is what migrations see, so that its extra arguments cause no migrations."""

    django_class: type[models.Field[Never, object]]

    def deconstruct(self) -> tuple[str, str, Sequence[object], dict[str, object]]:
        name, _path, args, how = super().deconstruct()
        return name, f"django.db.models.{self.django_class.__name__}", args, how

    def clone(self) -> Any:  # Django's stubs promise a field of the same class
        _name, _path, args, how = super().deconstruct()
        return self.django_class(*args, **how)


class Limited(Described[_ST, _GT]):
    """A field that refuses values outside its limits. `unit` is that of the stored value, `unit_ends_name`
    the suffix by which a field's name tells the unit."""

    limits: Limits
    unit: Words = ""
    unit_ends_name = ""

    @cached_property
    def validators(self) -> list[Callable[[Decimal], None]]:
        return [*super().validators, self.refuse_beyond]

    def refuse_beyond(self, value: Decimal | int) -> None:
        if not self.limits.hold(value):
            raise ValidationError(self.limits.refusal(self.unit), code="range")


class Quantity(Limited[_ST, _GT], DecimalField[_ST, _GT]):
    """A recorded number with at most six decimals; null where it is not known."""

    django_class = models.DecimalField
    usual_most: int = MOST

    def __init__(
        self,
        verbose_name: Words | None = None,
        *,
        least: int | Decimal = 0,
        above: int | Decimal | None = None,
        most: int | Decimal | None = None,
        **more: Any,
    ) -> None:
        self.limits = Limits.of(least, self.usual_most if most is None else most, above)
        more = {"max_digits": 15, "decimal_places": 6, **more}
        super().__init__(verbose_name, **more)


class Kilograms(Quantity[_ST, _GT]):
    unit, unit_ends_name = "kg", "kg"


class Hours(Quantity[_ST, _GT]):
    unit, unit_ends_name = "h", "h"


class Millimetres(Quantity[_ST, _GT]):
    unit, unit_ends_name = "mm", "mm"


class Celsius(Quantity[_ST, _GT]):
    unit, unit_ends_name = "°C", "c"


class Percent(Quantity[_ST, _GT]):
    unit, unit_ends_name = "%", "pct"
    usual_most = 100


class Hertz(Quantity[_ST, _GT]):
    unit, unit_ends_name = "Hz", "hz"


class Amperes(Quantity[_ST, _GT]):
    unit, unit_ends_name = "A", "a"


class KilowattHours(Quantity[_ST, _GT]):
    unit, unit_ends_name = "kWh", "kwh"


class Days(Quantity[_ST, _GT]):
    unit, unit_ends_name = gettext_lazy("days"), "days"


class Money(Quantity[_ST, _GT]):
    """An amount in the mill's currency, which the mill's settings name."""


class Share(Quantity[_ST, _GT]):
    """A fraction of a whole, from 0 to 1."""

    usual_most = 1


class Count(Limited[_ST, _GT], PositiveIntegerField[_ST, _GT]):
    """A whole number."""

    django_class: type[models.Field[Never, object]] = models.PositiveIntegerField

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


class SmallCount(Limited[_ST, _GT], PositiveSmallIntegerField[_ST, _GT]):
    """A small whole number."""

    django_class = models.PositiveSmallIntegerField

    def __init__(
        self, verbose_name: Words | None = None, *, least: int = 0, most: int = 32_767, **more: Any
    ) -> None:
        self.limits = Limits.of(least, most)
        super().__init__(verbose_name, **more)


class Tags(Described[_ST, _GT], CharField[_ST, _GT]):
    """Words separated by spaces. `known` lists the allowed ones; empty: any word."""

    django_class = models.CharField

    def __init__(self, verbose_name: Words | None = None, *, known: Sequence[str] = (), **more: Any) -> None:
        self.known = tuple(known)
        super().__init__(verbose_name, **more)


class Text(Described[_ST, _GT], TextField[_ST, _GT]):
    """Words of any length up to `longest` letters; the column itself takes more."""

    django_class = models.TextField

    def __init__(self, verbose_name: Words | None = None, *, longest: int, **more: Any) -> None:
        self.longest = longest
        super().__init__(verbose_name, **more)

    def formfield(self, **how: Any) -> forms.Field | None:
        return super().formfield(**{"max_length": self.longest, **how})


def stated(model: type[models.Model]) -> list[str]:
    """The names of the model's fields whose values people state, in the order in which the model has them.
    Others are made by the program: the primary key, who entered a record and when, what is derived."""
    return [field.name for field in model._meta.concrete_fields if field.editable and not field.auto_created]


AnyQuantity = Quantity[Never, object]
"""A quantity of any model, null or not, of which label, unit and limits are used."""


def quantity_of(model: type[models.Model], name: str) -> AnyQuantity:
    """The model's field of that name. Raises TypeError where it is no Quantity."""
    field = model._meta.get_field(name)
    if not isinstance(field, Quantity):
        raise TypeError(f"{model.__name__}.{name} holds no quantity.")
    return field


def unit_of(field: models.Field[Never, object]) -> str:
    """The unit of the stored value; empty for a field without one."""
    return str(getattr(field, "unit", ""))
