"""Quantiles and tails are those of scipy's own distributions, to the last digit."""

from __future__ import annotations

import math

import pytest
from scipy import stats

from wearlog.calc import quantiles

CHANCES = (1e-12, 0.005, 0.05, 0.3, 0.5, 0.9, 0.975, 1 - 1e-12)
FREEDOMS = (0.3, 1, 2, 2.7, 5, 30, 1e3, 1e6)


@pytest.mark.parametrize("chance", CHANCES)
def test_they_are_those_of_the_distributions(chance: float) -> None:
    assert quantiles.normal(chance) == stats.norm.ppf(chance)
    assert quantiles.above_normal(4 * chance) == stats.norm.sf(4 * chance)
    for freedom in FREEDOMS:
        assert quantiles.chi_square(chance, freedom) == stats.chi2.ppf(chance, freedom)
        assert quantiles.above_chi_square(9 * chance, freedom) == stats.chi2.sf(9 * chance, freedom)
        assert quantiles.student(chance, freedom) == stats.t.ppf(chance, freedom)


def test_without_freedom_there_is_none() -> None:
    assert math.isnan(quantiles.chi_square(0.5, 0))
    assert math.isnan(quantiles.student(0.5, 0))
