"""Rows are put in order as by all columns, also where sorting by the first one alone would do."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wearlog.calc.order import order_by

VALUES = st.integers(0, 3).map(float)


@given(st.lists(st.tuples(VALUES, VALUES, VALUES), max_size=12))
def test_the_order_is_that_of_all_columns_from_the_first_to_the_last(rows: list[tuple[float, ...]]) -> None:
    columns = np.array(rows, dtype=np.float64).reshape(-1, 3).T
    wanted = sorted(range(len(rows)), key=lambda index: rows[index])
    assert order_by(*columns).tolist() == wanted


@pytest.mark.parametrize("first", [[3.0, 1.0, 2.0], [1.0, 2.0, 3.0], []])
def test_a_first_column_without_equal_values_decides_alone(first: list[float]) -> None:
    wanted = sorted(range(len(first)), key=lambda index: first[index])
    assert order_by(np.array(first), np.full(len(first), np.nan)).tolist() == wanted
