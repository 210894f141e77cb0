"""Runs are compared within one class: the same crop, die, speed and moisture."""

from __future__ import annotations

import numpy as np
import pytest

from wearlog.forecasts import paces


@pytest.mark.parametrize("most", [paces.MOST_NUMBERED, 8])
def test_runs_have_the_same_number_exactly_where_all_four_are_the_same(
    monkeypatch: pytest.MonkeyPatch, most: int
) -> None:
    monkeypatch.setattr(paces, "MOST_NUMBERED", most)  # also where there are too many for one number
    classes = np.random.default_rng(3).integers(-1, 3, (4, 300)).astype(np.float64)
    number = paces.numbered(classes)
    same = (classes[:, :, None] == classes[:, None, :]).all(axis=0)
    assert np.array_equal(number[:, None] == number[None, :], same)
