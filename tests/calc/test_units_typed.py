"""Numbers and hours as people type them."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearlog.calc.units import NumberProblem, parse_hours, parse_number, without_unit


def finite_or_said(parse: Callable[[str], Decimal], text: str) -> bool:
    """Whether the text is read as a finite number, or refused with words; any other error comes through."""
    try:
        return parse(text).is_finite()
    except NumberProblem as problem:
        return bool(problem.message)


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("1.5", "1.5"),
        ("1,5", "1.5"),
        ("1.234,5", "1234.5"),
        ("1,234.5", "1234.5"),
        ("1 234,5", "1234.5"),
        ("1\u202f234,5", "1234.5"),
        ("1'234.5", "1234.5"),
        ("1,234,567", "1234567"),
        ("1.234.567", "1234567"),
        ("1.234.567,8", "1234567.8"),
        ("0,125", "0.125"),
        ("1234,567", "1234.567"),
        ("1,23", "1.23"),
        (".5", "0.5"),
        (",5", "0.5"),
        ("5.", "5"),
        ("+5", "5"),
        ("-3,5", "-3.5"),
        ("−3,5", "-3.5"),
        ("  42 ", "42"),
        ("007", "7"),
        ("٣٫٥", "3.5"),
    ],
)
def test_a_number_with_one_reading_is_read_that_way(typed: str, value: str) -> None:
    assert parse_number(typed) == Decimal(value)


def test_a_comma_before_exactly_three_digits_is_asked_about() -> None:
    with pytest.raises(NumberProblem, match=r"1234 or as 1\.234") as caught:
        parse_number("1,234")
    assert caught.value.code == "ambiguous"


def test_the_persons_own_decimal_sign_decides_what_is_ambiguous() -> None:
    assert parse_number("1,234", decimal=".") == 1234
    assert parse_number("1,234", decimal=",") == Decimal("1.234")
    assert parse_number("1.234", decimal=".") == Decimal("1.234")
    assert parse_number("1.234,5", decimal=",") == Decimal("1234.5")
    assert parse_number("1.234.567", decimal=",") == 1234567


def test_who_writes_a_decimal_comma_is_asked_about_a_lone_point() -> None:
    with pytest.raises(NumberProblem, match=r"1234 or as 1,234: enter 1234 or 1,2340") as caught:
        parse_number("1.234", decimal=",")
    assert caught.value.code == "ambiguous"
    assert parse_number("1.2340", decimal=",") == Decimal("1.234")
    assert parse_number("12.5", decimal=",") == Decimal("12.5")


def test_a_point_is_a_decimal_point_where_nothing_else_is_known() -> None:
    assert parse_number("1.234") == Decimal("1.234")


def test_a_gauge_value_never_has_thousands() -> None:
    assert parse_number("5,003", grouped=False) == Decimal("5.003")
    assert parse_number("5.003", decimal=",", grouped=False) == Decimal("5.003")


@pytest.mark.parametrize("decimal", [".", ","])
def test_an_own_decimal_sign_does_not_make_the_other_one_wrong(decimal: str) -> None:
    assert parse_number("7,25", decimal=decimal) == Decimal("7.25")
    assert parse_number("7.25", decimal=decimal) == Decimal("7.25")


@pytest.mark.parametrize(
    "typed",
    [
        "abc",
        "1e5",
        "nan",
        "inf",
        "0x10",
        "1,2,3",
        "1.2.3",
        "12,34.5",
        "1,234.567.8",
        "--3",
        "1 23",
        "12 34 5",
        ".",
        ",",
        "-",
        "5 kg",
        "1_000",
        "½",
    ],
)
def test_text_that_is_no_number_is_refused_with_an_example(typed: str) -> None:
    with pytest.raises(NumberProblem, match="is not a number") as caught:
        parse_number(typed)
    assert caught.value.code == "not_a_number"


def test_an_empty_field_asks_for_a_number() -> None:
    with pytest.raises(NumberProblem, match="Enter a number") as caught:
        parse_number("  ")
    assert caught.value.code == "empty"


@pytest.mark.parametrize("typed", ["1234567890", "1.1234567", "9" * 40])
def test_a_number_longer_than_the_record_holds_is_refused(typed: str) -> None:
    with pytest.raises(NumberProblem) as caught:
        parse_number(typed)
    assert caught.value.code == "too_long"


def test_a_time_of_the_clock_in_a_number_field_is_named_as_such() -> None:
    with pytest.raises(NumberProblem, match="time of the clock"):
        parse_number("7:30")


@given(value=st.decimals(min_value=0, max_value=999_999_999, places=6))
def test_whatever_a_point_country_writes_is_read(value: Decimal) -> None:
    assert parse_number(f"{value:,f}", decimal=".") == value


@given(value=st.decimals(min_value=0, max_value=999_999_999, places=6))
def test_whatever_a_comma_country_writes_is_read(value: Decimal) -> None:
    written = f"{value:,f}".translate(str.maketrans(",.", ".,"))
    assert parse_number(written, decimal=",") == value


@given(text=st.text(max_size=40))
def test_any_text_gives_a_finite_number_or_a_clear_refusal(text: str) -> None:
    assert finite_or_said(parse_number, text)


def test_seven_thirty_is_not_seven_point_three() -> None:
    assert parse_hours("7:30") == Decimal("7.5")
    assert parse_hours("7.30") == Decimal("7.3")
    assert parse_hours("7,30") == Decimal("7.3")


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("7h30", "7.5"),
        ("7 h 30 min", "7.5"),
        ("7h", "7"),
        ("7.25 h", "7.25"),
        ("90 min", "1.5"),
        ("0:45", "0.75"),
        ("1:00:36", "1.01"),
        ("1234:06", "1234.1"),
        ("8", "8"),
    ],
)
def test_hours_are_read_in_the_ways_that_people_write_them(typed: str, value: str) -> None:
    assert parse_hours(typed) == Decimal(value)


def test_sixty_minutes_and_more_are_refused() -> None:
    with pytest.raises(NumberProblem, match="0 to 59 minutes") as caught:
        parse_hours("7:75")
    assert caught.value.code == "minutes"


@given(text=st.text(max_size=20))
def test_any_text_gives_hours_or_a_clear_refusal(text: str) -> None:
    assert finite_or_said(parse_hours, text)


@pytest.mark.parametrize(
    ("text", "unit", "left"),
    [
        ("150h", "h", "150"),
        ("16 sacks", "bags", "16 sacks"),
        ("16 bags", "bags", "16"),
        ("1 Sack", "Säcke", "1"),
        ("0.5 t", "kg", "0.5 t"),
        ("8 hours", "h", "8"),
        ("7,5 Std.", "h", "7,5"),
        ("400 kg", "kg", "400"),
        ("5.12mm", "mm", "5.12"),
        ("12 %", "%", "12"),
        ("30 Tage", "days", "30"),
        ("30 Tage", "Tage", "30"),
        ("18 EUR", "EUR", "18"),
        ("8 t", "kg", "8 t"),
        ("8 lb", "kg", "8 lb"),
        ("12x", "h", "12x"),
        ("1e5", "h", "1e5"),
        ("", "h", ""),
        ("kg", "kg", "kg"),
        ("5 kg", "", "5 kg"),
    ],
)
def test_the_unit_behind_a_number_may_be_written_and_another_one_is_not_taken_for_it(
    text: str, unit: str, left: str
) -> None:
    assert without_unit(text, unit) == left
