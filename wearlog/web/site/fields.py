"""Form fields in the reader's units, which accept a decimal comma or point.

`to_python` gives SI (kg, mm, °C, decimal hours) as Decimal with at most six decimals, or an aware UTC
instant; `prepare_value` converts such a value back into the text that the reader would type.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any, TypedDict, Unpack
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.utils.formats import date_format, get_format
from django.utils.translation import gettext as _

from wearlog.calc import units
from wearlog.people.fields import MOST, Limits
from wearlog.people.models import Mill, Units, User

if TYPE_CHECKING:
    from wearlog.people.fields import Words

SIX = Decimal("0.000001")


@dataclass(frozen=True)
class Reader:
    """The reader's system of units, and the mill's time zone in which times are typed."""

    system: str
    zone: ZoneInfo

    @classmethod
    def of(cls, user: User, mill: Mill | None = None) -> Reader:
        mill = mill or Mill.current()
        return cls(system=user.units or mill.units or Units.METRIC, zone=mill.zone)

    @property
    def mass_unit(self) -> str:
        return units.unit_word(units.mass_unit(self.system))

    @property
    def length_unit(self) -> str:
        return units.unit_word(units.length_unit(self.system))

    @property
    def temperature_unit(self) -> str:
        return units.unit_word(units.temperature_unit(self.system))


METRIC = Reader(system=Units.METRIC, zone=ZoneInfo("UTC"))


def plain(value: Decimal, places: int) -> str:
    """The shortest text of a number rounded to `places` decimals, with a point and no grouping: `1000`,
    `0.25`."""
    text = f"{value.quantize(Decimal(1).scaleb(-places)):f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("", "-0") else text


class FieldArguments(TypedDict, total=False):
    """Arguments of every form field, for those of Django's that our own fields pass on."""

    label: Words | None
    help_text: Words
    required: bool
    widget: forms.Widget | type[forms.Widget]
    initial: object
    error_messages: Mapping[str, Words]


class TextArguments(FieldArguments, total=False):
    max_length: int


class NumberField(forms.CharField):
    """A number with comma or point. The limits apply to the SI value and are named in the error."""

    places = 6
    usual_unit = ""

    def __init__(
        self,
        *,
        unit: Words | None = None,
        least: Decimal | int = 0,
        most: Decimal | int = MOST,
        limits: Limits | None = None,
        **kwargs: Unpack[TextArguments],
    ) -> None:
        kwargs.setdefault("required", False)
        kwargs.setdefault("max_length", 30)
        super().__init__(**kwargs)
        self.unit: Words = self.usual_unit if unit is None else unit
        self.behind: Words = ""
        """What people may write behind the number where its unit is chosen beside it."""
        self.limits = limits or Limits.of(least, most)
        self.reader = METRIC
        self.widget.attrs.update(inputmode="decimal", autocomplete="off")

    def use_units_of(self, reader: Reader) -> None:
        """Adopt the reader's units; the form calls it before anything is shown or read."""
        self.reader = reader

    def to_si(self, value: Decimal) -> Decimal:
        return value

    def from_si(self, value: Decimal) -> Decimal:
        return value

    @property
    def decimal_sign(self) -> str:
        """The decimal separator. In a language with a decimal comma it is the comma, and a single point is
        questioned. In English, a comma groups thousands for a reader with US units; elsewhere both signs are
        in use, and ambiguous numbers are questioned.
        """
        if get_format("DECIMAL_SEPARATOR") == ",":
            return ","
        return "." if units.is_us(self.reader.system) else ""

    def parse(self, text: str) -> Decimal:
        return units.parse_number(text, decimal=self.decimal_sign)

    def to_python(self, value: object) -> Any:  # Django's CharField promises text
        text = str(value if value is not None else "").strip()
        if not text:
            return None
        try:
            number = self.to_si(self.parse(units.without_unit(text, str(self.behind or self.unit)))).quantize(
                SIX
            )
        except units.NumberProblem as error:
            raise ValidationError(error.worded(_), code=error.code) from error
        self.check(number)
        return number

    def check(self, number: Decimal) -> None:
        if not self.limits.hold(number):
            raise ValidationError(
                self.limits.refusal(self.unit, say=lambda limit: plain(self.from_si(limit), 3)), code="range"
            )

    def validate(self, value: object) -> None:
        forms.Field.validate(self, value)

    def run_validators(self, value: object) -> None:
        """The text validators of CharField (length, null characters) don't fit a number."""

    def prepare_value(self, value: object) -> object:
        if isinstance(value, Decimal | int | float) and not isinstance(value, bool):
            return self.beyond_doubt(plain(self.from_si(Decimal(str(value))), self.places))
        return value

    def beyond_doubt(self, text: str) -> str:
        """The number with a point, as in every input; with one more zero where its three decimals could be
        read as thousands in the reader's language."""
        try:
            self.parse(text)
        except units.NumberProblem:
            return f"{text}0"
        return text

    def has_changed(self, initial: object, data: object) -> bool:
        """Whether the text differs from what was shown, so that an unchanged field keeps digits that the text
        rounds off."""
        return str(self.prepare_value(initial) or "").strip() != str(data or "").strip()


class MassField(NumberField):
    """A mass in kilograms or pounds, depending on the reader."""

    places = 3

    def use_units_of(self, reader: Reader) -> None:
        super().use_units_of(reader)
        self.unit = reader.mass_unit

    def to_si(self, value: Decimal) -> Decimal:
        return units.to_kg(value, units.mass_unit(self.reader.system))

    def from_si(self, value: Decimal) -> Decimal:
        return units.from_kg(value, units.mass_unit(self.reader.system))


class LengthField(NumberField):
    """A length in millimetres or inches, depending on the reader. Inches are shown to a tenth of a thou."""

    places = 3

    def use_units_of(self, reader: Reader) -> None:
        super().use_units_of(reader)
        self.unit = reader.length_unit
        self.places = 4 if units.is_us(reader.system) else 3

    def to_si(self, value: Decimal) -> Decimal:
        return units.to_mm(value, units.length_unit(self.reader.system))

    def from_si(self, value: Decimal) -> Decimal:
        return units.from_mm(value, units.length_unit(self.reader.system))

    def parse(self, text: str) -> Decimal:
        return units.parse_number(text, grouped=False)


class TemperatureField(NumberField):
    """A temperature in degrees Celsius or Fahrenheit, depending on the reader."""

    places = 1

    def use_units_of(self, reader: Reader) -> None:
        super().use_units_of(reader)
        self.unit = reader.temperature_unit

    def to_si(self, value: Decimal) -> Decimal:
        return units.to_celsius(value, units.temperature_unit(self.reader.system))

    def from_si(self, value: Decimal) -> Decimal:
        return units.from_celsius(value, units.temperature_unit(self.reader.system))


class HoursField(NumberField):
    """Hours as 7.5, 7,5 or 7:30."""

    places = 4
    usual_unit = "h"

    def parse(self, text: str) -> Decimal:
        return units.parse_hours(text, decimal=self.decimal_sign)


class InstantField(forms.CharField):
    """A local time of the mill, converted to an instant. An empty field is interpreted by the form (mostly as
    "now").

    A local time skipped by a clock change is refused; of one that occurs twice, the first is taken (RFC 5545,
    3.3.5).
    """

    def __init__(self, **kwargs: Unpack[TextArguments]) -> None:
        kwargs.setdefault("required", False)
        kwargs.setdefault("max_length", 40)
        kwargs.setdefault("widget", forms.DateTimeInput(attrs={"type": "datetime-local"}))
        super().__init__(**kwargs)
        self.reader = METRIC

    def use_units_of(self, reader: Reader) -> None:
        self.reader = reader

    def to_python(self, value: object) -> Any:  # Django's CharField promises text
        text = str(value or "").strip()
        if not text:
            return None
        try:
            wall = datetime.fromisoformat(text)
        except ValueError as error:
            raise ValidationError(
                _("“%(text)s” is not a day and time. Write it like 2026-03-01 06:30."),
                code="instant",
                params={"text": text},
            ) from error
        if wall.tzinfo is not None:
            return wall.astimezone(UTC)
        if not 1950 <= wall.year <= 2150:
            raise ValidationError(_("Write a year from 1950 to 2150."), code="range")
        instant = wall.replace(tzinfo=self.reader.zone).astimezone(UTC)
        if instant.astimezone(self.reader.zone).replace(tzinfo=None) != wall:
            raise ValidationError(
                _("The clocks went forward then: %(text)s never was. Write the time that the clock showed."),
                code="gap",
                params={"text": date_format(wall, _("j F Y, H:i"))},
            )
        return instant

    def validate(self, value: object) -> None:
        forms.Field.validate(self, value)

    def run_validators(self, value: object) -> None:
        """Skip the text validators, since the value is no text."""

    def prepare_value(self, value: object) -> object:
        if isinstance(value, datetime):
            return value.astimezone(self.reader.zone).strftime("%Y-%m-%dT%H:%M")
        return value

    def has_changed(self, initial: object, data: object) -> bool:
        return str(self.prepare_value(initial) or "").strip() != str(data or "").strip()


class DayField(forms.DateField):
    """A date, picked or typed as 2026-03-01."""

    def __init__(self, **kwargs: Unpack[FieldArguments]) -> None:
        kwargs.setdefault("required", False)
        kwargs.setdefault("widget", forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"))
        super().__init__(**kwargs)

    def to_python(self, value: object) -> date | None:
        if value in self.empty_values:
            return None
        if isinstance(value, datetime):
            return value.date()
        if isinstance(value, date):
            return value
        try:
            return date.fromisoformat(str(value).strip())
        except ValueError as error:
            raise ValidationError(
                _("“%(text)s” is not a day. Write it like 2026-03-01."), code="day", params={"text": value}
            ) from error


def pills(attrs: dict[str, str] | None = None) -> forms.RadioSelect:
    """Radio buttons that are shown as a row of large buttons."""
    return forms.RadioSelect(attrs={"class": "pill", **(attrs or {})})
