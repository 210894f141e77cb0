"""One cell: what is written is read back, and what can't be read says why."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearlog.logbook.exchange.cells import (
    BadCell,
    Code,
    Day,
    Form,
    Instant,
    Number,
    Tags,
    Text,
    WholeNumber,
    YesNo,
)
from wearlog.people.fields import Limits

VIENNA = ZoneInfo("Europe/Vienna")
NEW_YORK = ZoneInfo("America/New_York")
LORD_HOWE = ZoneInfo("Australia/Lord_Howe")


def refusal(form: Form, cell: str) -> str:
    with pytest.raises(BadCell) as caught:
        form.read(cell, VIENNA)
    return str(caught.value)


@pytest.mark.parametrize(
    ("value", "cell"),
    [
        ("1.500000", "1.5"),
        ("1000.000000", "1000"),
        ("0.000001", "0.000001"),
        ("0E-6", "0"),
        ("-0", "0"),
        ("-12.250000", "-12.25"),
        ("999999999.999999", "999999999.999999"),
        ("1E+3", "1000"),
    ],
)
def test_a_number_is_written_as_the_shortest_plain_decimal(value: str, cell: str) -> None:
    assert Number().write(Decimal(value), VIENNA) == cell


@pytest.mark.parametrize(
    ("cell", "word"),
    [
        ("12,5", "decimal point"),
        ("1.234,5", "decimal point"),
        ("1 000", "plain number"),
        ("1e3", "plain number"),
        ("NaN", "plain number"),
        ("Infinity", "plain number"),
        ("1_000", "plain number"),
        ("٣", "plain number"),
        (".", "plain number"),
        ("5.1234567", "at most 6 decimals"),
        ("1.0000000", "at most 6 decimals"),
        ("1000000000", "Write a number from 0 to 999999999 kg"),
        ("-0.1", "Write a number from 0 to 999999999 kg"),
    ],
)
def test_a_number_that_is_none_is_refused_with_the_reason(cell: str, word: str) -> None:
    assert word in refusal(Number(Limits.of(0, 999_999_999), "kg"), cell)


@pytest.mark.parametrize(
    ("cell", "value"), [("+5", "5"), (".5", "0.5"), ("5.", "5"), ("007", "7"), ("-0", "0")]
)
def test_a_number_may_be_written_in_other_plain_ways(cell: str, value: str) -> None:
    assert Number().read(cell, VIENNA) == Decimal(value)


@pytest.mark.parametrize(
    ("cell", "utc"),
    [
        ("2026-03-01T06:30:00+01:00", "2026-03-01T05:30:00"),
        ("2026-03-01T06:30:00Z", "2026-03-01T06:30:00"),
        ("2026-03-01 06:30", "2026-03-01T05:30:00"),
        ("2026-03-01T06:30:00.25+0100", "2026-03-01T05:30:00.250000"),
        # Clocks in Vienna went from 02:00 to 03:00 on 2026-03-29: 02:30 takes the offset before the gap.
        ("2026-03-29T02:30:00", "2026-03-29T01:30:00"),
        # They go from 03:00 back to 02:00 on 2026-10-25: 02:30 comes twice, and the first is meant.
        ("2026-10-25T02:30:00", "2026-10-25T00:30:00"),
        ("2026-10-25T02:30:00+01:00", "2026-10-25T01:30:00"),
    ],
)
def test_an_instant_is_read_in_the_mills_zone_unless_it_has_an_offset(cell: str, utc: str) -> None:
    assert Instant().read(cell, VIENNA) == datetime.fromisoformat(utc).replace(tzinfo=UTC)


def test_both_passes_through_the_autumn_hour_are_written_apart() -> None:
    first, second = datetime(2026, 10, 25, 0, 30, tzinfo=UTC), datetime(2026, 10, 25, 1, 30, tzinfo=UTC)

    assert Instant().write(first, VIENNA) == "2026-10-25T02:30:00+02:00"
    assert Instant().write(second, VIENNA) == "2026-10-25T02:30:00+01:00"


def test_fractions_of_a_second_are_written_only_where_recorded() -> None:
    assert (
        Instant().write(datetime(2026, 1, 5, 6, 0, 1, 500000, tzinfo=UTC), UTC)
        == "2026-01-05T06:00:01.5+00:00"
    )
    assert Instant().write(datetime(2026, 1, 5, 6, 0, 1, tzinfo=UTC), UTC) == "2026-01-05T06:00:01+00:00"


@pytest.mark.parametrize(
    ("cell", "word"),
    [
        ("1 March 2026", "2026-03-01T06:30:00+01:00"),
        ("2026-03-01", "2026-03-01T06:30:00+01:00"),
        ("2026-02-30T06:30:00", "no such time"),
        ("2026-03-01T25:00:00", "no such time"),
        ("20260301T063000", "2026-03-01T06:30:00+01:00"),
        ("2026-03-01T06:30:00.1234567", "2026-03-01T06:30:00+01:00"),
        ("0001-01-01T00:00:00+14:00", "year"),
        ("9999-12-31T23:59:59-14:00", "year"),
        ("20026-03-01T06:30:00", "2026-03-01T06:30:00+01:00"),
    ],
)
def test_an_instant_that_is_none_is_refused_with_the_reason(cell: str, word: str) -> None:
    assert word in refusal(Instant(), cell)


@pytest.mark.parametrize(
    ("cell", "word"),
    [
        ("01.03.2026", "YYYY-MM-DD"),
        ("20260301", "YYYY-MM-DD"),
        ("2026-02-30", "no such day"),
        ("0026-03-01", "year"),
    ],
)
def test_a_day_that_is_none_is_refused_with_the_reason(cell: str, word: str) -> None:
    assert word in refusal(Day(), cell)


@pytest.mark.parametrize("cell", ["5", "0", "-1", "2.0", "two", "²", "99999999999999999999"])
def test_a_whole_number_outside_its_range_is_refused(cell: str) -> None:
    assert "whole number from 1 to 4" in refusal(WholeNumber(Limits.of(1, 4)), cell)


def test_yes_is_the_one_word_for_yes() -> None:
    assert YesNo().read("yes", VIENNA) is True
    assert "yes or leave the cell empty" in refusal(YesNo(), "no")


def test_a_code_that_is_not_known_is_refused_with_those_that_are() -> None:
    assert "clean, normal or dirty" in refusal(Code(("clean", "normal", "dirty")), "filthy")


def test_a_tag_that_is_not_known_is_named() -> None:
    assert '"bang" is not known' in refusal(Tags(("metal", "plugged")), "metal bang")
    assert Tags(("metal", "plugged")).read(" metal   plugged ", VIENNA) == "metal plugged"


@pytest.mark.parametrize(
    ("text", "cell"),
    [
        ("=1+1", "'=1+1"),
        ("+3", "'+3"),
        ("-1 bag", "'-1 bag"),
        ("@home", "'@home"),
        ("'tis", "''tis"),
        ("\t=1+1", "'\t=1+1"),
        ("\r=1+1", "'\r=1+1"),
        ("'\tx", "''\tx"),
        ("a=b", "a=b"),
    ],
)
def test_a_text_that_a_spreadsheet_would_run_gains_one_mark(text: str, cell: str) -> None:
    assert Text().write(text, VIENNA) == cell
    assert Text().read(cell, VIENNA) == text


def test_a_text_from_elsewhere_that_begins_with_a_mark_keeps_it() -> None:
    assert Text().read("'tis", VIENNA) == "'tis"


@given(
    st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), min_size=1)
    | st.from_regex(r"[=+\-@'\t\r]{1,4}.?", fullmatch=True)
)
def test_every_text_comes_back(text: str) -> None:
    assert Text().read(Text().write(text, VIENNA), VIENNA) == text


@given(st.decimals(min_value=-999_999_999, max_value=999_999_999, places=6))
def test_every_number_comes_back(number: Decimal) -> None:
    assert Number().read(Number().write(number, VIENNA), VIENNA) == number


@given(
    st.integers(-2_208_900_000, 7_258_000_000_000_000 // 1_000_000).map(
        lambda s: datetime.fromtimestamp(s, UTC)
    ),
    st.sampled_from([VIENNA, NEW_YORK, LORD_HOWE, ZoneInfo("Africa/Monrovia"), ZoneInfo("Europe/Amsterdam")]),
)
def test_every_instant_comes_back_in_every_zone(moment: datetime, zone: ZoneInfo) -> None:
    assert Instant().read(Instant().write(moment, zone), zone) == moment


@given(st.dates(date(1900, 1, 1), date(2199, 12, 31)))
def test_every_day_comes_back(day: date) -> None:
    assert Day().read(Day().write(day, VIENNA), VIENNA) == day
