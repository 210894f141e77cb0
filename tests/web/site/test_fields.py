"""What a person types comes back as typed: in their units, with comma or point, in the mill's zone."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from wearlog.web.site.fields import (
    HoursField,
    InstantField,
    LengthField,
    MassField,
    NumberField,
    Reader,
    TemperatureField,
)

METRIC = Reader(system="metric", zone=ZoneInfo("Europe/Vienna"))
US = Reader(system="us", zone=ZoneInfo("America/Chicago"))


def typed(places: int, most: int = 99_999) -> st.SearchStrategy[str]:
    """Plain decimals as a person types them, without zeros at the end."""
    return st.decimals(min_value=0, max_value=most, places=places).map(
        lambda value: f"{value:f}".rstrip("0").rstrip(".") or "0"
    )


def round_trip(field: NumberField, reader: Reader, text: str) -> str:
    field.use_units_of(reader)
    return str(field.prepare_value(field.clean(text)))


@given(typed(3))
def test_pounds_come_back_as_typed(text: str) -> None:
    assert round_trip(MassField(), US, text) == text


@given(typed(3))
def test_kilograms_come_back_as_typed(text: str) -> None:
    assert round_trip(MassField(), METRIC, text) == text


@given(typed(4, most=40))
def test_inches_come_back_as_typed(text: str) -> None:
    assert round_trip(LengthField(), US, text) == text


@given(typed(1, most=400))
def test_degrees_fahrenheit_come_back_as_typed(text: str) -> None:
    assert round_trip(TemperatureField(least=-50, most=400), US, text) == text


@given(typed(3))
def test_a_comma_says_the_same_as_a_point(text: str) -> None:
    field = LengthField(most=100_000)
    field.use_units_of(METRIC)
    assert field.clean(text.replace(".", ",")) == field.clean(text)


@given(st.integers(0, 9999), st.integers(0, 59))
def test_hours_and_minutes_are_decimal_hours(hours: int, minutes: int) -> None:
    field = HoursField()
    field.use_units_of(METRIC)
    assert abs(field.clean(f"{hours}:{minutes:02}") * 60 - (hours * 60 + minutes)) < Decimal("0.0001")


@given(
    st.datetimes(datetime.fromisoformat("2000-01-01"), datetime.fromisoformat("2040-01-01")),
    st.sampled_from(["Europe/Vienna", "America/Chicago", "Australia/Lord_Howe", "Asia/Kolkata", "UTC"]),
)
def test_a_time_that_the_clock_showed_comes_back_as_typed(wall: datetime, zone: str) -> None:
    wall = wall.replace(second=0, microsecond=0)
    field = InstantField()
    field.use_units_of(Reader(system="metric", zone=ZoneInfo(zone)))
    text = wall.strftime("%Y-%m-%dT%H:%M")
    skipped = wall.replace(tzinfo=ZoneInfo(zone)).astimezone(UTC).astimezone(ZoneInfo(zone))
    if skipped.replace(tzinfo=None) != wall:
        with pytest.raises(ValidationError, match="never was"):
            field.clean(text)
    else:
        assert field.prepare_value(field.clean(text)) == text


@pytest.mark.parametrize(
    ("system", "text", "kilograms"),
    [
        ("us", "1,000", "453.592370"),  # 1 lb is 0.45359237 kg exactly (NIST SP 811, B.8)
        ("us", "1,000.5", "453.819166"),
        ("metric", "1 000,5", "1000.5"),
        ("metric", "1.000,5", "1000.5"),
        ("metric", "0,5", "0.5"),
    ],
)
def test_thousands_are_read_as_the_reader_writes_them(system: str, text: str, kilograms: str) -> None:
    field = MassField()
    field.use_units_of(Reader(system=system, zone=ZoneInfo("UTC")))
    assert field.clean(text) == Decimal(kilograms)


def test_what_can_be_read_in_two_ways_is_asked_about() -> None:
    field = MassField()
    field.use_units_of(METRIC)
    with pytest.raises(ValidationError, match=r"can be read as 1234 or as 1\.234"):
        field.clean("1,234")


@pytest.mark.parametrize("text", ["", "  "])
def test_what_is_left_empty_is_not_known(text: str) -> None:
    assert MassField().clean(text) is None
    assert InstantField().clean(text) is None


@pytest.mark.parametrize("text", ["12x", "--3", "1.2.3", "7:61", "NaN", "1e5", "٣x"])
def test_what_is_no_number_is_refused(text: str) -> None:
    with pytest.raises(ValidationError):
        HoursField().clean(text)


def test_a_range_is_named_in_the_readers_units() -> None:
    field = LengthField(most=254)
    field.use_units_of(US)
    with pytest.raises(ValidationError, match=r"Write a number from 0 to 10 in\."):
        field.clean("10.1")


def test_a_value_that_was_only_shown_is_not_changed() -> None:
    field = MassField()
    field.use_units_of(US)
    stored = Decimal("333.123457")
    shown = field.prepare_value(stored)
    assert not field.has_changed(stored, shown)
    assert field.has_changed(stored, "735")
