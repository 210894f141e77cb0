"""Columns that are read with the type of their values."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

import pytest

from wearlog.logbook.exchange.checking import Rows
from wearlog.logbook.exchange.tables import BY_NAME
from wearlog.logbook.exchange.typed import BAD, typed, typed_or_none

RUNS = Rows(
    BY_NAME["runs"],
    lines=[2, 3, 4],
    values={
        "ref": ["r1", "r2", "r3"],
        "hours_h": [Decimal("1.5"), None, BAD],
        "lot": ["A", "", "B"],
    },
    bad={2},
)


def test_rows_with_a_cell_that_could_not_be_read_are_left_out() -> None:
    assert list(RUNS.each(typed("ref", str), typed_or_none("hours_h", Decimal))) == [
        (0, "r1", Decimal("1.5")),
        (1, "r2", None),
    ]


def test_some_rows_are_read_alone_and_in_their_order() -> None:
    assert list(RUNS.each(typed("ref", str), typed("lot", str), among=[2, 0])) == [
        (2, "r3", "B"),
        (0, "r1", "A"),
    ]


def test_a_column_that_the_file_lacks_has_its_empty_value() -> None:
    assert list(RUNS.each(typed("through", str))) == [(0, ""), (1, ""), (2, "")]


def test_a_column_is_refused_as_another_type() -> None:
    with pytest.raises(TypeError, match="started_at"):
        RUNS.each(typed("started_at", str))


def test_a_column_that_may_be_empty_is_refused_as_one_that_may_not() -> None:
    with pytest.raises(TypeError, match="hours_h"):
        RUNS.each(typed("hours_h", Decimal))


def test_an_instant_is_a_day_too() -> None:
    typed("started_at", date).see(BY_NAME["runs"].by_name["started_at"])
    typed("started_at", datetime).see(BY_NAME["runs"].by_name["started_at"])
