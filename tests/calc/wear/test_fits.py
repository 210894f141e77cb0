"""Quantiles of weighted cases against a plain version that adds the weights one by one."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from wearlog.calc.wear import Quantiles


def plain(cases: list[tuple[float, float]], share: float) -> float:
    """The first value, in order, up to which the weights add up to the share of all of them."""
    total, so_far = sum(weight for _, weight in cases), 0.0
    for value, weight in sorted(cases):
        so_far += weight
        if so_far >= share * total:
            return value
    raise AssertionError("The weights add up to less than their sum.")


whole_weights = st.lists(
    st.tuples(st.integers(-1000, 1000).map(float), st.integers(1, 20).map(float)), min_size=1, max_size=30
)


@given(whole_weights)
def test_quantiles_are_those_of_the_weights_added_one_by_one(cases: list[tuple[float, float]]) -> None:
    values, weights = np.array(cases).T
    found = Quantiles.of(values, weights)
    # A ten-thousandth less than the share, so that rounding never chooses between two cases.
    assert found == Quantiles(*(plain(cases, share - 1e-4) for share in (0.1, 0.5, 0.9)))


def test_four_equally_likely_values() -> None:
    assert Quantiles.of(np.array([4.0, 1.0, 3.0, 2.0])) == Quantiles(1.0, 2.0, 4.0)
